"""Exact inference by a junction tree, one case or a batch of them.

Leaves that nobody looked at are never part of the tree; what was seen of a leaf is a factor over its parents. The same
questions as to the table of joint states, for networks where that table would be too large.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import chain
from math import prod

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.evidence import Change, Likelihood, Step
from faultnet.engine.factors import FactorModel, Unrolled, unroll
from faultnet.engine.information import entropy_bits, mutual_information_bits
from faultnet.engine.joint import Grouping
from faultnet.engine.plan import MOST_CLIQUE_STATES, Plan, make_plan
from faultnet.engine.propagate import Evidence, Propagated, propagate
from faultnet.errors import ContradictoryEvidence
from faultnet.network import Network
from faultnet.noisy import NoisyMax

MOST_JOINT_ENTRIES = 2**20
"""Entries of a joint distribution that is asked for; a gain about more joint states than this is taken locally."""

CASES_AT_ONCE = 512


@dataclass(frozen=True, eq=False)
class JunctionEngine:
    """A network compiled to a junction tree. Make one with `compile_junction`; it never changes."""

    model: FactorModel
    most_states: int = MOST_CLIQUE_STATES
    _plans: dict[frozenset[tuple[str, ...]], Plan] = field(default_factory=dict)

    @property
    def network(self) -> Network:
        return self.model.network

    @property
    def targets(self) -> tuple[str, ...]:
        return self.model.targets

    @cached_property
    def plan(self) -> Plan:
        """The tree of the hidden nodes, with a clique for the parents of every leaf where that is not too wide."""
        leaves = [self.network[leaf] for leaf in self.model.leaves]
        scopes = [leaf.parents for leaf in leaves if not isinstance(leaf.cpt, NoisyMax)]
        narrow = [s for s in scopes if self.model.space.count(s) <= self.most_states]
        try:
            return make_plan(self.model.space, self.model.families, narrow, self.most_states)
        except ValueError:
            return make_plan(self.model.space, self.model.families, (), self.most_states)

    @cached_property
    def prior(self) -> "JunctionBelief":
        """The belief before anything was seen."""
        return self.belief(())

    def belief(self, steps: Iterable[Step]) -> "JunctionBelief":
        """The belief after these steps in order. ContradictoryEvidence when they are impossible together."""
        taken = tuple(steps)
        unrolled = unroll(self.model, taken)
        plan = self._plan_for(unrolled, [factor.scope for factor in unrolled.seen])
        belief = JunctionBelief(self, taken, unrolled, plan)
        if not np.isfinite(belief.log_evidence):
            raise ContradictoryEvidence
        return belief

    def _plan_for(self, unrolled: Unrolled, scopes: Sequence[tuple[str, ...]]) -> Plan:
        is_plain = len(unrolled.space.sizes) == len(self.model.sizes)
        if is_plain and all(self.plan.home(scope) is not None for scope in scopes):
            return self.plan
        if not is_plain:
            return make_plan(unrolled.space, unrolled.families, scopes, self.most_states)
        key = frozenset(scopes)
        if key not in self._plans:
            self._plans[key] = make_plan(unrolled.space, unrolled.families, scopes, self.most_states)
        return self._plans[key]

    def describe(self) -> str:
        """The plan in one line: cliques, treewidth, widest table, bytes."""
        return self.plan.describe()


@dataclass(frozen=True, eq=False)
class JunctionBelief:
    """What is believed after some steps; the same questions as `Belief`."""

    engine: JunctionEngine
    steps: tuple[Step, ...]
    unrolled: Unrolled
    plan: Plan

    @cached_property
    def evidence(self) -> list[Evidence]:
        """What was seen, as evidence of a batch of one."""
        return [Evidence(f.scope, f.table.reshape(1, -1), np.zeros(1, dtype=np.intp)) for f in self.unrolled.seen]

    @cached_property
    def propagated(self) -> Propagated:
        return propagate(self.plan, self.evidence, 1)

    @cached_property
    def log_evidence(self) -> float:
        """Natural logarithm of P(evidence)."""
        return float(self.propagated.log_evidence[0])

    @cached_property
    def targets(self) -> Floats:
        """P(joint state of the targets): ``(n_joint,)``, last target fastest."""
        return self.joint(self.engine.targets).reshape(-1)

    @cached_property
    def entropy_bits(self) -> float:
        """Entropy of the joint state of the targets."""
        return entropy_bits(self.targets)

    def observe(self, seen: Likelihood) -> "JunctionBelief":
        """The belief after one more likelihood."""
        return self.engine.belief((*self.steps, seen))

    def change(self, made: Change) -> "JunctionBelief":
        """The belief about the set after a change to one target."""
        return self.engine.belief((*self.steps, made))

    def marginal(self, node: str) -> Floats:
        """P(state of any node | evidence): ``(n_states,)``. Of a leaf: what it would show if looked at once more."""
        return self.joint((node,))

    def joint(self, nodes: Sequence[str]) -> Floats:
        """P(states of any nodes | evidence): ``(*sizes of nodes,)``. ValueError when that is too large."""
        model = self.engine.model
        hidden = tuple(
            dict.fromkeys(chain(*((node,) if node in model.hidden else model.network[node].parents for node in nodes)))
        )
        if prod(model.sizes[v] for v in hidden) > MOST_JOINT_ENTRIES:
            raise ValueError(f"the joint distribution of {', '.join(hidden)} is too large")
        table = self._hidden_joint(tuple(self.unrolled.now[v] for v in hidden))
        return _seen_from(model, nodes, hidden, table)

    def outcomes(self, leaves: Sequence[str]) -> Floats:
        """P(joint outcome of the leaves, joint state of the targets | evidence): ``(n_outcomes, n_joint)``."""
        n_outcomes = prod(len(self.engine.network[leaf].states) for leaf in leaves)
        return self.joint((*leaves, *self.engine.targets)).reshape(n_outcomes, -1)

    @property
    def gains_are_local(self) -> bool:
        """Whether a gain is about a leaf's hidden parents, because the joint state of all targets is too large."""
        return prod(self.engine.model.sizes[t] for t in self.engine.targets) > MOST_JOINT_ENTRIES // 64

    def gain_bits(self, leaves: Sequence[str], about: Grouping | None = None) -> float:
        """I(joint outcome of the leaves ; group | evidence), by default about the joint state of all targets.

        Where that is too large (`gains_are_local`) it is about the hidden parents of the leaves, grouped likewise.
        """
        model = self.engine.model
        if about is not None and (named := [node for node in about if node in model.leaves]):
            raise ValueError(f"a gain is about hidden nodes; {', '.join(named)} is only ever observed")
        nodes = tuple(about) if about is not None else self.engine.targets
        if self.gains_are_local:
            parents = dict.fromkeys(chain(*(model.network[leaf].parents for leaf in leaves)))
            nodes = tuple(v for v in parents if about is None or v in about)
        n_outcomes = prod(len(self.engine.network[leaf].states) for leaf in leaves)
        table = self.joint((*leaves, *nodes)).reshape(n_outcomes, *(model.sizes[v] for v in nodes))
        for axis, node in enumerate(nodes, start=1):
            if about is not None:
                table = _grouped(table, axis, about[node])
        return mutual_information_bits(table.reshape(n_outcomes, -1))

    # -- inside --------------------------------------------------------------------------------------------------

    def _hidden_joint(self, variables: tuple[str, ...]) -> Floats:
        """P(states of variables | evidence): from the clique that holds most, once for each state of the rest."""
        sizes = self.unrolled.space.sizes
        cliques = self.plan.tree.cliques
        home = max(range(len(cliques)), key=lambda k: (prod(sizes[v] for v in variables if v in cliques[k]), -k))
        inside = tuple(v for v in variables if v in cliques[home])
        rest = tuple(v for v in variables if v not in inside)
        n_rest, n_inside = prod(sizes[v] for v in rest), prod(sizes[v] for v in inside)
        table = np.zeros((n_rest, n_inside))
        for start in range(0, n_rest, CASES_AT_ONCE):
            cases = np.arange(start, min(start + CASES_AT_ONCE, n_rest))
            table[cases] = self._with_rest(cases, rest, home, inside, n_inside)
        order = [(*rest, *inside).index(v) for v in variables]
        return table.reshape([sizes[v] for v in (*rest, *inside)]).transpose(order)

    def _with_rest(
        self, cases: Ints, rest: tuple[str, ...], home: int, inside: tuple[str, ...], n_inside: int
    ) -> Floats:
        """P(these joint states of the rest, states inside | evidence): ``(n_cases, n_inside)``."""
        if not rest:
            propagated, chance = self.propagated, np.ones(1)
        else:
            states = np.unravel_index(cases, [self.unrolled.space.sizes[v] for v in rest])
            fixed = [Evidence((v,), np.eye(self.unrolled.space.sizes[v]), s) for v, s in zip(rest, states, strict=True)]
            same = [Evidence(e.scope, e.tables, np.zeros(len(cases), dtype=np.intp)) for e in self.evidence]
            propagated = propagate(self.plan, [*same, *fixed], len(cases))
            chance = np.exp(propagated.log_evidence - self.log_evidence)
        index = self.plan.index(home, inside)
        summed = np.stack([np.bincount(index, row, n_inside) for row in propagated.beliefs[home]])
        return summed * chance[:, None]


