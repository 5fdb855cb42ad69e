"""How much a fault probability hangs on numbers nobody measured: its interval over draws of the model's numbers.

The evidence stays fixed; shares, table rows, condition shares and collateral chances vary together. Each draw solves its
own priors, as the model does. Only joint states that matter take part: those that carry all but `LEFT_OUT` of the
probability, so the interval differs from one over all states by far less than its own error from 200 draws.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from faultnet.case.case import Case
from faultnet.case.steps import case_steps
from faultnet.cpt import Floats, Ints
from faultnet.diagnosis.draws import Draws
from faultnet.engine.evidence import Change, Likelihood, Step, findings
from faultnet.engine.joint import Belief, JointEngine
from faultnet.model.graph import SET_WORKS
from faultnet.model.model import Model

LEFT_OUT = 1e-4
TAIL = 0.05
N_DRAWS = 200
_ROUNDS = 8


@dataclass(frozen=True, eq=False)
class Intervals:
    """The central 90 % of every component state's probability over the draws.

    low, high: for each component ``(n_states,)``. states: how many joint states took part. n_draws: draws used.
    """

    low: dict[str, Floats]
    high: dict[str, Floats]
    states: int
    n_draws: int


def fault_intervals(model: Model, case: Case, belief: Belief, n_draws: int = N_DRAWS, seed: int = 0) -> Intervals:
    """Intervals of P(component state | case); each holds the probability under the model's own numbers."""
    engine = model.compiled.engine
    kept = _states_that_matter(model, case, belief)
    posterior = _Drawn(model, engine, kept, Draws(model, n_draws, seed)).posterior(case_steps(model, case))
    low: dict[str, Floats] = {}
    high: dict[str, Floats] = {}
    for component in model.components:
        own = np.eye(len(model.states_of(component)))[engine.axes.index[component].reshape(-1)[kept]]
        chances = np.sort(posterior @ own, axis=0)
        point = belief.marginal(component)
        low[component] = np.minimum(chances[int(TAIL * len(chances))], point)
        high[component] = np.maximum(chances[int((1 - TAIL) * len(chances))], point)
    return Intervals(low, high, len(kept), len(posterior))


def _states_that_matter(model: Model, case: Case, belief: Belief) -> Ints:
    """Numbers of the joint states to draw over: likely now, before any repair, or with the confirmed complaint."""
    engine = model.compiled.engine
    confirmed = findings(engine.network, {model.complaint: model.complaint_state, **model.confirmed_by})
    beliefs = [belief, engine.belief(confirmed)]
    before: list[Step] = []
    for step in belief.steps:
        if isinstance(step, Change):
            beliefs.append(engine.belief(before))
        before.append(step)
    kept: set[int] = {0}
    for one in beliefs:
        order = np.argsort(one.targets)[::-1]
        enough = int(np.searchsorted(np.cumsum(one.targets[order]), 1 - LEFT_OUT)) + 1
        kept.update(order[:enough].tolist())
    kept.update(np.flatnonzero(model.compiled.n_faults == 1).tolist())
    for component in {step.node for step in belief.steps if isinstance(step, Change)}:
        kept.update(_with_state(engine, np.array(sorted(kept)), component, 0).tolist())
    return np.array(sorted(kept), dtype=np.intp)


def _with_state(engine: JointEngine, states: Ints, node: str, state: int) -> Ints:
    """The same joint states with one target put into another state."""
    sizes = engine.axes.target_sizes
    number = engine.axes.targets.index(node)
    stride = int(np.prod(sizes[number + 1 :]))
    own = engine.axes.index[node].reshape(-1)[states]
    moved: Ints = states + (state - own) * stride
    return moved


