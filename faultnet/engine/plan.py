"""A plan of propagation: cliques with the joint states that are possible in them, and how their messages line up."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.cliques import CliqueTree, clique_tree
from faultnet.engine.factors import Factor
from faultnet.engine.space import Space

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


@dataclass(frozen=True, eq=False)
class Plan:
    """Cliques over the possible states of their variables.

    states[k]: ``(n_states, n_variables)``; base[k]: product of the factors that live there; edges[k]: the
    message to the parent, None for the last.
    """

    sizes: Mapping[str, int]
    tree: CliqueTree
    states: tuple[Ints, ...]
    base: tuple[Floats, ...]
    edges: tuple[Edge | None, ...]
    _indexes: dict[tuple[int, tuple[str, ...]], Ints] = field(default_factory=dict)

    def home(self, scope: Iterable[str]) -> int | None:
        """The smallest clique that holds the scope, or None."""
        wanted = set(scope)
        homes = [k for k, clique in enumerate(self.tree.cliques) if wanted <= set(clique)]
        return min(homes, key=lambda k: len(self.base[k]), default=None)

    def index(self, clique: int, scope: tuple[str, ...]) -> Ints:
        """For every state of a clique the entry of a table over the scope (last variable fastest)."""
        if (clique, scope) not in self._indexes:
            self._indexes[clique, scope] = _entry(self.tree.cliques[clique], self.states[clique], scope, self.sizes)
        return self._indexes[clique, scope]

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
        homes = [k for k, clique in enumerate(tree.cliques) if set(factor.scope) <= set(clique)]
        home = min(homes, key=lambda k: len(states[k]))
        base[home] *= factor.table.reshape(-1)[_entry(tree.cliques[home], states[home], factor.scope, space.sizes)]
    edges = [_edge(tree, space.sizes, states, number) for number in range(len(tree.cliques))]
    return Plan(space.sizes, tree, tuple(states), tuple(base), tuple(edges))


def _entry(clique: Sequence[str], states: Ints, scope: Sequence[str], sizes: Mapping[str, int]) -> Ints:
    """For every state of a clique the entry of a table over the scope (last variable fastest)."""
    entry: Ints = np.zeros(len(states), dtype=np.intp)
    for variable in scope:
        entry = entry * sizes[variable] + states[:, clique.index(variable)]
    return entry


def _edge(tree: CliqueTree, sizes: Mapping[str, int], states: Sequence[Ints], number: int) -> Edge | None:
    parent = tree.parent[number]
    if parent < 0:
        return None
    shared = tree.separator(number)
    keys = [_entry(tree.cliques[k], states[k], shared, sizes) for k in (number, parent)]
    entries, place = np.unique(np.concatenate(keys), return_inverse=True)
    n = len(keys[0])
    return Edge(len(entries), place[:n].astype(np.intp), place[n:].astype(np.intp))
