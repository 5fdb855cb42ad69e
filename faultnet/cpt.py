"""Conditional probability tables: a few written rows, and which row each combination of parents uses.

Keeping the *written* rows apart from the combinations has two uses: a table over six parents stays as small as what a
person filled in, and a row that serves many combinations is one set of numbers, learned and varied as one.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

ROW_SUM_TOLERANCE = 1e-9


@dataclass(frozen=True, eq=False)
class Table:
    """P(node | parents) as written rows.

    rows: ``(n_rows, n_states)``, each summing to 1.
    row_of: ``(*parent_sizes,)``, the number of the row for every combination of parent states.
    """

    rows: Floats
    row_of: Ints

    def __post_init__(self) -> None:
        if self.rows.ndim != 2 or not self.rows.size:
            raise ValueError(f"rows must have shape (n_rows, n_states), not {self.rows.shape}")
        if not np.all(np.isfinite(self.rows)) or np.any(self.rows < 0):
            raise ValueError("probabilities must be finite and not negative")
        if np.any(np.abs(self.rows.sum(axis=1) - 1) > ROW_SUM_TOLERANCE):
            raise ValueError("every row must sum to 1")
        if self.row_of.size and not (self.row_of.min() >= 0 and self.row_of.max() < len(self.rows)):
            raise ValueError("row_of points outside the rows")

    @classmethod
    def full(cls, probabilities: npt.ArrayLike) -> "Table":
        """The table of an array ``(*parent_sizes, n_states)``: one row for each combination of parents."""
        array = np.asarray(probabilities, dtype=float)
        rows = array.reshape(-1, array.shape[-1])
        return cls(rows, np.arange(len(rows), dtype=np.intp).reshape(array.shape[:-1]))

    @property
    def n_states(self) -> int:
        return int(self.rows.shape[1])

    @property
    def parent_sizes(self) -> tuple[int, ...]:
        return self.row_of.shape

    def expand(self) -> Floats:
        """Every combination written out: ``(*parent_sizes, n_states)``."""
        expanded: Floats = self.rows[self.row_of]
        return expanded

    def chances(self, states: Sequence[Ints]) -> Floats:
        """P(node | parents in these states), an array of states for each parent: ``(n, n_states)``."""
        return chances_by_row(self.rows, self.row_of, states)


@dataclass(frozen=True, eq=False)
class Rule:
    """A deterministic node: its state for every combination of parent states.

    state_of: ``(*parent_sizes,)``, numbers of the node's states.
    """

    state_of: Ints
    n_states: int

    def __post_init__(self) -> None:
        if not (self.state_of.min() >= 0 and self.state_of.max() < self.n_states):
            raise ValueError("state_of points outside the node's states")

    @cached_property
    def rows(self) -> Floats:
        """One certain row a state, so that a rule reads like a table: ``(n_states, n_states)``."""
        return np.eye(self.n_states)

    @property
    def row_of(self) -> Ints:
        return self.state_of

    @property
    def parent_sizes(self) -> tuple[int, ...]:
        return self.state_of.shape

    def expand(self) -> Floats:
        """Every combination written out: ``(*parent_sizes, n_states)``."""
        expanded: Floats = self.rows[self.state_of]
        return expanded

    def chances(self, states: Sequence[Ints]) -> Floats:
        """P(node | parents in these states), an array of states for each parent: ``(n, n_states)``."""
        return chances_by_row(self.rows, self.state_of, states)


def chances_by_row(rows: Floats, row_of: Ints, states: Sequence[Ints]) -> Floats:
    """The row that each combination of parent states uses: ``(n, n_states)``; ``(1, n_states)`` without parents."""
    combination: Ints = np.zeros(1, dtype=np.intp)
    for own, size in zip(states, row_of.shape, strict=True):
        combination = combination * size + own
    return rows.take(row_of.reshape(-1).take(combination), axis=0)
