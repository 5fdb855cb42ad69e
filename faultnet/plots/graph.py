"""Which nodes and edges of a model a picture has, and which of them matter."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from faultnet.model import Model
from faultnet.model.nodes import SET_WORKS
from faultnet.plots.layers import Edge


@dataclass(frozen=True)
class Graph:
    """The nodes of a model with their parents; "the set works", which hangs on every component, is left out."""

    model: Model
    nodes: tuple[str, ...]
    edges: tuple[Edge, ...]

    @classmethod
    def of(cls, model: Model) -> "Graph":
        """The whole graph, nodes in the order of the file."""
        network = model.compiled.network
        nodes = (*model.conditions, *model.components, *model.rails, *model.observations)
        edges = ((parent, node.id) for node in network if node.id != SET_WORKS for parent in node.parents)
        return cls(model, nodes, tuple(edges))

    def without(self, dropped: Collection[str]) -> "Graph":
        """The graph without some nodes, and without what hangs on them."""
        nodes = tuple(node for node in self.nodes if node not in dropped)
        return Graph(self.model, nodes, tuple(e for e in self.edges if not {*e} & {*dropped}))

    @cached_property
    def parents(self) -> Mapping[str, list[str]]:
        return _grouped(self.nodes, ((below, above) for above, below in self.edges))

    @cached_property
    def children(self) -> Mapping[str, list[str]]:
        return _grouped(self.nodes, self.edges)

    def above(self, nodes: Iterable[str]) -> set[str]:
        """These nodes and all that they hang on."""
        return _reached(nodes, self.parents)

    def below(self, nodes: Iterable[str]) -> set[str]:
        """These nodes and all that hangs on them."""
        return _reached(nodes, self.children)

    def rows(self) -> list[list[str]]:
        """Nodes from top to bottom, so that no edge leads up: by kind; an imported network by its edges."""
        if self.model.is_imported:
            depths = _depths(self.nodes, self.parents)
            levels = {node: float(depths[node]) for node in self.nodes}
            levels |= {n: min(levels[c] for c in self.children[n]) - 1 for n in self._lone_roots()}
        else:
            rails = [node for node in self.nodes if node in self.model.rails]
            depths = _depths(rails, {r: [p for p in self.parents[r] if p in self.model.rails] for r in rails})
            levels = {node: self._level(node, depths) for node in self.nodes}
        return [[n for n in self.nodes if levels[n] == level] for level in sorted(set(levels.values()))]

    def _lone_roots(self) -> list[str]:
        """Roots stand right above what hangs on them."""
        return [node for node in self.nodes if not self.parents[node] and self.children[node]]

    def _level(self, node: str, depths: Mapping[str, int]) -> float:
        """Conditions, components, rails by how deep they are among rails, observations."""
        if node in self.model.rails:
            return 2.0 + depths[node]
        if node in self.model.observations:
            return 1000.0
        return 0.0 if node in self.model.conditions else 1.0


def _depths(nodes: Sequence[str], parents: Mapping[str, Sequence[str]]) -> dict[str, int]:
    """How many edges lead to a node at most."""
    depths: dict[str, int] = {}

    def depth(node: str) -> int:
        if node not in depths:
            depths[node] = max((1 + depth(parent) for parent in parents[node]), default=0)
        return depths[node]

    for node in nodes:
        depth(node)
    return depths


def _grouped(nodes: Sequence[str], pairs: Iterable[Edge]) -> dict[str, list[str]]:
    grouped: dict[str, list[str]] = {node: [] for node in nodes}
    for key, value in pairs:
        grouped[key].append(value)
    return grouped


def _reached(nodes: Iterable[str], step: Mapping[str, Sequence[str]]) -> set[str]:
    found, waiting = set[str](), [node for node in nodes if node in step]
    while waiting:
        node = waiting.pop()
        if node not in found:
            found.add(node)
            waiting.extend(step[node])
    return found