class _Drawn:
    """A model's network with drawn numbers, over the kept joint states. Arrays: ``(n_draws or 1, *sides or 1, n_kept)``."""

    def __init__(self, model: Model, engine: JointEngine, kept: Ints, draws: Draws) -> None:
        self.model, self.engine, self.kept, self.draws = model, engine, kept, draws
        self.side_ratio = {
            number: draws.condition(side) / np.array(model.conditions[side].shares)
            for number, side in enumerate(engine.axes.sides)
            if side in model.conditions
        }
        self._rows: dict[str, Floats] = {}

    def posterior(self, steps: Sequence[Step]) -> Floats:
        """P(kept joint state | steps) in every draw that allows the evidence: ``(<= n_draws, n_kept)``."""
        weight = self._prior(self._on_sides_only(steps))
        for step in steps:
            if isinstance(step, Change):
                weight = self._changed(weight, step)
            elif not self._is_on_sides(step):
                weight = self._with_sides(weight, column := self._column(step)) * column
                weight = weight / np.maximum(weight.max(axis=tuple(range(1, weight.ndim)), keepdims=True), 1e-300)
        chances = weight.reshape(len(weight), -1, len(self.kept)).sum(axis=1)
        total = chances.sum(axis=1)
        possible: Floats = chances[total > 0] / total[total > 0, None]
        return possible

    # -- evidence ------------------------------------------------------------------------------------------------

    def _is_on_sides(self, step: Step) -> bool:
        return isinstance(step, Likelihood) and all(node in self.engine.axes.sides for node in step.nodes)

    def _on_sides_only(self, steps: Iterable[Step]) -> list[Step]:
        return [step for step in steps if self._is_on_sides(step)]

    def _drawn_rows(self, leaf: str) -> Floats:
        if leaf not in self._rows:
            fixed = self.engine.network[leaf].cpt.rows[None]
            self._rows[leaf] = fixed if leaf == SET_WORKS else self.draws.rows(leaf)
        return self._rows[leaf]

    def _column(self, seen: Likelihood) -> Floats:
        """P(what was seen | kept state) in every draw."""
        axes = self.engine.axes
        table = seen.table[None]
        for axis, node in enumerate(seen.nodes, start=1):
            if node in axes.leaves:
                moved = np.moveaxis(table, axis, -1)
                flat = moved.reshape(len(moved), -1, moved.shape[-1]) @ self._drawn_rows(node).transpose(0, 2, 1)
                table = np.moveaxis(flat.reshape(len(flat), *moved.shape[1:-1], -1), -1, axis)
        configuration: Ints = np.zeros((1,) * (len(axes.sides) + 1), dtype=np.intp)
        for node, size in zip(seen.nodes, table.shape[1:], strict=True):
            index = axes.index[node]
            configuration = configuration * size + (index[..., self.kept] if index.shape[-1] > 1 else index)
        column: Floats = table.reshape(len(table), -1)[:, configuration]
        if seen.showing < 1:  # the first kept state is the one with nothing faulty
            column = seen.showing * column + (1 - seen.showing) * column[..., :1]
        return column

    def _with_sides(self, weight: Floats, column: Floats) -> Floats:
        """The weight with the sides of a column written out at their drawn chances."""
        for number, size in enumerate(column.shape[1:-1]):
            if size > 1 and weight.shape[number + 1] == 1:
                chances = self.engine.side_prior(number)
                if number in self.side_ratio:
                    ratio = self.side_ratio[number].reshape(-1, *chances.shape)
                    chances = chances * ratio
                weight = weight * chances
        return weight

    def _changed(self, weight: Floats, made: Change) -> Floats:
        position = np.full(self.engine.axes.n_joint, -1)
        position[self.kept] = np.arange(len(self.kept))
        own = self.engine.axes.index[made.node].reshape(-1)[self.kept]
        moves = np.zeros((len(self.kept), len(self.kept)))
        for state in range(len(made.matrix)):
            there = position[_with_state(self.engine, self.kept, made.node, state)]
            inside = there >= 0
            moves[np.flatnonzero(inside), there[inside]] += made.matrix[own[inside], state]
        changed: Floats = weight @ moves
        return changed

    # -- priors --------------------------------------------------------------------------------------------------

    def _prior(self, given: Sequence[Step]) -> Floats:
        """P(kept state) in every draw: the model's own, times how the drawn odds differ from its odds."""
        point = self.engine.belief(given)
        coupled = self._coupled_in_columns()
        own = point.written_out(coupled)[..., self.kept][None]
        ratio = self._odds_ratio()
        prior: Floats = own * ratio.reshape(len(ratio), *(1,) * len(self.engine.axes.sides), -1)
        return prior

    def _coupled_in_columns(self) -> frozenset[int]:
        """Coupled sides that observations hang on too; none in most models."""
        axes = self.engine.axes
        used = frozenset[int]().union(*(axes.sides_of(axes.index[leaf]) for leaf in axes.leaves))
        return used & self.engine.coupled

    def _odds_ratio(self) -> Floats:
        """Prior weight of every kept state against the model's own, in every draw: ``(n_draws, n_kept)``.

        The fixed point of `solve_root_odds`, all draws at once.
        """
        model, engine = self.model, self.engine
        is_mode, n_faults = model.compiled.is_mode[self.kept], model.compiled.n_faults[self.kept]
        own_prior = engine.base(frozenset()).reshape(-1)[self.kept]
        seen: Floats = np.ones((1, *(1,) * (len(engine.axes.sides) + 1)))
        for step in findings(engine.network, {model.complaint: model.complaint_state, **model.confirmed_by}):
            column = self._column(step)
            seen = self._with_sides(seen, column) * column
        seen = seen.reshape(len(seen), -1, len(self.kept)).sum(axis=1)
        shares, second = self.draws.shares(), np.maximum(self.draws.second_fault_share(), 1e-4)
        logs = np.log(np.maximum(shares, 1e-12)) - np.log([model.shares[mode] for mode in model.modes])
        collateral = self._collateral_ratio(logs)
        for _ in range(_ROUNDS):
            ratio = np.exp(logs @ is_mode.T) * collateral
            weight = own_prior * ratio * seen
            weight = weight / weight.sum(axis=1, keepdims=True)
            present = weight @ is_mode
            by_mode = shares / (present / present.sum(axis=1, keepdims=True))
            overall = second / weight[:, n_faults >= 2].sum(axis=1)
            logs = logs + np.log(np.maximum(by_mode, 1e-12)) + np.log(np.clip(overall, 0.2, 5.0))[:, None]
            collateral = self._collateral_ratio(logs)
        return np.exp(logs @ is_mode.T) * collateral

    def _collateral_ratio(self, logs: Floats) -> Floats:
        """What drawn collateral chances change: an effect beside its cause comes mostly by the link, not by its own odds."""
        chances = self.draws.collateral()
        ratio = np.ones((len(chances), len(self.kept)))
        modes, odds = list(self.model.modes), self.model.compiled.odds
        is_mode = self.model.compiled.is_mode[self.kept] > 0
        for number, link in enumerate(self.model.collateral):
            with_cause = is_mode[:, modes.index(link.cause)]
            with_effect = is_mode[:, modes.index(link.effect)]
            own = [odds[m] for m in modes if m.component == link.effect.component]
            by_itself = odds[link.effect] / (1 + sum(own)) * (1 - link.chance)
            by_link = link.chance / (link.chance + by_itself)
            drawn = chances[:, number, None]
            without = (1 - drawn) / (1 - link.chance)
            own_ratio = np.exp(logs[:, modes.index(link.effect), None])
            both = by_link * drawn / link.chance / own_ratio + (1 - by_link) * without
            ratio = np.where(with_cause & with_effect, ratio * both, np.where(with_cause, ratio * without, ratio))
        return ratio
