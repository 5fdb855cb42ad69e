"""How a model's hidden states are numbered for learning, which looks at few of them for each past job.

A *world* is a state of all components together with the states of the side nodes that observations hang on. Sides that
only the priors hang on (an age band) are summed into the prior of the worlds.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import prod
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats, Ints
from faultnet.engine.joint import JointEngine
from faultnet.errors import UsageProblem
from faultnet.model import Model

_N = TypeVar("_N", np.float64, np.intp)

MOST_ROWS = 2**27
"""Entries of the table that says which row each world uses of each leaf (256 MiB)."""


@dataclass(frozen=True, eq=False)
class Layout:
    """Worlds as a standing of the free sides and a *root state*: coupled sides and joint state of the components.

    Both are numbered in row-major order, the components last. free: numbers (in the engine) of the sides that are
    independent roots, coupled: of those whose prior hangs together with the components; leaves hang on all of them.
    """

    model: Model
    engine: JointEngine
    free_sides: tuple[int, ...]
    coupled_sides: tuple[int, ...]

    @property
    def n_joint(self) -> int:
        """Joint states of the components."""
        return self.engine.axes.n_joint

    @cached_property
    def free(self) -> tuple[str, ...]:
        """Sides that are independent roots."""
        return tuple(self.engine.axes.sides[side] for side in self.free_sides)

    @cached_property
    def coupled(self) -> tuple[str, ...]:
        """Sides whose prior hangs together with the components, and that leaves hang on as well."""
        return tuple(self.engine.axes.sides[side] for side in self.coupled_sides)

    @cached_property
    def n_coupled(self) -> int:
        """States of the coupled sides together."""
        return prod(self._sizes(self.coupled))

    @property
    def n_roots(self) -> int:
        """Root states."""
        return self.n_coupled * self.n_joint

    @cached_property
    def n_standings(self) -> int:
        return prod(self._sizes(self.free))

    def _sizes(self, names: Sequence[str]) -> tuple[int, ...]:
        return tuple(len(self.engine.network[name].states) for name in names)

    @cached_property
    def state_of(self) -> Mapping[str, Ints]:
        """Of every free side its state in each standing: ``(n_standings,)``."""
        numbers = np.unravel_index(np.arange(self.n_standings), self._sizes(self.free) or (1,))
        return dict(zip(self.free, numbers, strict=False))

    def standing_chances(self, sides: Mapping[str, Floats]) -> Floats:
        """The chance of every standing with these shares of free sides; those not named count 1: ``(n_standings,)``."""
        chances: Floats = np.ones(self.n_standings)
        for name, shares in sides.items():
            chances = chances * shares[self.state_of[name]]
        return chances

    def fits(self, given: Mapping[str, str]) -> npt.NDArray[np.bool_]:
        """Whether each standing has these states of free sides; other names do not count: ``(n_standings,)``."""
        fits = np.ones(self.n_standings, dtype=bool)
        for name in given.keys() & set(self.free):
            fits &= self.state_of[name] == self.model.states_of(name).index(given[name])
        return fits

    @cached_property
    def nodes(self) -> tuple[str, ...]:
        """What evidence can be about: leaves, whose rows are learned, then whatever else can be known for sure."""
        hidden = (*self.engine.axes.targets, *self.free, *self.coupled, *self.model.also_seen)
        return tuple(dict.fromkeys((*self.engine.axes.leaves, *hidden)))

    @cached_property
    def number_of(self) -> Mapping[str, int]:
        return {node: number for number, node in enumerate(self.nodes)}

    @cached_property
    def row_of(self) -> npt.NDArray[np.int16 | np.int32]:
        """The row that each world uses of each leaf, the state of every other node.

        ``(n_nodes, n_standings, n_roots)``.
        """
        most = max(int(self.engine.axes.index[node].max()) for node in self.nodes)
        small = most <= np.iinfo(np.int16).max
        shape = (len(self.nodes), *self._sizes(self.free), *self._sizes(self.coupled), self.n_joint)
        rows = np.empty(shape, dtype=np.int16 if small else np.int32)
        for number, node in enumerate(self.nodes):
            rows[number] = self._arranged(self.engine.axes.index[node])
        return rows.reshape(len(self.nodes), self.n_standings, self.n_roots)

    def column(self, array: npt.NDArray[_N]) -> npt.NDArray[_N]:
        """An array over the engine's sides written out over the worlds: ``(n_standings, n_roots)``."""
        shape = (*self._sizes(self.free), *self._sizes(self.coupled), self.n_joint)
        return np.broadcast_to(self._arranged(array), shape).reshape(self.n_standings, self.n_roots)

    def _arranged(self, array: npt.NDArray[_N]) -> npt.NDArray[_N]:
        """An array over the engine's sides with the axes of the layout: free sides, coupled sides, joint states."""
        wanted: tuple[int, ...] = (*self.free_sides, *self.coupled_sides)
        others: tuple[int, ...] = tuple(side for side in range(array.ndim - 1) if side not in wanted)
        moved = np.moveaxis(array, (*others, *wanted), range(array.ndim - 1))
        return moved.reshape(moved.shape[len(others) :])

    def touched(self, nodes: Sequence[str]) -> frozenset[str]:
        """The free sides that some leaves, or sides themselves, hang on."""
        sides = frozenset[int]().union(*(self.engine.axes.sides_of(self.engine.axes.index[node]) for node in nodes))
        return frozenset(self.engine.axes.sides[side] for side in sides).intersection(self.free)

    @cached_property
    def sides_of_leaf(self) -> tuple[frozenset[str], ...]:
        """The free sides that each node hangs on."""
        return tuple(self.touched([node]) for node in self.nodes)

    @cached_property
    def strides(self) -> Ints:
        """How far apart two root states are that differ by one in a component's state: ``(n_components,)``."""
        sizes = self.engine.axes.target_sizes
        return np.array([prod(sizes[number + 1 :]) for number in range(len(sizes))], dtype=np.int64)

    @cached_property
    def faulty(self) -> Ints:
        """As bits, the faulty components of each root state: ``(n_roots,)``."""
        bits: Ints = np.zeros(self.n_joint, dtype=np.int64)
        for number, component in enumerate(self.engine.targets):
            bits |= (self.engine.axes.index[component].reshape(-1) > 0).astype(np.int64) << number
        return np.tile(bits, self.n_coupled)


def layout_of(model: Model) -> Layout:
    """The layout of a model. UsageProblem: it has too many joint states to learn from jobs."""
    engine = model.compiled.table
    axes = engine.axes
    needed = {side for leaf in axes.leaves for side in axes.sides_of(axes.index[leaf])}
    for seen in model.observations.values():
        conditions = seen.reading.given if seen.reading is not None else ()
        needed |= {axes.side_number[name] for name in conditions if name in axes.side_number}
    if model.is_imported:
        needed |= set(range(len(axes.sides)))
    sides = sorted(needed)
    free, coupled = ([s for s in sides if (s in engine.coupled) is c] for c in (False, True))
    layout = Layout(model, engine, tuple(free), tuple(coupled))
    if (n_rows := len(layout.nodes) * layout.n_standings * layout.n_roots) > MOST_ROWS:
        raise UsageProblem(f"{model.id} is too large to learn from jobs: {n_rows} rows of {len(layout.nodes)} nodes")
    return layout


def summed(numbers: Ints, weights: Floats, size: int) -> Floats:
    """The sum of the weights of each number from 0: ``(size,)``."""
    sums: Floats = np.bincount(numbers, weights, size).astype(float)
    return sums
