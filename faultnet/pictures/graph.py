"""Which nodes and edges of a model a picture has, and which of them matter."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from faultnet.model import Model
from faultnet.model.nodes import SET_WORKS
from faultnet.pictures.rows import Edge


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
        level = self._levels_by_edges() if self.model.is_imported else self._levels_by_kind()
        ordered = self.nodes if self.model.is_imported else self._causes_first()
        return [[n for n in ordered if level[n] == each] for each in sorted(set(level.values()))]

    def _levels_by_edges(self) -> dict[str, int]:
        """Every node below all that it hangs on, roots right above what hangs on them."""
        depths = _depths(self.nodes, self.parents)
        roots = [node for node in self.nodes if not self.parents[node] and self.children[node]]
        return depths | {root: min(depths[child] for child in self.children[root]) - 1 for root in roots}

    def _levels_by_kind(self) -> dict[str, int]:
        """Conditions, components, rails as deep as they are among rails, observations."""
        rails = [node for node in self.nodes if node in self.model.rails]
        depths = _depths(rails, {rail: [p for p in self.parents[rail] if p in self.model.rails] for rail in rails})
        last = 2 + len(rails)
        kinds = ((self.model.conditions, 0), (self.model.components, 1), (self.model.observations, last))
        fixed = {node: level for nodes, level in kinds for node in nodes}
        return {node: 2 + depths[node] if node in depths else fixed[node] for node in self.nodes}

    def _causes_first(self) -> list[str]:
        """Nodes in the order of the file, but a component after those that take it along: its row may be split."""
        among = {c: [p for p in self.parents[c] if p in self.model.components] for c in self.model.components}
        depths = _depths(list(among), among)
        return sorted(self.nodes, key=lambda node: depths.get(node, 0))


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
