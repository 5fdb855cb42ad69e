"""What the outcomes of a test say about joint states: many of these share one distribution of outcomes."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.axes import Axes
from faultnet.engine.information import row_entropies_bits


@dataclass(frozen=True, eq=False)
class OutcomeColumn:
    """P(outcome | sides, joint state), of which only a few differ.

    rows: those that differ, ``(n_rows, n_outcomes)``.
    row_of: the number of the row for every joint state, ``(*sides or 1, n_joint)``.
    sides: the sides it depends on.
    """

    rows: Floats
    row_of: Ints
    sides: frozenset[int]

    @cached_property
    def flat(self) -> Floats:
        """Written out, the side axes as one: ``(n_outcomes, n_side_states, n_joint)``."""
        return self.rows.T.take(self.row_of.reshape(-1, self.row_of.shape[-1]), axis=1)

    @cached_property
    def entropies_bits(self) -> Floats:
        """H(outcome | sides, joint state), the side axes as one: ``(n_side_states, n_joint)``."""
        return row_entropies_bits(self.rows)[self.row_of.reshape(-1, self.row_of.shape[-1])]


def make_outcome_column(axes: Axes, leaves: Sequence[str], side_priors: dict[int, Floats]) -> OutcomeColumn:
    """The column of the joint outcomes of `leaves`, the sides of `side_priors` summed out at these chances.

    Joint states are told apart only where a row of a leaf's CPT differs, in any state of the sides summed out.
    """
    sides = frozenset[int]().union(*(axes.sides_of(axes.index[leaf]) for leaf in leaves))
    summed = sorted(side_priors)
    full = [len(axes.network[side].states) if number in sides else 1 for number, side in enumerate(axes.sides)]
    kept = [1 if number in side_priors else size for number, size in enumerate(full)]
    chances = np.ones(1)
    for side in summed:
        chances = (chances[:, None] * side_priors[side].reshape(-1)).reshape(-1)
    number: Ints = np.zeros((*kept, axes.n_joint), dtype=np.intp)
    n_rows = 1
    used: list[tuple[Floats, Ints]] = []
    for leaf in leaves:
        known = axes.network[leaf]
        rows = axes.rows(leaf) if leaf in axes.leaves else np.eye(len(known.states))
        row = np.moveaxis(np.broadcast_to(axes.index[leaf], (*full, axes.n_joint)), summed, range(len(summed)))
        row = row.reshape(len(chances), *kept, axes.n_joint)
        for each in row:
            number, n_rows = _renumbered(number * len(rows) + each, n_rows * len(rows))
        used.append((rows, row.reshape(len(chances), -1)))
    place = np.empty(n_rows, dtype=np.intp)
    place[number.reshape(-1)] = np.arange(number.size)
    return OutcomeColumn(_rows(chances, used, place), number, sides - frozenset(side_priors))


def _rows(chances: Floats, used: Sequence[tuple[Floats, Ints]], place: Ints) -> Floats:
    """P(joint outcome) at each place, over the states of the sides summed out: ``(n_places, n_outcomes)``."""
    total: Floats = np.zeros((len(place), 1))
    for state, chance in enumerate(chances):
        joint: Floats = np.full((len(place), 1), chance)
        for rows, row in used:
            joint = (joint[:, :, None] * rows[row[state, place], None]).reshape(len(place), -1)
        total = total + joint
    return total


def _renumbered(codes: Ints, n_codes: int) -> tuple[Ints, int]:
    """The codes as 0, 1, 2 ... in the same order, and how many there are."""
    present = np.zeros(n_codes, dtype=np.intp)
    present[codes] = 1
    numbers = np.cumsum(present)
    renumbered: Ints = (numbers - 1)[codes]
    return renumbered, int(numbers[-1])
