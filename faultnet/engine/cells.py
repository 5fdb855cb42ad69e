"""Joint states added up by what they say of a test and by group, without writing out every state for every outcome."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.columns import OutcomeColumn
from faultnet.engine.products import product

MOST_CELLS = 2**14
"""Tables of rows by groups larger than this, and than several times the joint states, are not worth writing out."""

_CELLS_A_STATE = 4

FEW_CELLS = 8
"""Sorting into so few cells is done faster by a product with their indicators."""


@dataclass(frozen=True, eq=False)
class Cells:
    """Joint states sorted into cells, one for each row of a column and group.

    number: ``(n_side_states * n_joint,)``, of the cell: row times `n_groups` plus group.
    sides: those it is laid out over.
    """

    column: OutcomeColumn
    number: Ints
    n_groups: int
    sides: frozenset[int]

    def outcomes(self, weight: Floats) -> Floats:
        """P(joint outcome, group) when the joint states have this weight, flat: ``(n_outcomes, n_groups)``."""
        rows, n_groups = self.column.rows, self.n_groups
        if len(rows) * n_groups > max(MOST_CELLS, _CELLS_A_STATE * len(self.number)):
            group = self.number % n_groups
            by_state = rows.T.take(self.number // n_groups, axis=1) * weight
            return np.stack([np.bincount(group, row, n_groups) for row in by_state])
        n_cells = len(rows) * n_groups
        if n_cells <= FEW_CELLS:
            cells: Floats = np.vecdot(self._is_in, weight)
        else:
            cells = np.bincount(self.number, weight, n_cells).astype(float, copy=False)
        return product(rows.T, cells.reshape(-1, n_groups))

    @cached_property
    def _is_in(self) -> Floats:
        """1 where a joint state is in a cell: ``(n_cells, n_side_states * n_joint)``."""
        is_in: Floats = (np.arange(len(self.column.rows) * self.n_groups)[:, None] == self.number).astype(float)
        return is_in
