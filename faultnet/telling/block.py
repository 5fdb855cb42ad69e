"""A part of what is told, as a value: shown on a terminal, on a page and on paper, kept as JSON and read back."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class Line:
    """A sentence, or a few. level: 0 in the open, 1 beneath a heading, 2 beneath the line before.

    hangs: a point among others, whose later lines stand further in where it is wrapped.
    """

    text: str
    level: int = 1
    hangs: bool = False


@dataclass(frozen=True)
class Table:
    """Rows of cells; a cell may have several lines.

    aligned: an l or r for each column, "" for all to the left. widths: of the columns on paper, in percent. folds: its
    first and last cells may go on below where there is no room. spare: the column that can be missed there.
    """

    rows: tuple[tuple[str, ...], ...]
    header: tuple[str, ...] = ()
    aligned: str = ""
    widths: tuple[int, ...] = ()
    folds: bool = False
    spare: int | None = None


@dataclass(frozen=True)
class Block:
    """A heading with what to know beside it, lines, a table and lines beneath; any of them may be empty.

    is_small: its lines are many, and read one at a time. is_close: it belongs right beneath the block before it.
    """

    heading: str = ""
    aside: str = ""
    lines: tuple[Line, ...] = ()
    table: Table | None = None
    beneath: tuple[Line, ...] = ()
    is_small: bool = False
    is_close: bool = False

    @property
    def title(self) -> str:
        """The heading, with what stands beside it in brackets."""
        return f"{self.heading} ({self.aside})" if self.aside else self.heading


def points(texts: Iterable[str], level: int = 1) -> tuple[Line, ...]:
    """Texts that are read one at a time, as lines."""
    return tuple(Line(text, level, hangs=True) for text in texts)


def as_data(blocks: Iterable[Block]) -> list[dict[str, Any]]:
    """Blocks as plain values, for JSON."""
    return [asdict(block) for block in blocks]


def blocks_from_data(data: Iterable[Mapping[str, Any]]) -> tuple[Block, ...]:
    """The blocks of such values. KeyError, TypeError: they are none."""
    return tuple(_block(each) for each in data)


def _block(data: Mapping[str, Any]) -> Block:
    table = None if data["table"] is None else _table(data["table"])
    lines, beneath = (tuple(Line(**line) for line in data[name]) for name in ("lines", "beneath"))
    return Block(**{**data, "lines": lines, "table": table, "beneath": beneath})


def _table(data: Mapping[str, Any]) -> Table:
    rows = tuple(map(tuple, data["rows"]))
    return Table(**{**data, "rows": rows, "header": tuple(data["header"]), "widths": tuple(data["widths"])})
