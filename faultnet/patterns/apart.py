"""What says nothing of the hidden nodes of a job: d-separated from all of them by what else is known (Pearl 1988)."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from faultnet.network import Network


@dataclass(frozen=True, eq=False)
class Blankets:
    """The Markov blankets of a network whose rules are read through: what a node hangs on is random or a root.

    A given node, or a leaf that was seen, is d-separated from every hidden node if the part of its blanket that matters
    is known, for what is known blocks every way out; a leaf that nobody looked at does not matter.

    read_under: for leaves that are read in volts the conditions that these hang on besides.
    """

    network: Network
    targets: Collection[str]
    read_under: Mapping[str, Collection[str]] = field(default_factory=dict)

    @cached_property
    def parents(self) -> Mapping[str, frozenset[str]]:
        """Of every random node the random nodes it hangs on, directly or by rules."""
        through: dict[str, frozenset[str]] = {}
        found: dict[str, frozenset[str]] = {}
        for node in self.network.nodes:
            reached = frozenset[str]().union(*(through[parent] for parent in node.parents))
            through[node.id] = reached if node.is_rule else frozenset([node.id])
            found[node.id] = reached.union(self.read_under.get(node.id, ()))
        return found

    @cached_property
    def children(self) -> Mapping[str, frozenset[str]]:
        """Of every node those that hang on it, directly or by rules."""
        found: dict[str, set[str]] = {node.id: set() for node in self.network.nodes}
        for child, parents in self.parents.items():
            for parent in parents:
                found[parent].add(child)
        return {node: frozenset(children) for node, children in found.items()}

    @cached_property
    def candidates(self) -> frozenset[str]:
        """The nodes that can be apart at all: no target is among their parents or children."""
        targets = frozenset(self.targets)
        beside = {node: parents | self.children[node] for node, parents in self.parents.items()}
        return frozenset(node for node, near in beside.items() if near.isdisjoint(targets)) - targets

    def is_apart(self, node: str, known: Collection[str], seen: Collection[str]) -> bool:
        """Whether a node tells nothing hidden. known: given roots; seen: leaves, and rules that were found out."""
        evidence = {*known, *seen}
        relevant = self._relevant(evidence)
        blanket = set(self.parents[node])
        for child in self.children[node] & relevant:
            blanket |= {child, *self.parents[child]}
        return blanket - {node} <= evidence

    def _relevant(self, evidence: Iterable[str]) -> frozenset[str]:
        """The evidence and the targets, with all they hang on."""
        found: set[str] = set()
        waiting = [*evidence, *self.targets]
        while waiting:
            node = waiting.pop()
            if node not in found:
                found.add(node)
                waiting.extend(self.parents[node])
        return frozenset(found)
