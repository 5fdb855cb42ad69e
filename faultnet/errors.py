"""Every error faultnet raises on purpose, with the exit code the command line ends with.

FaultnetError               1  unexpected
├── UsageProblem            2  a bad name or value typed by the user
│   ├── TableProblem           ... cells, columns or labels of a table passed from Python
│   ├── NoSuchJob              ... the number of a job that there is not
│   ├── NoSuchReport           ... the number of a report that there is not, or no more
│   └── Stale                  ... a decision about numbers that are in use no more
├── FileProblem             3  a bad model or data file
│   └── PlacedProblem          ... every problem with its place in the file
│       ├── ModelProblem           ... a model file
│       └── ShopProblem            ... the shop's settings or its list of voltages
├── TooLittleData           4  not enough data to answer
├── StoreProblem            5  the shop's database
└── ContradictoryEvidence   6  findings the model holds impossible together
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace


class FaultnetError(Exception):
    """An error with a message for people; `exit_code` is what the command line returns."""

    exit_code = 1


class UsageProblem(FaultnetError):
    """Something typed on the command line (or passed by a caller) that cannot be understood."""

    exit_code = 2

    def __init__(self, *problems: str) -> None:
        self.problems = problems
        super().__init__("\n".join(problems))


class TableProblem(UsageProblem, ValueError):
    """Cells, columns or labels of a table that nobody can read, all of them; a ValueError, as scikit-learn has it."""


class NoSuchJob(UsageProblem):
    """The number of a job that there is not."""


class NoSuchReport(UsageProblem):
    """The number of a report that there is not, or that is not kept any more."""


class Stale(UsageProblem):
    """A decision about numbers that are in use no more: another version was accepted meanwhile."""


class FileProblem(FaultnetError):
    """A file that cannot be read as what it should be."""

    exit_code = 3


MOST_SHOWN = 1_000
"""Characters of a path or message; a file that is something else altogether can have keys of any length."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong in a file, and where: printed as `file:line:column: path: message`."""

    path: str
    message: str
    line: int = 1
    column: int = 1

    def printable(self) -> "Problem":
        """The problem in one line of some length, with what a terminal cannot show, or would obey, as an escape."""
        return replace(self, path=_escaped(self.path), message=_escaped(self.message))


def _escaped(text: str) -> str:
    shown = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text[:MOST_SHOWN])
    return shown if len(text) <= MOST_SHOWN else f"{shown}..."


class PlacedProblem(FileProblem):
    """A file with one or more problems, all of them listed in the order of the file."""

    def __init__(self, file: str, problems: Sequence[Problem]) -> None:
        self.file = file
        self.problems = tuple(sorted(problems, key=lambda p: (p.line, p.column, p.path)))
        super().__init__("\n".join(map(self._line, self.problems)))

    def _line(self, problem: Problem) -> str:
        path = f"{problem.path}: " if problem.path else ""
        return f"{self.file}:{problem.line}:{problem.column}: {path}{problem.message}"


class ModelProblem(PlacedProblem):
    """A model file that is not what one should be."""


class ShopProblem(PlacedProblem):
    """A file of the shop's settings or voltages that is not what it should be."""


class TooLittleData(FaultnetError):
    """A question the recorded jobs cannot answer yet."""

    exit_code = 4


class StoreProblem(FaultnetError):
    """The shop's database cannot be opened, read or written; what was acknowledged before is safe."""

    exit_code = 5


class ContradictoryEvidence(FaultnetError):
    """Findings that no state of the model allows together.

    `conflict` is a smallest set of them that is impossible by itself, as typed.
    """

    exit_code = 6

    def __init__(self, conflict: Sequence[str] = ()) -> None:
        self.conflict = tuple(conflict)
        listed = " and ".join(self.conflict) if self.conflict else "the evidence"
        super().__init__(
            f"The model holds this impossible: {listed}. "
            "Check each of these for a slip of the pen, and leave out or correct one of them."
        )
