"""Exact inference over one table of joint states.

The prior of the targets, the few side nodes that evidence touches, and one likelihood column for each observation are
multiplied; what is not touched stays summed out. Nothing here loops over states in Python.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.axes import Axes
from faultnet.engine.evidence import Change, Likelihood, Step
from faultnet.engine.information import entropy_bits, mutual_information_bits, row_entropies_bits
from faultnet.errors import ContradictoryEvidence
from faultnet.network import Network

MOST_ENTRIES = 2**25
"""A belief that touches every side may have this many entries (256 MiB); larger networks need another engine."""

Grouping = Mapping[str, Sequence[int]]
"""For each node the group of each of its states: what a gain is about, such as "needs work or not"."""


@dataclass(frozen=True, eq=False)
class JointEngine:
    """A network compiled for queries about its targets. Make one with `compile_joint`; it never changes."""

    axes: Axes
    _columns: dict[tuple[tuple[str, ...], frozenset[int]], "OutcomeColumn"] = field(default_factory=dict)
    _bases: dict[frozenset[int], Floats] = field(default_factory=dict)
    _labels: dict[tuple[tuple[str, tuple[int, ...]], ...], tuple[Ints, int]] = field(default_factory=dict)

    @property
    def network(self) -> Network:
        return self.axes.network

    @cached_property
    def prior(self) -> "Belief":
        """The belief before anything was seen."""
        return Belief(self, self.base(frozenset()), 0.0)

    def belief(self, steps: Iterable[Step], carried: frozenset[int] = frozenset()) -> "Belief":
        """The belief after these steps in order. ContradictoryEvidence when they are impossible together.

        `carried` are coupled sides to write out from the start, for questions about them after a change.
        """
        belief = Belief(self, self.base(carried), 0.0) if carried else self.prior
        for step in steps:
            belief = belief.observe(step) if isinstance(step, Likelihood) else belief.change(step)
        return belief

    # -- prior ---------------------------------------------------------------------------------------------------

    @cached_property
    def _side_factors(self) -> list[Floats]:
        return [self.axes.prior_factor(side) for side in self.axes.sides]

    @cached_property
    def _target_factors(self) -> list[Floats]:
        return [self.axes.prior_factor(target) for target in self.axes.targets]

    @cached_property
    def coupled(self) -> frozenset[int]:
        """Sides whose prior hangs together with the targets or with each other; all others are independent roots."""
        coupled: set[int] = set()
        for factor in self._target_factors:
            coupled |= self.axes.sides_of(factor)
        for number, factor in enumerate(self._side_factors):
            sides = self.axes.sides_of(factor)
            if factor.shape[-1] > 1 or sides - {number}:
                coupled |= sides | {number}
        return frozenset(coupled)

    def side_prior(self, side: int) -> Floats:
        """P(state) of an independent side, along its axis."""
        return self._side_factors[side]

    def base(self, kept: frozenset[int]) -> Floats:
        """P(kept coupled sides, joint state of the targets); the other coupled sides summed out."""
        kept &= self.coupled
        if kept not in self._bases:
            product: Floats = np.ones((1,) * (len(self.axes.sides) + 1))
            for factor in [*self._target_factors, *(self._side_factors[side] for side in sorted(self.coupled))]:
                product = product * factor
            summed = tuple(sorted(self.coupled - kept))
            self._bases[kept] = product.sum(axis=summed, keepdims=True) if summed else product
        return self._bases[kept]

    # -- columns -------------------------------------------------------------------------------------------------

    def likelihood_column(self, seen: Likelihood) -> Floats:
        """P(what was seen | joint state), over the sides it depends on."""
        sizes = tuple(len(self.network[node].states) for node in seen.nodes)
        if seen.table.shape != sizes:
            raise ValueError(f"the likelihood of {seen.nodes} needs shape {sizes}, not {seen.table.shape}")
        table = seen.table
        for axis, node in enumerate(seen.nodes):
            if node in self.axes.leaves:
                rows = self.network[node].cpt.rows
                table = np.moveaxis(np.tensordot(rows, table, axes=(1, axis)), 0, axis)
        configuration: Ints = np.zeros((1,) * (len(self.axes.sides) + 1), dtype=np.intp)
        for node, size in zip(seen.nodes, table.shape, strict=True):
            configuration = configuration * size + self.axes.index[node]
        column: Floats = table.reshape(-1)[configuration]
        if seen.showing < 1:
            column = seen.showing * column + (1 - seen.showing) * column[..., :1]
        return column

    def outcome_column(self, leaves: tuple[str, ...], touched: frozenset[int]) -> "OutcomeColumn":
        """P(outcomes of the leaves | joint state), independent sides that are not `touched` summed out."""
        sides = frozenset[int]().union(*(self.axes.sides_of(self.axes.index[leaf]) for leaf in leaves))
        summed = (sides - touched) - self.coupled
        key = (leaves, summed)
        if key not in self._columns:
            self._columns[key] = self._make_outcome_column(leaves, sides, summed)
        return self._columns[key]

    def _make_outcome_column(
        self, leaves: tuple[str, ...], sides: frozenset[int], summed: frozenset[int]
    ) -> "OutcomeColumn":
        joint: Floats = np.ones((1,) * (len(self.axes.sides) + 2))
        for leaf in leaves:
            joint = joint[:, None] * self.chances(leaf)[None]
            joint = joint.reshape(-1, *joint.shape[2:])
        for side in sorted(summed):
            joint = (joint * self.side_prior(side)).sum(axis=side + 1, keepdims=True)
        shape = (*joint.shape[:-1], self.axes.n_joint)
        return OutcomeColumn(np.ascontiguousarray(np.broadcast_to(joint, shape)), sides - summed)

    def chances(self, node: str) -> Floats:
        """P(state of the node | joint state), certain for a hidden node: ``(n_states, *sides or 1, n_joint or 1)``."""
        known = self.network[node]
        rows = known.cpt.rows if node in self.axes.leaves else np.eye(len(known.states))
        return np.moveaxis(rows[self.axes.index[node]], -1, 0)

    def group_labels(self, grouping: Grouping) -> tuple[Ints, int]:
        """For every joint state the number of its group, over the sides it depends on, and how many groups there are."""
        key = tuple((node, tuple(groups)) for node, groups in grouping.items())
        if key not in self._labels:
            if leaves := [node for node in grouping if node in self.axes.leaves]:
                raise ValueError(f"a gain is about hidden nodes; {', '.join(leaves)} is only ever observed")
            labels: Ints = np.zeros((1,) * (len(self.axes.sides) + 1), dtype=np.intp)
            n_groups = 1
            for node, groups in key:
                size = max(groups) + 1
                labels = labels * size + np.asarray(groups, dtype=np.intp)[self.axes.index[node]]
                n_groups *= size
            self._labels[key] = labels, n_groups
        return self._labels[key]

    # -- what it costs -------------------------------------------------------------------------------------------

    def entries(self, node: str) -> int:
        """Entries of the node's column: the joint states it tells apart times the sides it depends on."""
        return int(self.axes.index[node].size)


