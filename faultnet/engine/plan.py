"""A plan of propagation: cliques with the joint states that are possible in them, and how their messages line up."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.cliques import CliqueTree, clique_tree
from faultnet.engine.factors import Factor
from faultnet.engine.space import Space, numbered

MOST_CLIQUE_STATES = 2**22
"""Possible states of the widest clique."""


@dataclass(frozen=True, eq=False)
class Edge:
    """A message from a clique to its parent.

    size: entries of the separator; child, parent: for every state of either clique its separator entry.
    """

    size: int
    child: Ints
    parent: Ints

    def from_child(self, table: Floats) -> Floats:
        """The child's states added up to the separator: ``(n_cases, size)``."""
        return self._sums_of_child(table) if len(table) > 1 else _one_row(table, self.child, self.size)

    def from_parent(self, table: Floats) -> Floats:
        """The parent's states added up to the separator: ``(n_cases, size)``."""
        return self._sums_of_parent(table) if len(table) > 1 else _one_row(table, self.parent, self.size)

    @cached_property
    def _sums_of_child(self) -> "Sums":
        return Sums.of(self.child, self.size)

    @cached_property
    def _sums_of_parent(self) -> "Sums":
        return Sums.of(self.parent, self.size)


def _one_row(table: Floats, entry: Ints, size: int) -> Floats:
    total: Floats = np.bincount(entry, table[0], size).astype(float, copy=False)
    return total[None]


@dataclass(frozen=True, eq=False)
class Sums:
    """How the states of a clique add up to the entries of a table over part of it.

    order: the states, those of the same entry together; starts: where each entry present begins; present: which these
    are, None for all.
    """

    order: Ints
    starts: Ints
    present: Ints | None
    size: int

    @classmethod
    def of(cls, entry: Ints, size: int) -> "Sums":
        """entry: for every state its table entry, one of `size`."""
        present, number = numbered(entry, size)
        counts = np.bincount(number, minlength=len(present))
        starts = np.cumsum(counts) - counts
        return cls(np.argsort(entry, kind="stable"), starts, None if len(present) == size else present, size)

    def __call__(self, table: Floats) -> Floats:
        """Rows of a table over the states, added up: ``(n_cases, size)``."""
        there = np.add.reduceat(table.take(self.order, axis=1), self.starts, axis=1)
        if self.present is None:
            return there
        everywhere = np.zeros((len(table), self.size))
        everywhere[:, self.present] = there
        return everywhere


@dataclass(frozen=True, eq=False)
class Plan:
    """Cliques over the possible states of their variables.

    states[k]: ``(n_states, n_variables)``; base[k]: product of the factors that live there; edges[k]: the
    message to the parent, None for a root.
    """

    sizes: Mapping[str, int]
    tree: CliqueTree
    states: tuple[Ints, ...]
    base: tuple[Floats, ...]
    edges: tuple[Edge | None, ...]
    _indexes: dict[tuple[int, tuple[str, ...]], Ints] = field(default_factory=dict)
    _homes: dict[tuple[str, ...], int | None] = field(default_factory=dict)

    def home(self, scope: tuple[str, ...]) -> int | None:
        """The smallest clique that holds the scope, or None."""
        if scope not in self._homes:
            self._homes[scope] = min(self.tree.homes(scope), key=lambda k: len(self.base[k]), default=None)
        return self._homes[scope]

    def index(self, clique: int, scope: tuple[str, ...]) -> Ints:
        """For every state of a clique the entry of a table over the scope (last variable fastest)."""
        if (clique, scope) not in self._indexes:
            self._indexes[clique, scope] = _entry(self.tree.cliques[clique], self.states[clique], scope, self.sizes)
        return self._indexes[clique, scope]

    @cached_property
    def part_of(self) -> Mapping[str, int]:
        """For every variable the root of its tree: variables of different trees are independent."""
        root = list(range(len(self.base)))
        for k in reversed(range(len(root))):
            if self.tree.parent[k] >= 0:
                root[k] = root[self.tree.parent[k]]
        return {variable: root[k] for k, clique in enumerate(self.tree.cliques) for variable in clique}

    @cached_property
    def entries(self) -> int:
        """Possible states of all cliques together: the work of one case."""
        return sum(map(len, self.base))

    def describe(self) -> str:
        """Cliques, widest table, treewidth and bytes of one case in one line."""
        widest = max(range(len(self.base)), key=lambda k: len(self.base[k]))
        return (
            f"{len(self.base)} cliques, treewidth {self.tree.treewidth}, {self.entries} states "
            f"({8 * self.entries} bytes a case); widest: {', '.join(self.tree.cliques[widest])} "
            f"({len(self.base[widest])} states)"
        )


def make_plan(
    space: Space, factors: Sequence[Factor], scopes: Iterable[Sequence[str]], most_states: int, tries: int = 1
) -> Plan:
    """The plan for these factors, with a clique for every further scope. ValueError names a clique that is too wide."""
    tree = clique_tree([*(f.scope for f in factors), *scopes], space, tries)
    for clique in tree.cliques:
        if (count := space.count(clique)) > most_states:
            raise ValueError(f"the clique of {', '.join(clique)} has {count} states; at most {most_states} are allowed")
    states = [space.states(clique) for clique in tree.cliques]
    base = [np.ones(len(own)) for own in states]
    for factor in factors:
        home = min(tree.homes(factor.scope), key=lambda k: len(states[k]))
        base[home] *= factor.table.reshape(-1)[_entry(tree.cliques[home], states[home], factor.scope, space.sizes)]
    edges = [_edge(tree, space, states, number) for number in range(len(tree.cliques))]
    return Plan(space.sizes, tree, tuple(states), tuple(base), tuple(edges))


def _entry(clique: Sequence[str], states: Ints, scope: Sequence[str], sizes: Mapping[str, int]) -> Ints:
    """For every state of a clique the entry of a table over the scope (last variable fastest)."""
    entry: Ints = np.zeros(len(states), dtype=np.intp)
    for variable in scope:
        entry = entry * sizes[variable] + states[:, clique.index(variable)]
    return entry


def _edge(tree: CliqueTree, space: Space, states: Sequence[Ints], number: int) -> Edge | None:
    parent = tree.parent[number]
    if parent < 0:
        return None
    shared = tree.separator(number)
    keys = [_entry(tree.cliques[k], states[k], shared, space.sizes) for k in (number, parent)]
    size = space.entries(shared)
    if all(len(states[k]) == space.entries(tree.cliques[k]) for k in (number, parent)):
        return Edge(size, *keys)
    present, place = numbered(np.concatenate(keys), size)
    n = len(keys[0])
    return Edge(len(present), place[:n], place[n:])
