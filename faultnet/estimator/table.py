"""A table as it was passed in: its cells, which are blank, and rows as patterns of evidence, equal ones once."""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Ints
from faultnet.errors import TableProblem, UsageProblem
from faultnet.patterns import Pattern

_T = TypeVar("_T")

Said = tuple[Hashable | None, ...]
"""What the cells of a row say, by column; None where nobody looked."""

Cell = Hashable
"""What stands in a cell; None in a blank one, of which nobody looked."""


@dataclass(frozen=True, eq=False)
class Cells:
    """The cells of a table. values: ``(n_rows, n_columns)``, None where nobody looked.

    columns: their names; rows: what each is called in messages.
    """

    columns: tuple[str, ...]
    rows: Sequence[object]
    values: npt.NDArray[np.object_]

    @classmethod
    def of(cls, values: npt.NDArray[Any], columns: Sequence[str], rows: Sequence[object]) -> "Cells":
        """The cells of an array. NaN, None and blank text say that nobody looked."""
        import pandas as pd

        cells = values.astype(object)
        if values.dtype.kind not in "biuf":
            for place, cell in np.ndenumerate(cells):
                if isinstance(cell, str) and not cell.strip():
                    cells[place] = None
        cells[pd.isna(cells)] = None
        return cls(tuple(columns), rows, cells)

    @property
    def is_told(self) -> npt.NDArray[np.bool_]:
        """Whether something stands in each cell: ``(n_rows, n_columns)``."""
        told: npt.NDArray[np.bool_] = ~np.equal(self.values, np.array(None))
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

    def pattern(self, said: Said) -> Pattern:
        """What a row says. UsageProblem: its cells do not go together."""
        ...


def read_rows(cells: Cells, reader: Reader, known: Sequence[str] = ()) -> Rows:
    """What the rows say. TableProblem names every cell that nobody can read, by row and column.

    known: what else is wrong.
    """
    problems = [*known]
    said = _read_cells(cells, reader, problems)
    number_of: dict[Said, int] = {}
    patterns: list[Pattern] = []
    pattern_of = np.zeros(len(cells.values), dtype=np.intp)
    for row, own in enumerate([] if problems else said):
        if own not in number_of:
            number_of[own] = len(patterns)
            patterns += _tried(problems, f"row {cells.rows[row]}", reader.pattern, own)
        pattern_of[row] = number_of[own]
    if problems:
        raise TableProblem(*problems)
    return Rows(tuple(patterns), pattern_of)


def _read_cells(cells: Cells, reader: Reader, problems: list[str]) -> list[Said]:
    """What each row says by column, the same cell of a column read once; what is wrong is added to the problems."""
    known: dict[tuple[int, type, Cell], list[Hashable]] = {}
    read: list[Said] = []
    for row, values in enumerate(cells.values.tolist()):
        own: list[Hashable | None] = [None] * len(values)
        for column, cell in enumerate(values):
            if cell is None:
                continue
            where = f"row {cells.rows[row]}, column {cells.columns[column]}"
            if not isinstance(cell, Hashable):
                problems.append(f"{where}: {cell!r} is no text and no number")
                continue
            key = column, type(cell), cell
            if not known.get(key):
                known[key] = _tried(problems, where, reader.said, column, cell)
            own[column] = next(iter(known[key]), None)
        read.append(tuple(own))
    return read


def _tried(problems: list[str], where: str, read: Callable[..., _T], *told: object) -> list[_T]:
    """What was read, as the only one of a list; none, with the problems added, where nobody can read it."""
    try:
        return [read(*told)]
    except UsageProblem as error:
        problems.extend(f"{where}: {problem}" for problem in error.problems)
        return []
