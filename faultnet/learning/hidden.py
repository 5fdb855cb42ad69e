"""The prior of the hidden nodes at some numbers, for every state of what is given."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.axes import Axes
from faultnet.learning.layout import Layout, summed
from faultnet.learning.point import Frame, Point
from faultnet.learning.roots import Roots


class Hidden(Protocol):
    """A prior over the coupled sides that leaves hang on and the joint states of the components."""

    def prior(self, point: Point, givens: Sequence[Mapping[str, str]]) -> Floats:
        """P(coupled sides, joint state, and what is given): ``(n_given, n_roots)``."""
        ...

    def by(self, frame: Frame) -> "Hidden":
        """The same, with numbers that stand in this frame."""
        ...


@dataclass(frozen=True, eq=False)
class RootPrior:
    """That of a model of our own: components hang on conditions, which hang on nothing."""

    frame: Frame
    roots: Roots

    def prior(self, point: Point, givens: Sequence[Mapping[str, str]]) -> Floats:
        table = self.table(point)
        return self.mixed(self.weights(point, givens), table)

    def by(self, frame: Frame) -> "RootPrior":
        return replace(self, frame=frame)

    def table(self, point: Point) -> Floats:
        """P(joint state | coupled conditions): ``(n_conditions, n_joint)``."""
        return self.roots.table(point.odds, self.frame.links(point))

    def weights(self, point: Point, givens: Sequence[Mapping[str, str]]) -> Floats:
        """P(coupled conditions, and what is given): ``(n_given, n_conditions)``."""
        conditions = self.frame.conditions(point)
        return np.stack([self.roots.weights_of(conditions, given) for given in givens])

    def mixed(self, weights: Floats, table: Floats) -> Floats:
        """The table with the conditions that no leaf hangs on summed out: ``(n_given, n_roots)``."""
        n_coupled = self.roots.layout.n_coupled
        if n_coupled == 1:
            mixed: Floats = weights @ table
            return mixed
        split = weights.reshape(len(weights), n_coupled, -1)
        by_coupled = np.einsum("gcr,crx->gcx", split, table.reshape(n_coupled, split.shape[2], -1))
        return np.reshape(by_coupled, (len(weights), -1))


@dataclass(frozen=True, eq=False)
class TablePrior:
    """That of an imported network: every hidden node has a table of its own, and all sides are written out."""

    frame: Frame
    layout: Layout

    def prior(self, point: Point, givens: Sequence[Mapping[str, str]]) -> Floats:
        if any(givens):
            raise ValueError("an imported network is told of its nodes by findings; nothing is given")
        product: Floats = np.ones((1,) * (len(self.axes.sides) + 1))
        for node, rows in self.rows_of.items():
            chances = self.frame.rows(point, node) if node in self.learned else self.axes.network[node].cpt.rows
            product = product * chances[rows, self.axes.index[node]]
        shape = (*(len(self.axes.network[side].states) for side in self.axes.sides), self.axes.n_joint)
        return self.layout.column(np.broadcast_to(product, shape))

    def by(self, frame: Frame) -> "TablePrior":
        return replace(self, frame=frame)

    def counted(self, roots: Floats) -> dict[str, Floats]:
        """Expected counts of the rows of hidden nodes, from those of root states: ``(n_rows, n_states)`` each."""
        counts = {}
        for node in sorted(self.learned):
            rows = self.layout.column(self.rows_of[node]).reshape(-1)
            states = self.layout.column(self.axes.index[node]).reshape(-1)
            n_rows, n_states = self.axes.network[node].cpt.rows.shape
            flat = summed(rows * n_states + states, roots, n_rows * n_states)
            counts[node] = flat.reshape(n_rows, n_states)
        return counts

    @property
    def axes(self) -> Axes:
        return self.layout.engine.axes

    @cached_property
    def learned(self) -> frozenset[str]:
        """Hidden nodes whose rows can be learned."""
        return frozenset(node for node in self.rows_of if not self.axes.network[node].is_rule)

    @cached_property
    def rows_of(self) -> Mapping[str, Ints]:
        """The row that each world uses of every hidden node's table, over the engine's axes."""
        return {node: self.axes.row_index(node) for node in (*self.axes.targets, *self.axes.sides)}
