"""What is believed of one case in every draw of the model's numbers, worked out once for all that is asked of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from faultnet.case.believed import Believed
from faultnet.cpt import Floats, Ints
from faultnet.diagnosis.drawn import Drawn, multiplied, states_that_matter
from faultnet.engine.information import mutual_informations_bits
from faultnet.engine.plan import Sums
from faultnet.engine.space import numbered

N_DRAWS = 200


@dataclass(frozen=True, eq=False)
class DrawnBelief:
    """What is believed in every draw that allows the evidence: P(sides, kept state | case), up to a factor.

    factors: as `Drawn.factors` gives them, their product the chance.
    """

    drawn: Drawn
    factors: Sequence[Floats]
    _over: dict[frozenset[int], Floats] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def n_draws(self) -> int:
        """How many draws allow the evidence."""
        return int(np.count_nonzero(self._totals))

    def over(self, sides: frozenset[int]) -> Floats:
        """P(states of these sides, kept state) in every draw: ``(n_draws, n_side_states * n_kept)``."""
        if sides not in self._over:
            is_possible = self._totals > 0
            self._over[sides] = self._product(sides)[is_possible] / self._totals[is_possible, None]
        return self._over[sides]

    @cached_property
    def _totals(self) -> Floats:
        """What the product adds to in every draw, 0 where the evidence is impossible."""
        totals: Floats = self._product(frozenset()).sum(axis=1)
        return totals

    def _product(self, sides: frozenset[int]) -> Floats:
        axes = self.drawn.engine.axes
        parts, touched = [], frozenset[int]()
        for factor in self.factors:
            own = axes.sides_of(factor[0])
            parts.append(factor.sum(axis=tuple(number + 1 for number in own - sides), keepdims=True))
            touched |= own
        parts += [self.drawn.side_chances(number) for number in sorted(sides - touched)]
        whole = multiplied(parts)
        return whole.reshape(len(whole), -1)

    def of_condition(self, condition: str) -> Floats:
        """P(state of a condition) in every draw: ``(n_draws, n_states)``."""
        number = self.drawn.engine.axes.side_number.get(condition)
        if number is None:
            return self.drawn.draws.condition(condition)
        by_state = self.over(frozenset([number]))
        chances: Floats = by_state.reshape(len(by_state), -1, len(self.drawn.kept)).sum(axis=2)
        return chances

    def gains_bits(self, leaves: Sequence[str], decided: Mapping[str, tuple[int, ...]]) -> Floats:
        """I(outcome of a test ; what is decided) in every draw: ``(n_draws,)``.

        leaves: what the test reveals; decided: of nodes the group that each of their states belongs to.
        """
        rows, row_of = self.drawn.outcome_rows(leaves)
        group, n_groups = self.drawn.group_of(decided)
        *sides, _ = shape = np.broadcast_shapes(group.shape, row_of.shape, (len(self.drawn.kept),))
        group, row_of = (np.broadcast_to(number, shape).reshape(-1) for number in (group, row_of))
        group, n_groups = _told_apart(group, n_groups, row_of, rows.shape[1])
        by_row = Sums.of(row_of * n_groups + group, rows.shape[1] * n_groups)
        weight = self.over(frozenset(number for number, size in enumerate(sides) if size > 1))
        sums = by_row(weight).reshape(len(weight), -1, n_groups)
        return mutual_informations_bits(np.matmul(rows[: len(weight)].transpose(0, 2, 1), sums))


def _told_apart(group: Ints, n_groups: int, row_of: Ints, n_rows: int) -> tuple[Ints, int]:
    """The groups, those together of which one and the same row speaks: no outcome tells these apart."""
    order = np.argsort(group, kind="stable")
    starts = np.searchsorted(group[order], np.arange(n_groups))
    first, last = (extreme.reduceat(row_of[order], starts) for extreme in (np.minimum, np.maximum))
    name = np.where(first == last, first, n_rows + np.arange(n_groups))
    used, number = numbered(name[group], n_rows + n_groups)
    return number, len(used)


def drawn_belief(believed: Believed, n_draws: int = N_DRAWS, seed: int = 0) -> DrawnBelief:
    """What is believed of a case in so many seeded draws of its model's numbers."""
    model = believed.model
    drawn = Drawn(
        model, model.compiled.table, states_that_matter(model, believed.now), model.compiled.draws(n_draws, seed)
    )
    return DrawnBelief(drawn, drawn.factors(believed.steps()))
