"""A table as it was passed in: its cells, which are blank, and rows as patterns of evidence, equal ones once."""

from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Ints
from faultnet.errors import TableProblem, UsageProblem
from faultnet.patterns import Pattern

Cell = Hashable
"""What stands in a cell; None in a blank one, of which nobody looked."""


@dataclass(frozen=True, eq=False)
class Cells:
    """columns: their names; rows: what each is called in messages; values: ``(n_rows, n_columns)``, None where blank."""

    columns: tuple[str, ...]
    rows: Sequence[object]
    values: npt.NDArray[np.object_]

    @classmethod
    def of(cls, values: npt.NDArray[Any], columns: Sequence[str], rows: Sequence[object]) -> "Cells":
        """The cells of an array. NaN, None and blank text say that nobody looked."""
        import pandas as pd

        cells = values.astype(object)
        is_blank = pd.isna(cells)
        cells[is_blank] = None
        for place in zip(*np.nonzero(~is_blank), strict=True):
            if isinstance(cells[place], str) and not cells[place].strip():
                cells[place] = None
        return cls(tuple(columns), rows, cells)

    @property
    def is_told(self) -> npt.NDArray[np.bool_]:
        """Whether something stands in each cell: ``(n_rows, n_columns)``."""
        told: npt.NDArray[np.bool_] = np.not_equal(self.values, None)
        return told


@dataclass(frozen=True, eq=False)
class Rows:
    """What the rows of a table say: every different pattern, and the number of each row's, ``(n_rows,)``."""

    patterns: tuple[Pattern, ...]
    pattern_of: Ints

    def named(self, numbers: Sequence[object], pattern: int) -> str:
        """The first row with a pattern, in a message."""
        return f"row {numbers[int(np.flatnonzero(self.pattern_of == pattern)[0])]}"


class Reader(Protocol):
    """Reads the cells of a table."""

    def said(self, column: int, cell: Cell) -> Hashable:
        """What a cell says. UsageProblem: nobody can read it."""
        ...

    def pattern(self, said: Sequence[Hashable | None]) -> Pattern:
        """What a row says, by column; None where nobody looked. UsageProblem: its cells do not go together."""
        ...


def read_rows(cells: Cells, reader: Reader) -> Rows:
    """What the rows say. TableProblem names every cell that nobody can read, by row and column."""
    said, problems = _read_cells(cells, reader)
    number_of: dict[tuple[Hashable | None, ...], int] = {}
    patterns: list[Pattern] = []
    pattern_of = np.empty(len(cells.values), dtype=np.intp)
    for row, own in enumerate(said if not problems else ()):
        if (key := tuple(own)) not in number_of:
            number_of[key] = len(patterns)
            patterns += _tried(lambda key=key: reader.pattern(key), f"row {cells.rows[row]}", problems)
        pattern_of[row] = number_of[key]
    if problems:
        raise TableProblem(*problems)
    return Rows(tuple(patterns), pattern_of)


def _read_cells(cells: Cells, reader: Reader) -> tuple[list[list[Hashable | None]], list[str]]:
    """What each cell says, the same text of a column read once, and what is wrong."""
    problems: list[str] = []
    known: list[dict[Cell, list[Hashable]]] = [{} for _ in cells.columns]
    read = []
    for row, values in enumerate(cells.values.tolist()):
        own: list[Hashable | None] = [None] * len(values)
        for column, cell in _told(values):
            where = f"row {cells.rows[row]}, column {cells.columns[column]}"
            if not isinstance(cell, Hashable):
                problems.append(f"{where}: {cell!r} is no text and no number")
            elif cell in known[column] and known[column][cell]:
                own[column] = known[column][cell][0]
            else:
                known[column][cell] = _tried(lambda c=column, v=cell: reader.said(c, v), where, problems)
                own[column] = next(iter(known[column][cell]), None)
        read.append(own)
    return read, problems


def _told(values: Sequence[Any]) -> Iterator[tuple[int, Any]]:
    return ((column, cell) for column, cell in enumerate(values) if cell is not None)


def _tried(read: Callable[[], Any], where: str, problems: list[str]) -> list[Any]:
    """What was read, as the only one of a list; none, with the problems added, where nobody can read it."""
    try:
        return [read()]
    except UsageProblem as error:
        problems.extend(f"{where}: {problem}" for problem in error.problems)
        return []
