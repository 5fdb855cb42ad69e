"""A Bayesian network: nodes with named states, their parents and their CPTs, parents before children."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from graphlib import CycleError, TopologicalSorter

from faultnet.cpt import Rule, Table
from faultnet.noisy import NoisyMax

Cpt = Table | Rule | NoisyMax


@dataclass(frozen=True, eq=False)
class Node:
    """A variable. The CPT's axes are the parents in this order, the node's own states last."""

    id: str
    states: tuple[str, ...]
    parents: tuple[str, ...]
    cpt: Cpt

    def __post_init__(self) -> None:
        if len(set(self.states)) != len(self.states):
            raise ValueError(f"{self.id}: a state is named twice")
        if len(set(self.parents)) != len(self.parents):
            raise ValueError(f"{self.id}: a parent is named twice")
        if self.cpt.n_states != len(self.states):
            raise ValueError(f"{self.id}: {len(self.states)} states, but a CPT of {self.cpt.n_states}")
        if len(self.cpt.parent_sizes) != len(self.parents):
            raise ValueError(f"{self.id}: {len(self.parents)} parents, but a CPT over {len(self.cpt.parent_sizes)}")

    @property
    def is_rule(self) -> bool:
        return isinstance(self.cpt, Rule)


@dataclass(frozen=True, eq=False)
class Network:
    """Nodes in an order in which every parent comes before its children."""

    nodes: tuple[Node, ...]

    @classmethod
    def of(cls, nodes: Iterable[Node]) -> "Network":
        """The network of these nodes, sorted. ValueError: an id twice, an unknown parent, a wrong size, a cycle."""
        by_id: dict[str, Node] = {}
        for node in nodes:
            if node.id in by_id:
                raise ValueError(f"{node.id}: two nodes have this id")
            by_id[node.id] = node
        if not by_id:
            raise ValueError("a network needs at least one node")
        for node in by_id.values():
            for parent, size in zip(node.parents, node.cpt.parent_sizes, strict=True):
                if parent not in by_id:
                    raise ValueError(f"{node.id}: unknown parent {parent}")
                if size != len(by_id[parent].states):
                    raise ValueError(f"{node.id}: parent {parent} has {len(by_id[parent].states)} states, not {size}")
        return cls(tuple(by_id[node_id] for node_id in parents_first({n.id: n.parents for n in by_id.values()})))

    @cached_property
    def _by_id(self) -> dict[str, Node]:
        return {node.id: node for node in self.nodes}

    def __getitem__(self, node_id: str) -> Node:
        return self._by_id[node_id]

    def __contains__(self, node_id: object) -> bool:
        return node_id in self._by_id

    def __iter__(self) -> Iterator[Node]:
        return iter(self.nodes)

    @cached_property
    def with_children(self) -> frozenset[str]:
        """Ids of all nodes that are somebody's parent."""
        return frozenset(parent for node in self.nodes for parent in node.parents)

    def moved_with(self, targets: Collection[str]) -> Mapping[str, frozenset[str]]:
        """For every node the targets whose change changes it: itself, or those it follows.

        Rules follow their parents, and a leaf is read anew each time. Whatever else is random stays as it is when a
        target changes, even below it: a new cause does not undo what the old one did.
        """
        moved: dict[str, frozenset[str]] = {}
        for node in self.nodes:
            if node.id in targets:
                moved[node.id] = frozenset([node.id])
            elif node.is_rule or node.id not in self.with_children:
                moved[node.id] = frozenset[str]().union(*(moved[parent] for parent in node.parents))
            else:
                moved[node.id] = frozenset()
        return moved


def parents_first(parents: dict[str, tuple[str, ...]]) -> list[str]:
    """The keys with every parent before its children. ValueError names a cycle."""
    try:
        return list(TopologicalSorter(parents).static_order())
    except CycleError as error:
        raise ValueError("a cycle: " + " -> ".join(error.args[1])) from None