@dataclass(frozen=True, eq=False)
class OutcomeColumn:
    """P(outcome | sides, joint state): ``(n_outcomes, *sides or 1, n_joint)``."""

    values: Floats
    sides: frozenset[int]

    @cached_property
    def flat(self) -> Floats:
        """The side axes as one: ``(n_outcomes, n_side_states, n_joint)``."""
        return self.values.reshape(self.values.shape[0], -1, self.values.shape[-1])

    @cached_property
    def entropies_bits(self) -> Floats:
        """H(outcome | joint state) where no side is left: ``(n_joint,)``."""
        return row_entropies_bits(self.flat[:, 0].T)


@dataclass(frozen=True, eq=False)
class Belief:
    """What is believed after some evidence: P(touched sides, joint state of the targets | evidence).

    weight: ``(*side sizes or 1, n_joint)``, summing to 1; an independent side of size 1 still has its prior.
    log_evidence: natural logarithm of P(evidence).
    steps: what led here from the prior.
    """

    engine: JointEngine
    weight: Floats
    log_evidence: float
    steps: tuple[Step, ...] = ()

    @cached_property
    def touched(self) -> frozenset[int]:
        return self.engine.axes.sides_of(self.weight)

    @cached_property
    def targets(self) -> Floats:
        """P(joint state of the targets): ``(n_joint,)``, last target fastest."""
        return self._summed_to(self.weight, frozenset()).reshape(-1)

    @cached_property
    def entropy_bits(self) -> float:
        """Entropy of the joint state of the targets."""
        return entropy_bits(self.targets)

    # -- moving on -----------------------------------------------------------------------------------------------

    def observe(self, seen: Likelihood) -> "Belief":
        """The belief after one more likelihood (Bayes' rule)."""
        column = self.engine.likelihood_column(seen)
        weight = self.written_out(self.engine.axes.sides_of(column)) * column
        total = float(weight.sum())
        if not total > 0:
            raise ContradictoryEvidence
        return Belief(self.engine, weight / total, self.log_evidence + float(np.log(total)), (*self.steps, seen))

    def change(self, made: Change) -> "Belief":
        """The belief about the set after a change to one target; what is known of the sides is carried along."""
        axes = self.engine.axes
        split = self.weight.reshape(*self.weight.shape[:-1], *axes.target_sizes)
        if made.node not in axes.targets:
            raise ValueError(f"only a target can be changed, and {made.node} is none")
        axis = len(axes.sides) + axes.targets.index(made.node)
        moved = np.moveaxis(np.tensordot(split, made.matrix, axes=(axis, 0)), -1, axis)
        weight = np.ascontiguousarray(moved).reshape(self.weight.shape)
        return Belief(self.engine, weight, self.log_evidence, (*self.steps, made))

    # -- asking --------------------------------------------------------------------------------------------------

    def marginal(self, node: str) -> Floats:
        """P(state of any node | evidence): ``(n_states,)``. Of a leaf: what it would show if looked at once more."""
        return self.joint((node,))

    def joint(self, nodes: Sequence[str]) -> Floats:
        """P(states of any nodes | evidence): ``(*sizes of nodes,)``."""
        network = self.engine.network
        leaves = tuple(node for node in nodes if node in self.engine.axes.leaves)
        hidden = tuple(node for node in nodes if node not in leaves)
        grouping = {node: tuple(range(len(network[node].states))) for node in hidden}
        table = self._outcomes_by_group(leaves, grouping)
        sizes = [len(network[node].states) for node in (*leaves, *hidden)]
        order = [(*leaves, *hidden).index(node) for node in nodes]
        return table.reshape(sizes).transpose(order)

    def outcomes(self, leaves: Sequence[str]) -> Floats:
        """P(joint outcome of the leaves, joint state of the targets | evidence): ``(n_outcomes, n_joint)``."""
        column = self.engine.outcome_column(tuple(leaves), self.touched)
        weight = self.written_out(column.sides & self.engine.coupled)
        weight = self._summed_to(weight, column.sides).reshape(-1, weight.shape[-1])
        if len(weight) == 1:
            single: Floats = column.flat[:, 0] * weight
            return single
        table: Floats = np.einsum("otc,tc->oc", column.flat, weight)
        return table

    def gain_bits(self, leaves: Sequence[str], about: Grouping | None = None) -> float:
        """I(joint outcome of the leaves ; group | evidence), by default about the joint state of all targets."""
        if about is not None:
            return mutual_information_bits(self._outcomes_by_group(tuple(leaves), about))
        column = self.engine.outcome_column(tuple(leaves), self.touched)
        if not column.sides:
            chances = column.flat[:, 0] @ self.targets
            return max(0.0, entropy_bits(chances) - float(column.entropies_bits @ self.targets))
        table = self.outcomes(leaves)
        return max(0.0, entropy_bits(table.sum(axis=1)) + self.entropy_bits - entropy_bits(table))

    # -- inside --------------------------------------------------------------------------------------------------

    def _outcomes_by_group(self, leaves: tuple[str, ...], about: Grouping) -> Floats:
        """P(joint outcome, group | evidence): ``(n_outcomes, n_groups)``; one outcome when there are no leaves."""
        axes = self.engine.axes
        labels, n_groups = self.engine.group_labels(about)
        sides = axes.sides_of(labels)
        if not sides:
            table = self.outcomes(leaves) if leaves else self.targets[None]
        else:
            wanted = sides.union(*(axes.sides_of(axes.index[leaf]) for leaf in leaves))
            weight = self._summed_to(self.written_out(wanted), wanted)
            table = weight[None]
            for leaf in leaves:
                table = (table[:, None] * self.engine.chances(leaf)[None]).reshape(-1, *weight.shape)
        flat_labels = np.broadcast_to(labels, table.shape[1:] if sides else (*labels.shape[:-1], table.shape[-1])).reshape(-1)
        return np.stack([np.bincount(flat_labels, row.reshape(-1), n_groups) for row in table])

    def written_out(self, sides: frozenset[int]) -> Floats:
        """The weight with these sides (by number) written out, at their chance given what is already there."""
        missing = sides - self.touched
        weight = self.weight
        coupled = missing & self.engine.coupled
        if coupled and any(isinstance(step, Change) for step in self.steps):
            # the prior no longer says how these sides hang together with the changed targets: carry them from the start
            weight = self.engine.belief(self.steps, coupled | (self.touched & self.engine.coupled)).weight
        elif coupled:
            there = self.engine.base(self.touched)
            wanted = self.engine.base(self.touched | coupled)
            weight = weight * np.divide(wanted, there, out=np.zeros(np.broadcast_shapes(wanted.shape, there.shape)), where=there > 0)
        for side in sorted(missing - coupled):
            weight = weight * self.engine.side_prior(side)
        return weight

    def _summed_to(self, weight: Floats, kept: frozenset[int]) -> Floats:
        axes = tuple(sorted(self.engine.axes.sides_of(weight) - kept))
        summed: Floats = weight.sum(axis=axes, keepdims=True) if axes else weight
        return summed


def compile_joint(network: Network, targets: Sequence[str] | None = None, most_entries: int = MOST_ENTRIES) -> JointEngine:
    """The engine for a network; `targets` are the nodes asked about (default: every random node with children).

    ValueError when one table of joint states would be too large.
    """
    axes = Axes.of(network, None if targets is None else tuple(targets))
    entries = axes.n_joint
    for side in axes.sides:
        entries *= len(network[side].states)
    if entries > most_entries:
        raise ValueError(f"{entries} joint states are too many for one table (at most {most_entries})")
    return JointEngine(axes)
