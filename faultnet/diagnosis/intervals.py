"""How much a fault probability hangs on numbers nobody measured: its interval over draws of the model's numbers.

The evidence stays fixed; shares, table rows, condition shares and collateral chances vary together. Each draw solves
its own priors, as the model does. Only joint states that matter take part: those that carry all but `LEFT_OUT` of the
probability, so the interval differs from one over all states by far less than its own error from 200 draws.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from faultnet.case.case import Case
from faultnet.case.steps import case_steps
from faultnet.cpt import Floats, Ints
from faultnet.diagnosis.draws import Draws
from faultnet.engine.evidence import Change, Likelihood, Step, findings
from faultnet.engine.interface import Belief
from faultnet.engine.joint import JointEngine
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
    engine = model.compiled.table
    kept = _states_that_matter(model, belief)
    posterior = _Drawn(model, engine, kept, Draws(model, n_draws, seed)).posterior(case_steps(model, case))
    low: dict[str, Floats] = {}
    high: dict[str, Floats] = {}
    for component in model.components:
        own = np.eye(len(model.states_of(component)))[engine.axes.index[component].reshape(-1)[kept]]
        chances = np.sort(_times(posterior, own), axis=0)
        point = belief.marginal(component)
        low[component] = np.minimum(chances[int(TAIL * len(chances))], point)
        high[component] = np.maximum(chances[int((1 - TAIL) * len(chances))], point)
    return Intervals(low, high, len(kept), len(posterior))


def _states_that_matter(model: Model, belief: Belief) -> Ints:
    """Numbers of the joint states to draw over: likely now, before any repair, or with the confirmed complaint."""
    engine = model.compiled.table
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
    """A model's network with drawn numbers, over the kept joint states.

    Arrays: ``(n_draws or 1, *sides or 1, n_kept)``.
    """

    def __init__(self, model: Model, engine: JointEngine, kept: Ints, draws: Draws) -> None:
        self.model, self.engine, self.kept, self.draws = model, engine, kept, draws
        self._rows: dict[str, Floats] = {}
        self._chances: dict[int, Floats] = {}

    def posterior(self, steps: Sequence[Step]) -> Floats:
        """P(kept joint state | steps) in every draw that allows the evidence: ``(<= n_draws, n_kept)``."""
        weight = self._prior(self._on_sides_only(steps))
        for step in steps:
            if isinstance(step, Change):
                weight = self._changed(weight, step)
            elif not self._is_on_sides(step):
                weight = self._observed(weight, step)
                weight /= np.maximum(weight.max(axis=tuple(range(1, weight.ndim)), keepdims=True), 1e-300)
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
        """P(what was seen | kept state) in every draw; an array of the caller's own."""
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
        column: Floats = table.reshape(len(table), -1).take(configuration.reshape(-1), axis=1)
        column = column.reshape(-1, *configuration.shape)
        if seen.showing < 1:  # the first kept state is the one with nothing faulty
            column = seen.showing * column + (1 - seen.showing) * column[..., :1]
        return column

    def _observed(self, weight: Floats, seen: Likelihood) -> Floats:
        """The weight times the likelihood, sides that only the likelihood depends on written out at drawn chances."""
        column = self._column(seen)
        for number, size in enumerate(column.shape[1:-1]):
            if size > 1 and weight.shape[number + 1] == 1:
                column = _product(column, self._side_chances(number))
        return _product(column, weight)

    def _side_chances(self, number: int) -> Floats:
        """P(state) of a side in every draw, along its axis."""
        if number not in self._chances:
            side, chances = self.engine.axes.sides[number], self.engine.side_prior(number)
            if side in self.model.conditions:
                ratio = self.draws.condition(side) / np.array(self.model.conditions[side].shares)
                chances = chances * ratio.reshape(-1, *chances.shape)
            else:
                chances = chances[None]
            self._chances[number] = chances
        return self._chances[number]

    def _changed(self, weight: Floats, made: Change) -> Floats:
        position = np.full(self.engine.axes.n_joint, -1)
        position[self.kept] = np.arange(len(self.kept))
        own = self.engine.axes.index[made.node].reshape(-1)[self.kept]
        changed = np.zeros_like(weight)
        for after in range(len(made.matrix)):
            there = position[_with_state(self.engine, self.kept, made.node, after)]
            for before in np.flatnonzero(made.matrix[:, after]):
                moved = np.flatnonzero((own == before) & (there >= 0))
                changed[..., there[moved]] += weight[..., moved] * made.matrix[before, after]
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
        seen: Floats = np.ones((1, *(1,) * (len(engine.axes.sides) + 1)))
        for step in findings(engine.network, {model.complaint: model.complaint_state, **model.confirmed_by}):
            seen = self._observed(seen, step)
        evidence = seen.reshape(len(seen), -1, len(self.kept)).sum(axis=1)
        evidence *= engine.base(frozenset()).reshape(-1)[self.kept]
        shares, second = self.draws.shares(), np.maximum(self.draws.second_fault_share(), 1e-4)
        logs = np.log(np.maximum(shares, 1e-12)) - np.log([model.shares[mode] for mode in model.modes])
        features = np.hstack([is_mode, self._link_features(is_mode > 0)]).T.copy()
        tallied = np.column_stack([is_mode, n_faults >= 2, np.ones(len(self.kept))])
        links = _Links(model, self.draws.collateral())
        for _ in range(_ROUNDS):
            weight = np.exp(_times(np.hstack([logs, links.logs(logs)]), features))
            weight *= evidence
            tally = _times(weight, tallied)
            present, several, total = tally[:, :-2], tally[:, -2], tally[:, -1]
            by_mode = shares / (present / present.sum(axis=1, keepdims=True))
            overall = second * total / several
            logs = logs + np.log(np.maximum(by_mode, 1e-12)) + np.log(np.clip(overall, 0.2, 5.0))[:, None]
        return np.exp(_times(np.hstack([logs, links.logs(logs)]), features))

    def _link_features(self, is_mode: npt.NDArray[np.bool_]) -> Floats:
        """For each collateral link the states with its cause only, and those with cause and effect."""
        modes = list(self.model.modes)
        columns = [np.empty((len(is_mode), 0))]
        for link in self.model.collateral:
            cause, effect = is_mode[:, modes.index(link.cause)], is_mode[:, modes.index(link.effect)]
            columns.append(np.column_stack([cause & ~effect, cause & effect]))
        return np.hstack(columns)