def _seen_from(model: FactorModel, nodes: Sequence[str], hidden: tuple[str, ...], table: Floats) -> Floats:
    """P(states of nodes) from the joint of hidden nodes that determines it: ``(*sizes of nodes,)``."""
    letters = {v: n for n, v in enumerate(hidden)}
    operands: list[object] = [table, list(letters.values())]
    output = []
    for number, node in enumerate(nodes, start=len(letters)):
        if node in letters and node in model.hidden:
            known = np.eye(model.sizes[node])
            operands += [known, [letters[node], number]]
        else:
            operands += [model.network[node].cpt.expand(), [*(letters[p] for p in model.network[node].parents), number]]
        output.append(number)
    result: Floats = np.einsum(*operands, output, optimize=len(operands) > 6)  # type: ignore[call-overload]
    return result


def _grouped(table: Floats, axis: int, groups: Sequence[int]) -> Floats:
    """States of one axis added up by their group."""
    onto = np.eye(max(groups) + 1)[list(groups)]
    return np.moveaxis(np.tensordot(table, onto, axes=(axis, 0)), -1, axis)


def compile_junction(
    network: Network, targets: Sequence[str] | None = None, most_states: int = MOST_CLIQUE_STATES
) -> JunctionEngine:
    """The junction-tree engine for a network. ValueError names a clique that would be too wide."""
    random = [n.id for n in network if not n.is_rule and n.id in network.with_children]
    chosen = tuple(targets) if targets is not None else tuple(random) or (network.nodes[0].id,)
    if not chosen or len(set(chosen)) != len(chosen) or any(target not in network for target in chosen):
        raise ValueError(f"targets must be different nodes of the network, at least one, not {chosen}")
    engine = JunctionEngine(FactorModel(network, chosen), most_states)
    engine.plan  # noqa: B018 - made now, so that a network that is too wide is refused here
    return engine
