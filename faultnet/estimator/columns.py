"""Columns that no model knows, as findings about one hidden cause: numbers cut into bins, and words as they are."""

from collections.abc import Collection, Hashable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from numbers import Real

import numpy as np

from faultnet.case import Finding
from faultnet.cpt import Floats
from faultnet.errors import UsageProblem
from faultnet.estimator.table import Cell, Cells, Said
from faultnet.patterns import Pattern


@dataclass(frozen=True, eq=False)
class Numbers:
    """A column of numbers. cuts: between the bins, ascending, each the highest of the lower one, ``(n_bins - 1,)``."""

    cuts: Floats

    @property
    def states(self) -> tuple[str, ...]:
        """Its bins."""
        return tuple(f"bin_{number}" for number in range(len(self.cuts) + 1))

    @property
    def words(self) -> tuple[str, ...]:
        """The same in words."""
        edges = ["", *(f"{cut:.4g}" for cut in self.cuts), ""]
        return tuple(f"{low}..{high}" for low, high in pairwise(edges))

    def state_of(self, cell: Cell) -> str | None:
        """The bin of a number. UsageProblem: it is none."""
        if not _is_number(cell):
            raise UsageProblem(f"{cell!r} is no number, and this column had numbers only")
        return self.states[int(np.searchsorted(self.cuts, float(cell)))]  # type: ignore[arg-type]


@dataclass(frozen=True, eq=False)
class Words:
    """A column of anything else. known: the number of each different value, in an order that rows do not change."""

    known: Mapping[Cell, int] = field(default_factory=dict)

    @property
    def states(self) -> tuple[str, ...]:
        """Its values."""
        return tuple(f"value_{number}" for number in range(len(self.known)))

    @property
    def words(self) -> tuple[str, ...]:
        """The same in words."""
        return tuple(map(str, self.known))

    def state_of(self, cell: Cell) -> str | None:
        """The state of a value; None of one that was never there, of which nobody knows what it says."""
        return f"value_{self.known[cell]}" if cell in self.known else None


Column = Numbers | Words


@dataclass(frozen=True)
class FindingReader:
    """Reads rows of such columns; one that never varied says nothing."""

    columns: tuple[Column, ...]

    def said(self, column: int, cell: Cell) -> Hashable:
        """The state of a finding, "" where it says nothing."""
        return self.columns[column].state_of(cell) or ""

    def pattern(self, said: Said) -> Pattern:
        """What a row says."""
        told = zip(range(len(said)), self.columns, said, strict=True)
        return Pattern(tuple(Finding(column_id(n), str(s)) for n, own, s in told if s and len(own.states) > 1))


def column_id(number: int) -> str:
    """The id of a column's finding."""
    return f"column_{number}"


def learn_columns(cells: Cells, weights: Floats, n_bins: int, categories: Collection[str] = ()) -> tuple[Column, ...]:
    """What the columns of a table hold; rows that count for nothing do not matter.

    n_bins: at most, of numbers; categories: columns whose numbers are none that could be cut.
    """
    counting, is_told = weights > 0, cells.is_told
    found: list[Column] = []
    for number, name in enumerate(cells.columns):
        rows = counting & is_told[:, number]
        values = cells.values[rows, number].tolist()
        if values and name not in categories and all(map(_is_number, values)):
            found.append(Numbers(_cuts(np.array(values, dtype=float), weights[rows], n_bins)))
        else:
            different = {value for value in values if isinstance(value, Hashable)}
            listed = sorted(different, key=lambda value: (type(value).__name__, str(value)))
            found.append(Words({value: n for n, value in enumerate(listed)}))
    return tuple(found)


def _is_number(cell: object) -> bool:
    return isinstance(cell, Real) and not isinstance(cell, bool | np.bool_)


def _cuts(values: Floats, weights: Floats, n_bins: int) -> Floats:
    """Where numbers are cut so that bins count for the same; each value apart where there are no more than bins."""
    listed, number = np.unique(values, return_inverse=True)
    if len(listed) <= n_bins:
        return listed[:-1]
    below = np.cumsum(np.bincount(number, weights))
    wanted = np.arange(1, n_bins) / n_bins * below[-1]
    at = np.unique(np.searchsorted(below, wanted))
    cuts: Floats = listed[at[at < len(listed) - 1]]
    return cuts
