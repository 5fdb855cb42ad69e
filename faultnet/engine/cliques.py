"""From the scopes of factors to a tree of cliques (Lauritzen & Spiegelhalter 1988; greedy orders: Kjaerulff 1990)."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from random import Random

from faultnet.engine.space import Space

SHAKE = 4.0


@dataclass(frozen=True)
class CliqueTree:
    """Cliques of variables, each joined to the one it sends its message to; separators are what two of them share.

    parent[k] is the number of clique k's parent, parents come after their children; -1 for a root, one in each set of
    variables that no factor joins to the others.
    """

    cliques: tuple[tuple[str, ...], ...]
    parent: tuple[int, ...]

    def separator(self, number: int) -> tuple[str, ...]:
        """What a clique shares with its parent."""
        if self.parent[number] < 0:
            return ()
        there = set(self.cliques[self.parent[number]])
        return tuple(variable for variable in self.cliques[number] if variable in there)

    @cached_property
    def holding(self) -> Mapping[str, Sequence[int]]:
        """For every variable the cliques that hold it."""
        found: dict[str, list[int]] = {}
        for number, clique in enumerate(self.cliques):
            for variable in clique:
                found.setdefault(variable, []).append(number)
        return found

    def homes(self, scope: Sequence[str]) -> Sequence[int]:
        """The cliques that hold the whole scope."""
        if not scope:
            return range(len(self.cliques))
        first, *others = sorted((self.holding.get(variable, ()) for variable in scope), key=len)
        return [k for k in first if all(k in other for other in others)]

    def work(self, space: Space) -> int:
        """States touched by a pass of messages: each clique's own, and its parent's for each message."""
        own = [space.count(clique) for clique in self.cliques]
        return sum(own) + sum(own[parent] for parent in self.parent if parent >= 0)

    @property
    def treewidth(self) -> int:
        """Variables in the largest clique, less one."""
        return max(map(len, self.cliques)) - 1


def clique_tree(scopes: Iterable[Iterable[str]], space: Space, tries: int = 1) -> CliqueTree:
    """A tree in which every scope lies inside a clique.

    Variables are eliminated so that each makes the smallest clique, counted in possible states. Further tries shake the
    costs (seeded) and keep the tree with the least work.
    """
    listed = [frozenset(scope) for scope in scopes]
    trees = []
    for attempt in range(tries):
        cliques = _maximal(_elimination_cliques(_moral_graph(listed, space), space, attempt))
        trees.append(_joined(cliques, space))
    return min(trees, key=lambda tree: tree.work(space))


def _moral_graph(scopes: Iterable[frozenset[str]], space: Space) -> dict[str, set[str]]:
    neighbours: dict[str, set[str]] = {variable: set() for variable in space.sizes}
    for scope in scopes:
        for one, other in combinations(sorted(scope), 2):
            neighbours[one].add(other)
            neighbours[other].add(one)
    return neighbours


def _elimination_cliques(neighbours: dict[str, set[str]], space: Space, attempt: int) -> list[frozenset[str]]:
    """The cliques that eliminating one variable after the other makes, the cheapest first."""
    shake = Random(attempt)

    def cost(variable: str) -> float:
        return space.count({variable, *neighbours[variable]}) * (1 + (SHAKE * shake.random() if attempt else 0))

    cliques: list[frozenset[str]] = []
    costs = {variable: cost(variable) for variable in neighbours}
    while neighbours:
        variable = min(costs, key=lambda v: (costs[v], v))
        around = neighbours.pop(variable)
        del costs[variable]
        cliques.append(frozenset({variable, *around}))
        touched = set(around)
        for one in around:
            neighbours[one].discard(variable)
            touched |= neighbours[one]
        for one, other in combinations(around, 2):
            neighbours[one].add(other)
            neighbours[other].add(one)
        costs.update({one: cost(one) for one in touched})
    return cliques


def _maximal(cliques: list[frozenset[str]]) -> list[frozenset[str]]:
    """Cliques that lie in no other, in the order of elimination."""
    kept: list[frozenset[str]] = []
    for clique in sorted(dict.fromkeys(cliques), key=len, reverse=True):
        if not any(map(clique.issubset, kept)):
            kept.append(clique)
    maximal = set(kept)
    return [clique for clique in dict.fromkeys(cliques) if clique in maximal]


def _joined(cliques: list[frozenset[str]], space: Space) -> CliqueTree:
    """The tree with the largest separators (a maximum spanning forest, Prim), children before parents.

    Of several parents with the same separator the smallest is taken: it has to read the message.
    """
    n = len(cliques)
    root = n - 1
    bit = {variable: 1 << number for number, variable in enumerate(space.sizes)}
    masks, counts = [sum(bit[v] for v in clique) for clique in cliques], [space.count(clique) for clique in cliques]

    def closeness(k: int, other: int) -> tuple[int, int]:
        return (masks[k] & masks[other]).bit_count(), -counts[other]

    best = {k: (closeness(k, root), root) for k in range(n) if k != root}
    order, joined_to = [root], {root: -1}
    while best:
        nearest = max(best, key=lambda k: best[k][0])
        (shared, _), to = best.pop(nearest)
        joined_to[nearest] = to if shared else -1
        order.append(nearest)
        for k, (close, _) in best.items():
            if (closer := closeness(k, nearest)) > close:
                best[k] = (closer, nearest)
    order.reverse()
    place = {clique: number for number, clique in enumerate(order)}
    parent = tuple(place[joined_to[k]] if joined_to[k] >= 0 else -1 for k in order)
    return CliqueTree(tuple(tuple(sorted(cliques[k])) for k in order), parent)
