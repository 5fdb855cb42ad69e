"""Exact inference over one table of joint states.

The prior of the targets, the few side nodes that evidence touches, and one likelihood column for each observation are
multiplied; what is not touched stays summed out. Nothing here loops over states in Python.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import takewhile
from math import log, prod

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.axes import Axes
from faultnet.engine.cells import Cells
from faultnet.engine.columns import OutcomeColumn, make_outcome_column
from faultnet.engine.evidence import Change, Likelihood, Step
from faultnet.engine.information import entropy_bits, mutual_information_bits
from faultnet.engine.prior import joint_prior
from faultnet.errors import ContradictoryEvidence
from faultnet.network import Network

MOST_ENTRIES = 2**25
"""A belief that touches every side may have this many entries (256 MiB); larger networks need another engine."""

Grouping = Mapping[str, Sequence[int]]
"""For each node the group of each of its states: what a gain is about, such as "needs work or not"."""

_GroupingKey = tuple[tuple[str, tuple[int, ...]], ...]


@dataclass(frozen=True, eq=False)
class JointEngine:
    """A network compiled for queries about its targets. Make one with `compile_joint`; it never changes."""

    axes: Axes
    _sides: dict[tuple[str, ...], frozenset[int]] = field(default_factory=dict)
    _columns: dict[tuple[tuple[str, ...], frozenset[int]], OutcomeColumn] = field(default_factory=dict)
    _side_priors: dict[int, Floats] = field(default_factory=dict)
    _bases: dict[frozenset[int], Floats] = field(default_factory=dict)
    _labels: dict[_GroupingKey, tuple[Ints, int]] = field(default_factory=dict)
    _cells: dict[tuple[tuple[str, ...], frozenset[int], _GroupingKey], Cells] = field(default_factory=dict)

    @property
    def network(self) -> Network:
        return self.axes.network

    @property
    def targets(self) -> tuple[str, ...]:
        return self.axes.targets

    @cached_property
    def leaves(self) -> frozenset[str]:
        """Nodes that are only ever observed."""
        return frozenset(self.axes.leaves)

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
            belief = belief.after(step)
        return belief

    def beliefs(self, ways: Iterable[Sequence[Step]]) -> Iterator["Belief"]:
        """The belief after each of several sequences of steps; what one begins with like the last is not done again."""
        gone: list[tuple[Step, Belief]] = []
        for way in ways:
            alike = sum(1 for _ in takewhile(lambda pair: pair[0][0] is pair[1], zip(gone, way, strict=False)))
            del gone[alike:]
            for step in way[alike:]:
                gone.append((step, (gone[-1][1] if gone else self.prior).after(step)))
            yield gone[-1][1] if gone else self.prior

    # -- prior ---------------------------------------------------------------------------------------------------

    @cached_property
    def coupled(self) -> frozenset[int]:
        """Sides whose prior hangs together with the targets or with each other; all others are independent roots."""
        coupled: set[int] = set()
        for node in (*self.axes.targets, *self.axes.sides):
            above = [self.axes.index[parent] for parent in self.network[node].parents]
            sides = frozenset[int]().union(*(self.axes.sides_of(index) for index in above))
            coupled |= sides
            if node in self.axes.side_number and (sides or any(index.shape[-1] > 1 for index in above)):
                coupled.add(self.axes.side_number[node])
        return frozenset(coupled)

    def side_prior(self, side: int) -> Floats:
        """P(state) of an independent side, along its axis."""
        if side not in self._side_priors:
            self._side_priors[side] = self.axes.prior_factor(self.axes.sides[side])
        return self._side_priors[side]

    def side_priors(self, sides: frozenset[int]) -> Floats:
        """P(states) of several independent sides, an axis each."""
        chances: Floats = np.ones((1,) * (len(self.axes.sides) + 1))
        for side in sorted(sides):
            chances = chances * self.side_prior(side)
        return chances

    def base(self, kept: frozenset[int]) -> Floats:
        """P(kept coupled sides, joint state of the targets); the other coupled sides summed out."""
        kept &= self.coupled
        if kept not in self._bases:
            self._bases[kept] = joint_prior(self.axes, sorted(self.coupled), self.coupled - kept)
        return self._bases[kept]

    # -- columns -------------------------------------------------------------------------------------------------

    def likelihood_column(self, seen: Likelihood) -> Floats:
        """P(what was seen | joint state), over the sides it depends on; an array of the caller's own."""
        sizes = tuple(len(self.network[node].states) for node in seen.nodes)
        if seen.table.shape != sizes:
            raise ValueError(f"the likelihood of {seen.nodes} needs shape {sizes}, not {seen.table.shape}")
        table = seen.table
        for axis, node in enumerate(seen.nodes):
            if node in self.leaves:
                rows = self.axes.rows(node)
                if table.ndim == 1:
                    table = rows @ table
                else:
                    table = np.moveaxis(np.tensordot(rows, table, axes=(1, axis)), 0, axis)
        configuration: Ints = np.zeros((1,) * (len(self.axes.sides) + 1), dtype=np.intp)
        for number, (node, size) in enumerate(zip(seen.nodes, table.shape, strict=True)):
            index = self.axes.index[node]
            configuration = configuration * size + index if number else index
        column: Floats = table.reshape(-1).take(configuration)
        if seen.showing < 1:
            column = seen.showing * column + (1 - seen.showing) * column[..., :1]
        return column

    def outcome_column(self, leaves: tuple[str, ...], touched: frozenset[int]) -> OutcomeColumn:
        """P(outcomes of the leaves | joint state), independent sides that are not `touched` summed out."""
        summed = self._sides_under(leaves) - touched - self.coupled
        column = self._columns.get((leaves, summed))
        if column is None:
            column = make_outcome_column(self.axes, leaves, {side: self.side_prior(side) for side in summed})
            self._columns[leaves, summed] = column
        return column

    def _sides_under(self, nodes: tuple[str, ...]) -> frozenset[int]:
        """The sides that any of these nodes depends on."""
        if nodes not in self._sides:
            self._sides[nodes] = frozenset[int]().union(*(self.axes.sides_of(self.axes.index[node]) for node in nodes))
        return self._sides[nodes]

    def cells(self, leaves: tuple[str, ...], about: Grouping, touched: frozenset[int]) -> Cells:
        """Which row of the leaves' column and which group each joint state falls into."""
        wanted = touched | self._sides_under(tuple(about))
        grouping = tuple([(node, tuple(groups)) for node, groups in about.items()])
        key = (leaves, self._sides_under(leaves) - wanted, grouping)
        cells = self._cells.get(key)
        if cells is None:
            column, (labels, n_groups) = self.outcome_column(leaves, wanted), self._group_labels(grouping)
            number = column.row_of * n_groups + labels
            self._cells[key] = cells = Cells(column, number.reshape(-1), n_groups, self.axes.sides_of(number))
        return cells

    def labelled(self, leaves: tuple[str, ...], nodes: tuple[str, ...], label: Ints, touched: frozenset[int]) -> Cells:
        """The same for groups of one state of some hidden nodes and one label, which every joint state has."""
        wanted = touched | self._sides_under(nodes)
        each_state = tuple([(node, tuple(range(len(self.network[node].states)))) for node in nodes])
        column, (states, n_states) = self.outcome_column(leaves, wanted), self._group_labels(each_state)
        n_labels = int(label.max()) + 1
        number = (column.row_of * n_states + states) * n_labels + label
        return Cells(column, number.reshape(-1), n_states * n_labels, self.axes.sides_of(number))

    def _group_labels(self, about: _GroupingKey) -> tuple[Ints, int]:
        """For every joint state the number of its group, over the sides it depends on, and how many groups."""
        if about not in self._labels:
            if leaves := [node for node, _ in about if node in self.leaves]:
                raise ValueError(f"a gain is about hidden nodes; {', '.join(leaves)} is only ever observed")
            labels: Ints = np.zeros((1,) * (len(self.axes.sides) + 1), dtype=np.intp)
            n_groups = 1
            for node, groups in about:
                size = max(groups) + 1
                labels = labels * size + np.asarray(groups, dtype=np.intp)[self.axes.index[node]]
                n_groups *= size
            self._labels[about] = labels, n_groups
        return self._labels[about]

    # -- what it costs -------------------------------------------------------------------------------------------

    def entries(self, node: str) -> int:
        """Entries of the node's column: the joint states it tells apart times the sides it depends on."""
        return int(self.axes.index[node].size)

    def describe(self) -> str:
        """What the table holds in one line: joint states, sides, the widest column, bytes."""
        sides = " x ".join(str(len(self.network[side].states)) for side in self.axes.sides) or "none"
        widest = max(self.axes.leaves, key=self.entries, default=None)
        column = f"; widest column {widest}, {self.entries(widest)} entries" if widest else ""
        n_bytes = sum(index.nbytes for index in self.axes.index.values()) + self.base(frozenset()).nbytes
        return f"{self.axes.n_joint} joint states; sides {sides}{column}; {n_bytes} bytes"


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
    _over: dict[frozenset[int], Floats] = field(default_factory=dict, repr=False)

    gains_are_local = False
    """Gains are about the joint state of all targets."""

    @cached_property
    def touched(self) -> frozenset[int]:
        return self.engine.axes.sides_of(self.weight)

    @cached_property
    def targets(self) -> Floats:
        """P(joint state of the targets): ``(n_joint,)``, last target fastest."""
        return self.over(frozenset()).reshape(-1)

    @cached_property
    def entropy_bits(self) -> float:
        """Entropy of the joint state of the targets."""
        return entropy_bits(self.targets)

    # -- moving on -----------------------------------------------------------------------------------------------

    def after(self, step: Step) -> "Belief":
        """The belief after one more step."""
        return self.observe(step) if isinstance(step, Likelihood) else self.change(step)

    def observe(self, seen: Likelihood) -> "Belief":
        """The belief after one more likelihood (Bayes' rule)."""
        column = self.engine.likelihood_column(seen)
        missing = self.engine.axes.sides_of(column) - self.touched - self.engine.coupled
        if missing:
            column *= self.engine.side_priors(missing)
        weight = self.written_out(self.engine.axes.sides_of(column) & self.engine.coupled)
        whole = column.shape == np.broadcast_shapes(column.shape, weight.shape)
        weight = np.multiply(weight, column, out=column if whole else None)
        total = float(weight.sum())
        if not total > 0:
            raise ContradictoryEvidence
        weight /= total
        return Belief(self.engine, weight, self.log_evidence + log(total), (*self.steps, seen))

    def change(self, made: Change) -> "Belief":
        """The belief about the set after a change to one target; what is known of the sides is carried along."""
        axes = self.engine.axes
        if made.node not in axes.targets:
            raise ValueError(f"only a target can be changed, and {made.node} is none")
        number = axes.targets.index(made.node)
        by_state = (-1, len(made.matrix), prod(axes.target_sizes[number + 1 :]))
        weight = self.weight.copy()
        before, after = self.weight.reshape(by_state), weight.reshape(by_state)
        for start, row in enumerate(made.matrix):
            if row[start] != 1:  # few states move: it would take longer to multiply by the whole matrix
                after[:, start] *= row[start]
        for start, end in np.argwhere((made.matrix > 0) & ~np.eye(len(made.matrix), dtype=bool)):
            after[:, end] += made.matrix[start, end] * before[:, start]
        return Belief(self.engine, weight, self.log_evidence, (*self.steps, made))

    # -- asking --------------------------------------------------------------------------------------------------

    def marginal(self, node: str) -> Floats:
        """P(state of any node | evidence): ``(n_states,)``. Of a leaf: what it would show if looked at once more."""
        return self.joint((node,))

    def joint(self, nodes: Sequence[str]) -> Floats:
        """P(states of any nodes | evidence): ``(*sizes of nodes,)``."""
        network = self.engine.network
        leaves, hidden, order = self._apart(nodes)
        grouping = {node: tuple(range(len(network[node].states))) for node in hidden}
        table = self._outcomes_by_group(leaves, grouping)
        sizes = [len(network[node].states) for node in (*leaves, *hidden)]
        return table.reshape(sizes).transpose(order)

    def outcomes(self, leaves: Sequence[str]) -> Floats:
        """P(joint outcome of the leaves, joint state of the targets | evidence): ``(n_outcomes, n_joint)``."""
        column = self.engine.outcome_column(tuple(leaves), self.touched)
        weight = self.over(column.sides)
        if len(weight) == 1:
            single: Floats = column.flat[:, 0] * weight
            return single
        table: Floats = np.einsum("otc,tc->oc", column.flat, weight)
        return table

    def joint_by_label(self, nodes: Sequence[str], label: Ints) -> Floats:
        """P(states of any nodes, label of the joint state of the targets | evidence): ``(*sizes of nodes, n_labels)``.

        label: of every joint state, ``(n_joint,)``.
        """
        leaves, hidden, order = self._apart(nodes)
        cells = self.engine.labelled(leaves, hidden, label, self.touched)
        table = cells.outcomes(self.over(cells.sides).reshape(-1))
        sizes = [len(self.engine.network[node].states) for node in (*leaves, *hidden)]
        return table.reshape(*sizes, -1).transpose(*order, len(nodes))

    def gain_bits(self, leaves: Sequence[str], about: Grouping | None = None) -> float:
        """I(joint outcome of the leaves ; group | evidence), by default about the joint state of all targets."""
        if about is not None:
            return mutual_information_bits(self._outcomes_by_group(tuple(leaves), about))
        column = self.engine.outcome_column(tuple(leaves), self.touched)
        if not column.sides:
            chances = np.vecdot(column.flat[:, 0], self.targets)
            return max(0.0, entropy_bits(chances) - float(np.vecdot(column.entropies_bits[0], self.targets)))
        table = self.outcomes(leaves)
        return max(0.0, entropy_bits(table.sum(axis=1)) + self.entropy_bits - entropy_bits(table))

    def gains_bits(self, tests: Sequence[Sequence[str]], about: Grouping | None = None) -> list[float]:
        """The gain of each test by itself, a test being the leaves it reveals."""
        return [self.gain_bits(leaves, about) for leaves in tests]

    # -- inside --------------------------------------------------------------------------------------------------

    def _apart(self, nodes: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...], list[int]]:
        """Those of the nodes that are leaves, the others, and where each node stands among the two."""
        leaves = tuple([node for node in nodes if node in self.engine.leaves])
        hidden = tuple([node for node in nodes if node not in leaves])
        return leaves, hidden, [(*leaves, *hidden).index(node) for node in nodes]

    def _outcomes_by_group(self, leaves: tuple[str, ...], about: Grouping) -> Floats:
        """P(joint outcome, group | evidence): ``(n_outcomes, n_groups)``; one outcome when there are no leaves."""
        cells = self.engine.cells(leaves, about, self.touched)
        return cells.outcomes(self.over(cells.sides).reshape(-1))

    def over(self, sides: frozenset[int]) -> Floats:
        """P(states of these sides, joint state of the targets | evidence): ``(n_side_states, n_joint)``."""
        if sides not in self._over:
            weight = self.written_out(sides)
            axes = tuple(sorted(self.engine.axes.sides_of(weight) - sides))
            summed = weight.sum(axis=axes) if axes else weight
            self._over[sides] = summed.reshape(-1, weight.shape[-1])
        return self._over[sides]

    def written_out(self, sides: frozenset[int]) -> Floats:
        """The weight with these sides (by number) written out, at their chance given what is already there."""
        missing = sides - self.touched
        weight = self.weight
        coupled = missing & self.engine.coupled
        if coupled and any(isinstance(step, Change) for step in self.steps):
            # the prior no longer says how these sides hang together with changed targets: carry them from the start
            weight = self.engine.belief(self.steps, coupled | (self.touched & self.engine.coupled)).weight
        elif coupled:
            there = self.engine.base(self.touched)
            wanted = self.engine.base(self.touched | coupled)
            chance = np.zeros(np.broadcast_shapes(wanted.shape, there.shape))
            weight = weight * np.divide(wanted, there, out=chance, where=there > 0)
        return weight * self.engine.side_priors(missing - coupled) if missing - coupled else weight


def compile_joint(
    network: Network, targets: Sequence[str] | None = None, most_entries: int = MOST_ENTRIES
) -> JointEngine:
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
