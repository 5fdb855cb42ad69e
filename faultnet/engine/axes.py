"""How a network is laid out over one table of joint states.

The table has one axis for each *side* node (hidden, but not asked for: driver policy, age band) and one last axis that
runs over all joint states of the *targets* (the components). A node that depends on few sides has size 1 on every other
side axis, so arrays stay as small as what they speak about and numpy broadcasts the rest.
"""

from dataclasses import dataclass
from functools import cached_property
from math import prod

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.network import Network, Node
from faultnet.noisy import NoisyMax


@dataclass(frozen=True, eq=False)
class Axes:
    """Which nodes are targets (joint last axis), sides (an axis each) and leaves (no axis).

    `index[id]` is, for every joint state, the number of the node's state (targets, sides, rules) or of its CPT row
    (leaves): integers ``(*side sizes or 1, n_targets_joint or 1)``.
    """

    network: Network
    targets: tuple[str, ...]
    sides: tuple[str, ...]
    leaves: tuple[str, ...]

    @classmethod
    def of(cls, network: Network, targets: tuple[str, ...] | None = None) -> "Axes":
        """Lay the network out; without `targets`, every random node that has children is one."""
        hidden = [n.id for n in network if not n.is_rule and n.id in network.with_children]
        if targets is None:
            targets = tuple(hidden) or (network.nodes[0].id,)
        if not targets or len(set(targets)) != len(targets) or any(target not in network for target in targets):
            raise ValueError(f"targets must be different nodes of the network, at least one, not {targets}")
        sides = tuple(node for node in hidden if node not in targets)
        leaves = tuple(n.id for n in network if n.id not in network.with_children and n.id not in targets)
        return cls(network, targets, sides, leaves)

    @cached_property
    def target_sizes(self) -> tuple[int, ...]:
        return tuple(len(self.network[t].states) for t in self.targets)

    @cached_property
    def n_joint(self) -> int:
        """Joint states of the targets."""
        return int(np.prod(self.target_sizes))

    @cached_property
    def side_number(self) -> dict[str, int]:
        return {side: number for number, side in enumerate(self.sides)}

    @cached_property
    def index(self) -> dict[str, Ints]:
        index = self._own_axes()
        leaves = set(self.leaves)
        for node in self.network:
            if node.id in leaves:
                index[node.id] = self._rows(node, index)
            elif node.id not in index:
                index[node.id] = node.cpt.row_of.reshape(-1)[self._configuration(node, index)]
        return index

    def _own_axes(self) -> dict[str, Ints]:
        n_dims = len(self.sides) + 1
        index: dict[str, Ints] = {}
        for target, states in zip(
            self.targets, np.unravel_index(np.arange(self.n_joint), self.target_sizes), strict=True
        ):
            index[target] = states.reshape((1,) * (n_dims - 1) + (-1,))
        for number, side in enumerate(self.sides):
            shape = [1] * n_dims
            shape[number] = len(self.network[side].states)
            index[side] = np.arange(shape[number]).reshape(shape)
        return index

    def _configuration(self, node: Node, index: dict[str, Ints]) -> Ints:
        configuration: Ints = np.zeros((1,) * (len(self.sides) + 1), dtype=np.intp)
        for parent, size in zip(node.parents, node.cpt.parent_sizes, strict=True):
            configuration = configuration * size + index[parent]
        return configuration

    def _rows(self, node: Node, index: dict[str, Ints]) -> Ints:
        if self._is_wide(node):
            shape = np.broadcast_shapes(*(index[parent].shape for parent in node.parents))
            return np.arange(prod(shape), dtype=np.intp).reshape(shape)
        rows: Ints = node.cpt.row_of.reshape(-1)[self._configuration(node, index)]
        return rows

    @staticmethod
    def _is_wide(node: Node) -> bool:
        return isinstance(node.cpt, NoisyMax) and not node.cpt.is_written_out

    @cached_property
    def _wide_rows(self) -> dict[str, Floats]:
        """The rows of leaves with too many causes to write out every combination, one for each joint state."""
        wide = {leaf: self.network[leaf] for leaf in self.leaves if self._is_wide(self.network[leaf])}
        return {leaf: node.cpt.chances(self.parent_states(leaf, self.index[leaf])) for leaf, node in wide.items()}

    def parent_states(self, leaf: str, like: Ints) -> list[Ints]:
        """The states of a leaf's parents for every entry of an array laid out like its index: ``(n,)`` each."""
        own = (self.index[parent] for parent in self.network[leaf].parents)
        return [np.broadcast_to(states, like.shape).reshape(-1) for states in own]

    def rows(self, leaf: str) -> Floats:
        """P(state of a leaf) in every row that its index points to: ``(n_rows, n_states)``."""
        return self._wide_rows[leaf] if leaf in self._wide_rows else self.network[leaf].cpt.rows

    def prior_factor(self, node_id: str) -> Floats:
        """P(own state | parents) of a target or side over the table's axes."""
        factor: Floats = self.network[node_id].cpt.rows[self.row_index(node_id), self.index[node_id]]
        return factor

    def row_index(self, node_id: str) -> Ints:
        """The number of the row of a target's or side's CPT that each combination of its parents uses."""
        return self._rows(self.network[node_id], self.index)

    def sides_of(self, array: Ints | Floats) -> frozenset[int]:
        """The side axes along which the array varies."""
        return frozenset(axis for axis, size in enumerate(array.shape[:-1]) if size > 1)
