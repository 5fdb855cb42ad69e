"""A model's network with drawn numbers, over the joint states that matter.

Shares, table rows, condition shares and collateral chances vary together; the evidence stays fixed. Each draw solves
its own priors, as the model does. Only joint states that matter take part: those that carry all but `LEFT_OUT` of the
probability.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import compress

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats, Ints
from faultnet.engine.evidence import Change, Likelihood, Step, findings
from faultnet.engine.interface import Belief
from faultnet.engine.joint import JointEngine
from faultnet.engine.products import product
from faultnet.engine.space import numbered
from faultnet.model.draws import Draws
from faultnet.model.graph import observation_cpt
from faultnet.model.model import Model
from faultnet.model.nodes import Observation

LEFT_OUT = 1e-4
_ROUNDS = 8


def states_that_matter(model: Model, belief: Belief) -> Ints:
    """Numbers of the joint states to draw over: likely now, before any repair, or with the confirmed complaint."""
    engine = model.compiled.table
    beliefs = [belief, engine.belief(findings(engine.network, model.confirmed))]
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


class Drawn:
    """A model's network with drawn numbers, over the kept joint states.

    Arrays: ``(n_draws or 1, *sides or 1, n_kept)``.
    """

    def __init__(self, model: Model, engine: JointEngine, kept: Ints, draws: Draws) -> None:
        self.model, self.engine, self.kept, self.draws = model, engine, kept, draws
        self._rows: dict[str, tuple[Floats, Ints]] = {}
        self._chances: dict[int, Floats] = {}
        self._columns: dict[tuple[tuple[str, ...], bytes, float], Floats] = {}
        self._groups: dict[tuple[tuple[str, tuple[int, ...]], ...], tuple[Ints, int]] = {}

    def factors(self, steps: Sequence[Step]) -> list[Floats]:
        """P(sides, kept state | steps) in every draw, up to a factor: the product of these arrays.

        No side has an axis in two of them. Of findings without a change between, those over few sides come first.
        """
        factors = [self._prior(self._on_sides_only(steps))]
        columns: list[Floats] = []
        for step in steps:
            if isinstance(step, Change):
                factors, columns = [self._changed(multiplied(self._observed(factors, columns)), step)], []
            elif not self._is_on_sides(step):
                columns.append(self._column(step))
        return self._observed(factors, columns)

    def group_of(self, decided: Mapping[str, tuple[int, ...]]) -> tuple[Ints, int]:
        """The number of every kept state's group, ``(*sides or 1, n_kept or 1)``, and how many there are.

        decided: of nodes the group that each of their states belongs to; those of all nodes together are one.
        """
        key = tuple(decided.items())
        if key not in self._groups:
            group: Ints = np.zeros((1,) * (len(self.engine.axes.sides) + 1), dtype=np.intp)
            size = 1
            for node, groups in key:
                more = max(groups) + 1
                group, size = group * more + np.array(groups)[self._kept_index(node)], size * more
            used, number = numbered(group.reshape(-1), size)
            self._groups[key] = number.reshape(group.shape), len(used)
        return self._groups[key]

    def outcome_rows(self, leaves: Sequence[str]) -> tuple[Floats, Ints]:
        """Drawn rows of the joint outcomes of leaves, ``(n_draws or 1, n_rows, n_outcomes)``, and each kept state's."""
        rows: Floats = np.ones((1, 1, 1))
        row_of: Ints = np.zeros((1,) * (len(self.engine.axes.sides) + 1), dtype=np.intp)
        for leaf in leaves:
            own, own_row = self._drawn_rows(leaf)
            rows = (rows[:, :, None, :, None] * own[:, None, :, None, :]).reshape(
                max(len(rows), len(own)), rows.shape[1] * own.shape[1], -1
            )
            row_of = row_of * own.shape[1] + own_row
        return rows, row_of

    def side_chances(self, number: int) -> Floats:
        """P(state) of a side in every draw, along its axis."""
        if number not in self._chances:
            self._chances[number] = self.engine.side_prior(number) * self._side_ratio(number)
        return self._chances[number]

    # -- evidence ------------------------------------------------------------------------------------------------

    def _is_on_sides(self, step: Step) -> bool:
        return isinstance(step, Likelihood) and all(node in self.engine.axes.sides for node in step.nodes)

    def _on_sides_only(self, steps: Iterable[Step]) -> list[Step]:
        return [step for step in steps if self._is_on_sides(step)]

    def _drawn_rows(self, leaf: str) -> tuple[Floats, Ints]:
        """Drawn rows of a leaf, ``(n_draws or 1, n_rows, n_states)``, and the number of the row of every kept state."""
        if leaf not in self._rows:
            row_of, seen = self._kept_index(leaf), self.model.observations.get(leaf)
            if seen is None:
                self._rows[leaf] = self.engine.axes.rows(leaf)[None], row_of
            elif seen.noisy is None:
                self._rows[leaf] = self.draws.rows(leaf), row_of
            else:
                self._rows[leaf] = self._noisy_rows(seen, row_of)
        return self._rows[leaf]

    def _noisy_rows(self, seen: Observation, row_of: Ints) -> tuple[Floats, Ints]:
        """The rows of a noisy form that kept states use, made of drawn effects."""
        used, place = np.unique(row_of, return_inverse=True)
        example = np.empty(len(used), dtype=np.intp)
        example[place.reshape(-1)] = np.arange(row_of.size)
        states = [np.broadcast_to(self._kept_index(c), row_of.shape).reshape(-1)[example] for c in seen.given]
        drawn = [observation_cpt(self.model, seen, written).chances(states) for written in self.draws.rows(seen.id)]
        return np.stack(drawn), place.reshape(row_of.shape)

    def _kept_index(self, node: str) -> Ints:
        """What the layout says of a node, for kept states only."""
        index = self.engine.axes.index[node]
        return index[..., self.kept] if index.shape[-1] > 1 else index

    def _column(self, seen: Likelihood) -> Floats:
        """P(what was seen | kept state) in every draw, up to a factor."""
        key = seen.nodes, seen.table.tobytes(), seen.showing
        if key not in self._columns:
            self._columns[key] = self._made_column(seen)
        return self._columns[key]

    def _made_column(self, seen: Likelihood) -> Floats:
        axes = self.engine.axes
        table = seen.table[None]
        for axis, node in enumerate(seen.nodes, start=1):
            if node in axes.leaves:
                moved = np.moveaxis(table, axis, -1)
                flat = moved.reshape(len(moved), -1, moved.shape[-1]) @ self._drawn_rows(node)[0].transpose(0, 2, 1)
                table = np.moveaxis(flat.reshape(len(flat), *moved.shape[1:-1], -1), -1, axis)
        table = _scaled(table)
        configuration: Ints = np.zeros((1,) * (len(axes.sides) + 1), dtype=np.intp)
        for node, size in zip(seen.nodes, table.shape[1:], strict=True):
            row_of = self._drawn_rows(node)[1] if node in axes.leaves else self._kept_index(node)
            configuration = configuration * size + row_of
        column: Floats = table.reshape(len(table), -1).take(configuration.reshape(-1), axis=1)
        column = column.reshape(-1, *configuration.shape)
        if seen.showing < 1:  # the first kept state is the one with nothing faulty
            column = seen.showing * column + (1 - seen.showing) * column[..., :1]
        return column

    def _observed(self, factors: list[Floats], columns: Iterable[Floats]) -> list[Floats]:
        """The factors times some likelihoods."""
        for column in sorted(columns, key=np.size):
            factors = self._times(factors, column)
        return factors

    def _times(self, factors: Sequence[Floats], column: Floats) -> list[Floats]:
        """The factors times a likelihood, sides that only the likelihood depends on written out at drawn chances."""
        sides = self.engine.axes.sides_of(column[0])
        of_factors = [self.engine.axes.sides_of(factor[0]) for factor in factors]
        untouched = sides.difference(*of_factors)
        column = multiplied([column, *(self.side_chances(number) for number in sorted(untouched))])
        if not sides:
            smallest, *others = sorted(factors, key=np.size)
            return [_scaled(smallest * column), *others]
        is_apart = [sides.isdisjoint(own) for own in of_factors]
        together = [factor for factor, apart in zip(factors, is_apart, strict=True) if not apart]
        return [*compress(factors, is_apart), multiplied([column, *together])]

    def _side_ratio(self, number: int) -> Floats:
        """The drawn share of each state of a side against the model's own, along its axis, in every draw."""
        shape = [1] * (len(self.engine.axes.sides) + 2)
        side = self.engine.axes.sides[number]
        if side not in self.model.conditions:
            return np.ones(shape)
        shares = np.array(self.model.conditions[side].shares)
        ratio = np.divide(
            self.draws.condition(side), shares, out=np.ones((self.draws.n, len(shares))), where=shares > 0
        )
        shape[0], shape[number + 1] = ratio.shape
        along: Floats = ratio.reshape(shape)
        return along

    def _changed(self, weight: Floats, made: Change) -> Floats:
        position = np.full(self.engine.axes.n_joint, -1)
        position[self.kept] = np.arange(len(self.kept))
        own = self.engine.axes.index[made.node].reshape(-1)[self.kept]
        stays = np.diagonal(made.matrix)
        changed = weight * stays[own]
        for before, after in np.argwhere((made.matrix > 0) & ~np.eye(len(stays), dtype=bool)):
            there = position[_with_state(self.engine, self.kept, made.node, after)]
            moved = np.flatnonzero((own == before) & (there >= 0))
            changed[..., there[moved]] += weight[..., moved] * made.matrix[before, after]
        return changed

    # -- priors --------------------------------------------------------------------------------------------------

    def _prior(self, given: Sequence[Step]) -> Floats:
        """P(kept state) in every draw: the model's own, times how the drawn odds differ from its odds.

        Coupled sides that are written out vary as well, given the joint state: shares hold with conditions summed out.
        The others stay summed out at their own chances.
        """
        point = self.engine.belief(given)
        coupled = self._coupled_in_columns()
        own = point.written_out(coupled)[..., self.kept][None]
        ratio = self._odds_ratio()
        prior: Floats = own * ratio.reshape(len(ratio), *(1,) * len(self.engine.axes.sides), -1)
        for number in sorted(coupled):
            varied = prior * self._side_ratio(number)
            before, after = (array.sum(axis=number + 1, keepdims=True) for array in (prior, varied))
            prior = varied * np.divide(before, after, out=np.zeros_like(after), where=after > 0)
        return prior

    def _coupled_in_columns(self) -> frozenset[int]:
        """Coupled sides that are asked for, or that observations hang on too; none in most models."""
        axes = self.engine.axes
        used = frozenset[int]().union(*(axes.sides_of(axes.index[leaf]) for leaf in axes.leaves))
        asked = {axes.side_number[c] for c in self.model.asked if c in axes.side_number}
        return (used | asked) & self.engine.coupled

    def _odds_ratio(self) -> Floats:
        """Prior weight of every kept state against the model's own, in every draw: ``(n_draws, n_kept)``.

        The fixed point of `solve_root_odds`, all draws at once.
        """
        model, engine = self.model, self.engine
        is_mode, n_faults = model.compiled.is_mode[self.kept], model.compiled.n_faults[self.kept]
        seen: list[Floats] = [np.ones((1, *(1,) * len(engine.axes.sides), len(self.kept)))]
        seen = self._observed(seen, map(self._column, findings(engine.network, model.confirmed)))
        evidence = multiplied([_over_sides(factor) for factor in seen])
        evidence *= engine.base(frozenset()).reshape(-1)[self.kept]
        shares, second = self.draws.shares(), np.maximum(self.draws.second_fault_share(), 1e-4)
        logs = np.log(np.maximum(shares, 1e-12)) - np.log([model.shares[mode] for mode in model.modes])
        features = np.hstack([is_mode, self._link_features(is_mode > 0)]).T.copy()
        tallied = np.column_stack([is_mode, n_faults >= 2, np.ones(len(self.kept))])
        links = _Links(model, self.draws.collateral())
        own_odds = np.array([model.compiled.odds[mode] for mode in model.modes])
        for _ in range(_ROUNDS):
            weight = np.exp(product(np.hstack([logs, links.logs(logs)]), features))
            weight *= evidence
            tally = product(weight, tallied)
            present, several, total = tally[:, :-2], tally[:, -2], tally[:, -1]
            by_mode = shares / (present / present.sum(axis=1, keepdims=True))
            if len(model.components) > 1:
                overall = second * total / several
            else:  # no second faults: the odds keep their usual sum, as in `solve_root_odds`
                overall = own_odds.sum() / (own_odds * np.exp(logs) * by_mode).sum(axis=1)
            logs = logs + np.log(np.maximum(by_mode, 1e-12)) + np.log(np.clip(overall, 0.2, 5.0))[:, None]
        return np.exp(product(np.hstack([logs, links.logs(logs)]), features))

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


def multiplied(factors: Iterable[Floats]) -> Floats:
    """The product of some arrays, the small ones first, in the place of what came before where it fits there."""
    whole, *others = sorted(factors, key=np.size)
    is_new = False
    for other in others:
        fits = is_new and whole.shape == np.broadcast_shapes(whole.shape, other.shape)
        whole, is_new = np.multiply(whole, other, out=whole if fits else None), True
    return whole


def _scaled(weight: Floats) -> Floats:
    """The same up to a factor, the largest of each draw 1, so that the product of many does not vanish."""
    largest = weight.reshape(len(weight), -1).max(axis=1)
    scaled: Floats = weight / np.maximum(largest, 1e-300).reshape(-1, *(1,) * (weight.ndim - 1))
    return scaled


def _over_sides(factor: Floats) -> Floats:
    """All sides summed out: ``(n_draws or 1, n_kept)``."""
    summed: Floats = factor.reshape(len(factor), -1, factor.shape[-1]).sum(axis=1)
    return summed
