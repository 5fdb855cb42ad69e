"""A network as a file of another program writes it: names and numbers as they stand, each with its line."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from faultnet.errors import ModelProblem, Problem


class Unreadable(Exception):
    """Text that cannot be read any further: why, and where (line and column, from 1)."""

    def __init__(self, message: str, line: int = 1, column: int = 1) -> None:
        self.problem = Problem("", message, line, column)
        super().__init__(message)


@dataclass(frozen=True)
class Variable:
    """A node with its states, and the line that it begins on."""

    name: str
    states: tuple[str, ...]
    line: int


@dataclass(frozen=True)
class Entry:
    """Numbers of a table. at: the states of the parents they are for; None for the whole table at once."""

    at: tuple[str, ...] | None
    numbers: tuple[float, ...]
    line: int


@dataclass(frozen=True)
class Definition:
    """P(child | parents). default: the row of every combination that has no entry, or None."""

    child: str
    parents: tuple[str, ...]
    entries: tuple[Entry, ...]
    default: Entry | None
    line: int


@dataclass
class Written:
    """Everything a file says. child_is_last: whether in a whole table the child's state changes fastest."""

    name: str
    child_is_last: bool
    variables: list[Variable] = field(default_factory=list)
    definitions: list[Definition] = field(default_factory=list)


MOST_SHOWN = 60


def shown(name: str) -> str:
    """A name for a message or a terminal: in quotes, what cannot be printed escaped, long ones cut."""
    text = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in name[:MOST_SHOWN])
    return f"'{text}{'...' if len(name) > MOST_SHOWN else ''}'"


def refused(file: str, problems: Sequence[Problem]) -> ModelProblem:
    """The error that lists everything wrong with a file, and what to do about it once."""
    advice = Problem(
        "",
        "nothing was imported. Get the file again from the program that wrote it, or correct these lines.",
        problems[-1].line,
        problems[-1].column,
    )
    return ModelProblem(file, [*problems, advice])
