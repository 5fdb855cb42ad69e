"""The hypotheses of a plan: single faults and the likeliest pairs, each under the conditions that tests tell apart."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.joint import Belief
from faultnet.model.model import Model
from faultnet.model.nodes import ModeId
from faultnet.plan.bands import Banded
from faultnet.plan.problem import WORKS

MOST_PAIRS = 24
"""Pairs of faults that a plan follows; the rest of the probability is left out, and how much is said."""

_TOO_LIGHT = 1e-9


@dataclass(frozen=True, eq=False)
class Hypotheses:
    """What may be the matter. weights ``(n,)`` add to 1; left_out: the probability that was not followed.

    kind: number of the set of faulty components in `kinds`, ``(n,)``. modes: the failure modes of each hypothesis.
    mended: for each component what a hypothesis becomes when it is mended, `WORKS` where nothing is left, the
    hypothesis itself where it is not faulty: ``(n,)`` each. rows: for each test P(outcome | hypothesis).
    """

    weights: Floats
    left_out: float
    kind: Ints
    kinds: tuple[frozenset[str], ...]
    modes: tuple[tuple[ModeId, ...], ...]
    mended: dict[str, Ints]
    rows: tuple[Floats, ...]


def hypotheses_of(
    model: Model, belief: Belief, leaves: Sequence[tuple[str, ...]], banded: Sequence[Banded | None]
) -> Hypotheses:
    """The hypotheses of a belief for tests that show these observations, readings by bands where there are some."""
    engine, axes = belief.engine, belief.engine.axes
    on = [node for own in leaves for node in own] + [c for b in banded if b is not None for c in b.conditions]
    sides = frozenset[int]().union(*(axes.sides_of(axes.index[node]) for node in on))
    weight = belief.over(sides)  # (n_side_states, n_joint)
    kept = _kept(model, weight.sum(axis=0))
    shape = tuple(len(axes.network[s].states) if n in sides else 1 for n, s in enumerate(axes.sides))

    def spread(index: Ints) -> Ints:
        """An index of the engine for every hypothesis, sides slowest."""
        whole = np.broadcast_to(index, (*shape, index.shape[-1] if index.shape[-1] == 1 else axes.n_joint))
        flat = np.broadcast_to(whole.reshape(len(weight), -1), (len(weight), axes.n_joint))
        return flat[:, kept].reshape(-1)

    tables, rows = [], []
    for own, band in zip(leaves, banded, strict=True):
        column = engine.outcome_column(own, sides)
        row, table = spread(column.row_of), column.rows
        if band is not None:
            row, table = _by_bands(band, row, table, [spread(axes.index[c]) for c in band.conditions])
        tables.append(table)
        rows.append(row)
    joint = np.tile(kept, len(weight))
    return _merged(model, weight[:, kept].reshape(-1), joint, tables, rows)


def _kept(model: Model, mass: Floats) -> Ints:
    """The joint states to follow: single faults, the likeliest pairs, and what is left of those after a repair."""
    n_faults = model.compiled.n_faults
    pairs = np.flatnonzero(n_faults == 2)
    pairs = pairs[np.argsort(-mass[pairs], kind="stable")][:MOST_PAIRS]
    pairs = pairs[mass[pairs] > _TOO_LIGHT]
    halves = {int(_mended(model, pairs, component)[n]) for n in range(len(pairs)) for component in model.components}
    singles = np.flatnonzero((n_faults <= 1) & (mass > _TOO_LIGHT))
    wanted = {*singles.tolist(), *pairs.tolist(), *(half for half in halves if n_faults[half] == 1)}
    return np.array(sorted(wanted), dtype=np.intp)


def _mended(model: Model, joint: Ints, component: str) -> Ints:
    """The joint states after this component was mended."""
    sizes = [len(c.states) for c in model.components.values()]
    states = list(np.unravel_index(joint, sizes))
    states[list(model.components).index(component)] = np.zeros_like(joint)
    mended: Ints = np.ravel_multi_index(tuple(states), sizes)
    return mended


def _by_bands(band: Banded, row: Ints, table: Floats, conditions: Sequence[Ints]) -> tuple[Ints, Floats]:
    """Rows of a reading's states, and of the conditions its volts hang on, as rows of bands."""
    sizes = band.chances.shape[1:-1]
    at = np.ravel_multi_index(tuple(conditions), sizes) if sizes else np.zeros_like(row)
    chances = band.chances.reshape(len(band.chances), -1, band.chances.shape[-1])
    n_standings = chances.shape[1]
    wide = np.einsum("rs,sco->rco", table, chances).reshape(-1, chances.shape[2])
    return row * n_standings + at, wide / wide.sum(axis=1, keepdims=True)


def _merged(model: Model, weights: Floats, joint: Ints, tables: Sequence[Floats], rows: Sequence[Ints]) -> Hypotheses:
    """Hypotheses of the same faults that no test tells apart, now or after a repair, are one."""
    joints, number = np.unique(joint, return_inverse=True)
    same_side = np.arange(len(joint)) // len(joints) * len(joints)  # where the joint states under this side begin
    classes = _classes([number, *rows])
    after = {}
    for component in model.components:
        mended = _mended(model, joint, component)
        at = np.searchsorted(joints, mended)
        works = model.compiled.n_faults[mended] == 0
        if not np.all(works | (joints[np.minimum(at, len(joints) - 1)] == mended)):
            raise AssertionError(f"mending {component} leads out of the hypotheses")
        after[component] = np.where(works, WORKS, same_side + at)
    classes = _classes([classes, *(np.where(a == WORKS, WORKS, classes[a]) for a in after.values())])
    _, one = np.unique(classes, return_index=True)
    faulty = [frozenset(mode.component for mode in _modes(model, int(j))) for j in joint[one]]
    kinds = tuple(dict.fromkeys(faulty))
    total = np.bincount(classes, weights)
    return Hypotheses(
        weights=total / total.sum(),
        left_out=1 - float(total.sum()),
        kind=np.array([kinds.index(kind) for kind in faulty], dtype=np.intp),
        kinds=kinds,
        modes=tuple(_modes(model, int(j)) for j in joint[one]),
        mended={c: np.where(a[one] == WORKS, WORKS, classes[a[one]]) for c, a in after.items()},
        rows=tuple(table[row[one]] for table, row in zip(tables, rows, strict=True)),
    )


def _classes(columns: Iterable[Ints]) -> Ints:
    """Numbers of what is the same in every column, from 0."""
    whole = np.stack([np.asarray(column) for column in columns], axis=1)
    numbers: Ints = np.unique(whole, axis=0, return_inverse=True)[1].reshape(-1)
    return numbers


def _modes(model: Model, joint: int) -> tuple[ModeId, ...]:
    return tuple(mode for mode, has in zip(model.modes, model.compiled.is_mode[joint], strict=True) if has)
