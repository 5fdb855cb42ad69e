"""Exact inference by a junction tree, one case or a batch of them.

Leaves that nobody looked at are never part of the tree; what was seen of a leaf is a factor over its parents. The same
questions as to the table of joint states, for networks where that table would be too large.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
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
from faultnet.engine.propagate import Evidence, Propagated, propagate, summed
from faultnet.errors import ContradictoryEvidence
from faultnet.network import Network
from faultnet.noisy import NoisyMax

MOST_JOINT_ENTRIES = 2**20
"""Entries of a joint distribution that is asked for; a gain about more joint states than this is taken locally."""

MOST_STATES_LISTED = 2**24
"""Possible joint states of the hidden nodes behind what is asked."""

MOST_TARGET_STATES = 2**14
"""Joint states of the targets up to which they get a clique of their own: most questions are about all of them."""

CASES_AT_ONCE = 256


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
        if self.model.space.count(self.targets) <= MOST_TARGET_STATES:
            narrow.append(self.targets)
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
    _outcomes: dict[tuple[str, ...], Floats] = field(default_factory=dict)

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
        model, now = self.engine.model, self.unrolled.now
        behind = dict.fromkeys(chain(*((n,) if n in model.hidden else model.network[n].parents for n in nodes)))
        hidden = tuple(now[v] for v in behind)
        sizes = [len(model.network[node].states) for node in nodes]
        if prod(sizes) > MOST_JOINT_ENTRIES:
            raise ValueError(f"the joint distribution of {', '.join(nodes)} is too large")
        total = np.zeros(prod(sizes))
        roots = hidden if self.plan.home(hidden) is not None else tuple(self.unrolled.space.roots(hidden))
        for states, chances in self._possible(roots):
            known = dict(zip(roots, states, strict=True))
            at = {node: self.unrolled.space.state(now[node], known) for node in behind}
            for code, weight in _coded(model, nodes, at, len(chances)):
                total += np.bincount(code, chances * weight, len(total))
        return total.reshape(sizes)

    def outcomes(self, leaves: Sequence[str]) -> Floats:
        """P(joint outcome of the leaves, joint state of the targets | evidence): ``(n_outcomes, n_joint)``."""
        key = tuple(leaves)
        if key not in self._outcomes:
            n_outcomes = prod(len(self.engine.network[leaf].states) for leaf in leaves)
            self._outcomes[key] = self.joint((*leaves, *self.engine.targets)).reshape(n_outcomes, -1)
        return self._outcomes[key]

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
        if set(nodes) <= set(self.engine.targets) and not self.gains_are_local:
            sizes = [model.sizes[v] for v in self.engine.targets]
            whole = self.outcomes(leaves).reshape(n_outcomes, *sizes)
            others = tuple(n for n, v in enumerate(self.engine.targets, start=1) if v not in nodes)
            order = [self.engine.targets.index(v) for v in nodes]
            left = [v for v in self.engine.targets if v in nodes]
            table = whole.sum(axis=others) if others else whole
            table = table.transpose(0, *(1 + left.index(self.engine.targets[n]) for n in order))
        else:
            table = self.joint((*leaves, *nodes)).reshape(n_outcomes, *(model.sizes[v] for v in nodes))
        for axis, node in enumerate(nodes, start=1):
            if about is not None:
                table = _grouped(table, axis, about[node])
        return mutual_information_bits(table.reshape(n_outcomes, -1))

    # -- inside --------------------------------------------------------------------------------------------------

    def _possible(self, variables: tuple[str, ...]) -> Iterator[tuple[list[Ints], Floats]]:
        """Possible joint states of variables and their probabilities, in parts: a state array for each, ``(n,)`` all.

        From the clique that holds most of them, once for each state of the rest.
        """
        space, cliques = self.unrolled.space, self.plan.tree.cliques
        home = max(range(len(cliques)), key=lambda k: (space.count(v for v in variables if v in cliques[k]), -k))
        inside = tuple(v for v in variables if v in cliques[home])
        rest = tuple(v for v in variables if v not in inside)
        columns = [cliques[home].index(v) for v in inside]
        own, place = np.unique(self.plan.states[home][:, columns], axis=0, return_inverse=True)
        rest_states = space.states(rest) if rest else np.zeros((1, 0), dtype=np.intp)
        if len(rest_states) * len(own) > MOST_STATES_LISTED:
            raise ValueError(f"the joint distribution of {', '.join(variables)} has too many states")
        for start in range(0, len(rest_states), CASES_AT_ONCE):
            some = rest_states[start : start + CASES_AT_ONCE]
            chances = self._with_rest(some, rest, home, place.reshape(-1), len(own))
            by_name = {v: np.repeat(some[:, n], len(own)) for n, v in enumerate(rest)}
            by_name |= {v: np.tile(own[:, n], len(some)) for n, v in enumerate(inside)}
            yield [by_name[v] for v in variables], chances.reshape(-1)

    def _with_rest(self, some: Ints, rest: tuple[str, ...], home: int, place: Ints, n_places: int) -> Floats:
        """P(these states of the rest, states inside | evidence): ``(n_cases, n_places)``."""
        if not rest:
            propagated, chance = self.propagated, np.ones(1)
        else:
            fixed = [Evidence((v,), np.eye(self.unrolled.space.sizes[v]), some[:, n]) for n, v in enumerate(rest)]
            same = [Evidence(e.scope, e.tables, np.zeros(len(some), dtype=np.intp)) for e in self.evidence]
            propagated = propagate(self.plan, [*same, *fixed], len(some))
            chance = np.exp(propagated.log_evidence - self.log_evidence)
        return summed(propagated.beliefs[home], place, n_places) * chance[:, None]


def _coded(model: FactorModel, nodes: Sequence[str], at: Mapping[str, Ints], n: int) -> Iterator[tuple[Ints, Floats]]:
    """For every joint outcome of the leaves among the nodes: entries of the nodes' table, and the outcome's chances.

    at: the states of the hidden nodes behind them, ``(n,)`` each, or a single one where all are the same.
    """
    leaves = [node for node in nodes if node in model.leaves]
    rows = {}
    for leaf in dict.fromkeys(leaves):
        known = model.network[leaf]
        configuration: Ints = np.zeros((), dtype=np.intp)
        for parent, size in zip(known.parents, known.cpt.parent_sizes, strict=True):
            configuration = configuration * size + at[parent]
        rows[leaf] = known.cpt.rows[known.cpt.row_of.reshape(-1)[configuration]]
    for outcome in np.ndindex(*(len(model.network[leaf].states) for leaf in leaves)):
        seen = dict(zip(leaves, outcome, strict=True))
        code: Ints = np.zeros(n, dtype=np.intp)
        weight: Floats = np.ones(n)
        for node in nodes:
            code = code * len(model.network[node].states) + (seen[node] if node in seen else at[node])
        for leaf, state in seen.items():
            weight = weight * rows[leaf][..., state]
        yield code, weight


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