class _Links:
    """What drawn collateral chances change: beside its cause an effect comes mostly by the link, not by its odds."""

    def __init__(self, model: Model, chances: Floats) -> None:
        self.drawn = chances
        modes, odds = list(model.modes), model.compiled.odds
        self.effects = [modes.index(link.effect) for link in model.collateral]
        self.chances = np.array([link.chance for link in model.collateral])
        own = [sum(odds[m] for m in modes if m.component == link.effect.component) for link in model.collateral]
        odds_of_effects = np.array([odds[link.effect] for link in model.collateral])
        by_itself = odds_of_effects / (1 + np.array(own)) * (1 - self.chances)
        self.by_link = self.chances / (self.chances + by_itself)

    def logs(self, logs: Floats) -> Floats:
        """Logarithms of the factors of `_link_features`, given those of the odds: ``(n_draws, 2 * n_links)``."""
        without = (1 - self.drawn) / (1 - self.chances)
        by_odds = np.exp(-logs[:, self.effects])
        both = self.by_link * self.drawn / self.chances * by_odds + (1 - self.by_link) * without
        factors = np.stack([without, both], axis=-1).reshape(len(logs), 2 * len(self.effects))
        logarithms: Floats = np.log(np.maximum(factors, 1e-300))
        return logarithms


def _times(rows: Floats, matrix: Floats) -> Floats:
    """``rows @ matrix``, a row at a time: products this small take longest where they are spread over threads."""
    product: Floats = np.matmul(rows[..., None, :], matrix)[..., 0, :]
    return product


def _product(own: Floats, other: Floats) -> Floats:
    """The product, in the place of the first when it fits there."""
    fits = own.shape == np.broadcast_shapes(own.shape, other.shape)
    product: Floats = np.multiply(own, other, out=own if fits else None)
    return product
