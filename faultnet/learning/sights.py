"""What can be seen, as columns over the few rows that worlds use of it.

Everything that evidence says is in the end a number for each row of a *sight*: one leaf, several leaves that are read
together, or those with what they would show of a healthy set, for times when the symptom may not have shown.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.learning.layout import Layout

Blank = Mapping[str, Floats]
"""Of leaves that are usually looked at, P(nothing written | state): ``(n_states,)`` each."""


@dataclass(frozen=True, eq=False)
class Sight:
    """Rows of some nodes together. nodes: their numbers in the layout; with_healthy: beside those of each world, the
    rows of the same world with nothing faulty."""

    layout: Layout
    nodes: tuple[int, ...]
    with_healthy: bool

    @cached_property
    def _distinct(self) -> tuple[Ints, Ints]:
        """The rows that occur together, ``(n_rows, n_nodes or twice that)``, and which of them each world uses."""
        row_of, n_joint = self.layout.row_of, self.layout.n_joint
        columns = [row_of[node].reshape(-1) for node in self.nodes]
        if self.with_healthy:
            healthy = np.arange(self.layout.n_roots) // n_joint * n_joint
            columns += [row_of[node][:, healthy].reshape(-1) for node in self.nodes]
        code: Ints = np.zeros(columns[0].shape, dtype=np.int64)
        for column in columns:
            code = code * (int(column.max()) + 1) + column
        _, first, number = np.unique(code, return_index=True, return_inverse=True)
        return np.stack([column[first] for column in columns], axis=1).astype(np.intp), number.reshape(-1)

    @cached_property
    def row_of(self) -> Ints:
        """The row that each world uses: ``(n_standings, n_roots)``."""
        return self._distinct[1].reshape(self.layout.n_standings, -1).astype(np.int32)

    @property
    def rows(self) -> Ints:
        """Of each row those of the nodes: ``(n_rows, n_nodes)``."""
        return self._distinct[0][:, : len(self.nodes)]

    @property
    def healthy_rows(self) -> Ints:
        """The same of a healthy set."""
        return self._distinct[0][:, len(self.nodes) :]

    @property
    def n_rows(self) -> int:
        return len(self._distinct[0])

    @cached_property
    def widths(self) -> tuple[int, ...]:
        """States of each node."""
        network = self.layout.engine.network
        return tuple(len(network[self.layout.nodes[node]].states) for node in self.nodes)


@dataclass(eq=False)
class Seen:
    """All that was seen in one sight: likelihoods over the states of its nodes, one for each act.

    tables: flat over the joint states of the nodes; showing: chance that the symptom showed. blanks: acts that are no
    result at all, by their leaf; their tables hang on how often the shop writes results down.
    """

    sight: Sight
    tables: list[Floats] = field(default_factory=list)
    showing: list[float] = field(default_factory=list)
    blanks: dict[int, str] = field(default_factory=dict)

    @cached_property
    def _written(self) -> Floats:
        """The tables, once all are there: ``(n_acts, n_states)``."""
        return np.stack(self.tables)

    def matrix(self, blank: Blank) -> Floats:
        """The tables at some numbers: ``(n_acts, n_states)``. blank: P(nothing written | state) of leaves."""
        if not self.blanks:
            return self._written
        tables = self._written.copy()
        for act, leaf in self.blanks.items():
            tables[act] = blank[leaf]
        return tables

    def columns(self, node_rows: Sequence[Floats], blank: Blank) -> Floats:
        """Likelihood of every act in each row of the sight: ``(n_acts, n_rows)``."""
        matrix = self.matrix(blank)
        columns: Floats = matrix @ self._chances(self.sight.rows, node_rows).T
        if self.sight.with_healthy:
            showing = np.array(self.showing)[:, None]
            healthy = matrix @ self._chances(self.sight.healthy_rows, node_rows).T
            columns = showing * columns + (1 - showing) * healthy
        return columns

    def of_blanks(
        self, counts: Floats, columns: Floats, node_rows: Sequence[Floats], blank: Blank
    ) -> Iterator[tuple[str, Floats]]:
        """What was not written down, by leaf: expected counts of states in each of its rows, ``(n_rows, n_states)``.

        counts, columns: ``(n_acts, n_rows of the sight)``.
        """
        for act, leaf in self.blanks.items():
            weight = np.divide(counts[act], columns[act], out=np.zeros_like(counts[act]), where=columns[act] > 0)
            rows: Floats = np.zeros_like(node_rows[self.sight.nodes[0]])
            own = weight[:, None] * self._chances(self.sight.rows, node_rows) * blank[leaf]
            np.add.at(rows, self.sight.rows[:, 0], own)
            yield leaf, rows

    def add_counts(
        self, counts: Floats, columns: Floats, node_rows: Sequence[Floats], blank: Blank, totals: Sequence[Floats]
    ) -> None:
        """Add to the counts of the nodes' rows what the acts saw. counts, columns: ``(n_acts, n_rows)``."""
        weight, matrix = np.divide(counts, columns, out=np.zeros_like(counts), where=columns > 0), self.matrix(blank)
        if not self.sight.with_healthy:
            self._add(weight.T @ matrix, self.sight.rows, node_rows, totals)
            return
        showing = np.array(self.showing)[:, None]
        self._add((weight * showing).T @ matrix, self.sight.rows, node_rows, totals)
        self._add((weight * (1 - showing)).T @ matrix, self.sight.healthy_rows, node_rows, totals)

    def posteriors(
        self, columns: Floats, node_rows: Sequence[Floats], blank: Blank
    ) -> Iterator[tuple[int, Ints, Floats, Floats]]:
        """Of each node, once for the world and once for a healthy set: what its states are like where an act was seen.

        The node, its row in each row of the sight, ``(n_rows,)``, the share of that road, ``(n_acts, n_rows)``, and the
        chances of its states, ``(n_acts, n_rows, n_states)``.
        """
        roads = [(self.sight.rows, np.array(self.showing)[:, None])]
        if self.sight.with_healthy:
            roads.append((self.sight.healthy_rows, 1 - roads[0][1]))
        for rows, chance in roads:
            joint = self.matrix(blank)[:, None, :] * self._chances(rows, node_rows)[None]
            total = joint.sum(axis=2)
            share = np.divide(chance * total, columns, out=np.zeros_like(columns), where=columns > 0)
            joint = joint.reshape(len(joint), len(rows), *self.sight.widths)
            for number, node in enumerate(self.sight.nodes):
                others = tuple(axis for axis in range(2, joint.ndim) if axis != number + 2)
                own = joint.sum(axis=others)
                states = np.divide(own, total[..., None], out=np.zeros_like(own), where=total[..., None] > 0)
                yield node, rows[:, number], share, states

    def _add(self, by_state: Floats, rows: Ints, node_rows: Sequence[Floats], totals: Sequence[Floats]) -> None:
        joint = by_state * self._chances(rows, node_rows)
        joint = joint.reshape(len(rows), *self.sight.widths)
        for number, node in enumerate(self.sight.nodes):
            others = tuple(axis for axis in range(1, joint.ndim) if axis != number + 1)
            np.add.at(totals[node], rows[:, number], joint.sum(axis=others))

    def _chances(self, rows: Ints, node_rows: Sequence[Floats]) -> Floats:
        """P(joint states of the nodes | row): ``(n_rows, n_states)``."""
        total: Floats = np.ones((len(rows), 1))
        for number, node in enumerate(self.sight.nodes):
            own = node_rows[node][rows[:, number]]
            total = (total[:, :, None] * own[:, None, :]).reshape(len(rows), -1)
        return total
