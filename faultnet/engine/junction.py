"""Exact inference by a junction tree, one case or a batch of them.

Leaves that nobody looked at are never part of the tree; what was seen of a leaf is a factor over its parents. The same
questions as to the table of joint states, for networks where that table would be too large.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import chain, groupby
from math import prod

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.evidence import Change, Likelihood, Step
from faultnet.engine.factors import FactorModel, Unrolled, unroll
from faultnet.engine.information import entropy_bits, mutual_information_bits
from faultnet.engine.joint import Grouping
from faultnet.engine.plan import MOST_CLIQUE_STATES, Plan, Sums, make_plan
from faultnet.engine.propagate import Evidence, Propagated, entered, propagate
from faultnet.engine.space import Space, numbered
from faultnet.errors import ContradictoryEvidence
from faultnet.network import Network
from faultnet.noisy import NoisyMax

MOST_JOINT_ENTRIES = 2**20
"""Entries of a joint distribution that is asked for; a gain about more joint states than this is taken locally."""

MOST_STATES_LISTED = 2**24
"""Possible joint states of the hidden nodes behind what is asked."""

MOST_STATES_KEPT = 2**12
"""Joint states of some hidden nodes up to which their probabilities are kept for the next question."""

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

    def beliefs(self, ways: Iterable[Sequence[Step]]) -> Iterator["JunctionBelief"]:
        """The belief after each of several sequences of steps."""
        return map(self.belief, ways)

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
    _kept: dict[tuple[str, ...], tuple[list[Ints], Floats]] = field(default_factory=dict)

    @cached_property
    def with_evidence(self) -> Plan:
        """The plan with what was seen multiplied in."""
        seen = [Evidence(f.scope, f.table.reshape(1, -1), np.zeros(1, dtype=np.intp)) for f in self.unrolled.seen]
        return replace(self.plan, base=tuple(table[0] for table in entered(self.plan, seen, 1)))

    @cached_property
    def propagated(self) -> Propagated:
        return propagate(self.with_evidence, (), 1)

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
        return self.joints([nodes])[0]

    def joints(self, asked: Sequence[Sequence[str]]) -> list[Floats]:
        """P(states of the nodes | evidence) for each list of nodes, all from one batch of propagations."""
        model, now, space = self.engine.model, self.unrolled.now, self.unrolled.space
        totals, behind, roots = [], [], []
        for nodes in asked:
            n_entries = prod(len(model.network[node].states) for node in nodes)
            if n_entries > MOST_JOINT_ENTRIES:
                raise ValueError(f"the joint distribution of {', '.join(nodes)} is too large")
            totals.append(np.zeros(n_entries))
            hidden = chain(*((n,) if n in model.hidden else model.network[n].parents for n in nodes))
            behind.append(tuple(dict.fromkeys(hidden)))
            variables = tuple(now[v] for v in behind[-1])
            roots.append(variables if self.plan.home(variables) is not None else tuple(space.roots(variables)))
        for number, states, chances in self._possible(roots):
            known = dict(zip(roots[number], states, strict=True))
            at = {node: space.state(now[node], known) for node in behind[number]}
            totals[number] += _tabulated(model, asked[number], at, chances)
        sizes = ([len(model.network[node].states) for node in nodes] for nodes in asked)
        return [total.reshape(own) for total, own in zip(totals, sizes, strict=True)]

    def outcomes(self, leaves: Sequence[str]) -> Floats:
        """P(joint outcome of the leaves, joint state of the targets | evidence): ``(n_outcomes, n_joint)``."""
        key = tuple(leaves)
        if key not in self._outcomes:
            n_outcomes = prod(len(self.engine.network[leaf].states) for leaf in leaves)
            self._outcomes[key] = self.joint((*leaves, *self.engine.targets)).reshape(n_outcomes, -1)
        return self._outcomes[key]

    def joint_by_label(self, nodes: Sequence[str], label: Ints) -> Floats:
        """P(states of any nodes, label of the joint state of the targets | evidence): ``(*sizes of nodes, n_labels)``.

        label: of every joint state, ``(n_joint,)``.
        """
        table = self.joint((*nodes, *self.engine.targets))
        by_label = Sums.of(label, int(label.max()) + 1)(table.reshape(-1, len(label)))
        return by_label.reshape(*table.shape[: len(nodes)], -1)

    @property
    def gains_are_local(self) -> bool:
        """Whether a gain is about a leaf's hidden parents, because the joint state of all targets is too large."""
        return prod(self.engine.model.sizes[t] for t in self.engine.targets) > MOST_JOINT_ENTRIES // 64

    def gain_bits(self, leaves: Sequence[str], about: Grouping | None = None) -> float:
        """I(joint outcome of the leaves ; group | evidence), by default about the joint state of all targets.

        Where that is too large (`gains_are_local`) it is about the hidden parents of the leaves, grouped likewise.
        """
        return self.gains_bits([leaves], about)[0]

    def gains_bits(self, tests: Sequence[Sequence[str]], about: Grouping | None = None) -> list[float]:
        """The gain of each test by itself, a test being the leaves it reveals."""
        model = self.engine.model
        if about is not None and (named := [node for node in about if node in model.leaves]):
            raise ValueError(f"a gain is about hidden nodes; {', '.join(named)} is only ever observed")
        nodes = tuple(about) if about is not None else self.engine.targets
        parents = [dict.fromkeys(chain(*(model.network[leaf].parents for leaf in leaves))) for leaves in tests]
        is_leaf = all(leaf in model.leaves for leaves in tests for leaf in leaves)
        if self.gains_are_local or (is_leaf and all(_says_all(own, nodes, about) for own in parents)):
            local = [tuple(v for v in own if about is None or v in about) for own in parents]
            tables = self.joints([(*leaves, *own) for leaves, own in zip(tests, local, strict=True)])
            return [_gain(t, len(leaves), own, about) for t, leaves, own in zip(tables, tests, local, strict=True)]
        if set(nodes) <= set(self.engine.targets):
            tables = [self._about_targets(leaves, nodes) for leaves in tests]
        else:
            tables = self.joints([(*leaves, *nodes) for leaves in tests])
        return [_gain(table, len(leaves), nodes, about) for table, leaves in zip(tables, tests, strict=True)]

    # -- inside --------------------------------------------------------------------------------------------------

    def _about_targets(self, leaves: Sequence[str], nodes: Sequence[str]) -> Floats:
        """P(outcome of each leaf, states of some targets | evidence), from what is kept of all targets."""
        targets, sizes = self.engine.targets, self.engine.model.sizes
        shape = [len(self.engine.network[leaf].states) for leaf in leaves]
        whole = self.outcomes(leaves).reshape(*shape, *(sizes[v] for v in targets))
        others = tuple(len(shape) + n for n, v in enumerate(targets) if v not in nodes)
        table = whole.sum(axis=others) if others else whole
        left = [v for v in targets if v in nodes]
        return table.transpose(*range(len(shape)), *(len(shape) + left.index(v) for v in nodes))

    def _possible(self, asked: Sequence[tuple[str, ...]]) -> Iterator[tuple[int, list[Ints], Floats]]:
        """Possible joint states of each of several sets of variables, and their probabilities, in parts.

        Gives the number of the set, a state array for each of its variables, and the probabilities, ``(n,)`` all. What
        evidence leaves independent is looked up apart and multiplied, where the product is not too long to keep.
        """
        split = {n: self._pieces(v) for n, v in enumerate(asked) if self.unrolled.space.entries(v) <= MOST_STATES_KEPT}
        wanted = list(dict.fromkeys(piece for pieces in split.values() for piece in pieces if piece not in self._kept))
        found: dict[int, list[tuple[list[Ints], Floats]]] = {}
        for number, states, chances in self._from_cliques(wanted):
            found.setdefault(number, []).append((states, chances))
        for number, parts in found.items():
            states = [np.concatenate(of_one) for of_one in zip(*(states for states, _ in parts), strict=True)]
            self._kept[wanted[number]] = states, np.concatenate([chances for _, chances in parts])
        for number, pieces in split.items():
            states, chances = _multiplied([self._kept[piece] for piece in pieces])
            order = [variable for piece in pieces for variable in piece]
            yield number, [states[order.index(variable)] for variable in asked[number]], chances
        whole = [number for number in range(len(asked)) if number not in split]
        for number, states, chances in self._from_cliques([asked[number] for number in whole]):
            yield whole[number], states, chances

    def _pieces(self, variables: tuple[str, ...]) -> list[tuple[str, ...]]:
        """The variables, those of one tree together."""
        by_tree: dict[int, list[str]] = {}
        for variable in sorted(variables):
            by_tree.setdefault(self.plan.part_of[variable], []).append(variable)
        return [tuple(piece) for piece in by_tree.values()]

    def _from_cliques(self, asked: Sequence[tuple[str, ...]]) -> Iterator[tuple[int, list[Ints], Floats]]:
        """Possible joint states of sets of variables, in parts as `_possible` gives them, from clique beliefs.

        Each from the clique that holds most of them, once for each state of the rest, all rests in one batch.
        """
        views = [_View.of(self.unrolled.space, self.plan, variables) for variables in asked]
        cases = [(number, row) for number, view in enumerate(views) for row in range(len(view.rest_states))]
        variables = sorted({variable for view in views for variable in view.rest})
        for start in range(0, len(cases), CASES_AT_ONCE):
            some = cases[start : start + CASES_AT_ONCE]
            if variables:
                fixed = {variable: np.full(len(some), -1, dtype=np.intp) for variable in variables}
                for case, (number, row) in enumerate(some):
                    for variable, state in zip(views[number].rest, views[number].rest_states[row], strict=True):
                        fixed[variable][case] = state
                propagated, chance = self._fixed(fixed, len(some))
            else:
                propagated, chance = self.propagated, np.ones(len(some))
            first = 0
            for number, group in groupby(some, key=lambda case: case[0]):
                rows, view = [row for _, row in group], views[number]
                part = slice(first, first + len(rows)) if variables else slice(0, 1)
                chances = view.sums(propagated.beliefs[view.home][part]) * chance[first : first + len(rows), None]
                yield number, view.states(rows), chances.reshape(-1)
                first += len(rows)

    def _fixed(self, fixed: Mapping[str, Ints], n_cases: int) -> tuple[Propagated, Floats]:
        """What is believed where some variables are fixed (-1: not), and the chance of it: ``(n_cases,)``."""
        sizes = self.unrolled.space.sizes
        known = [Evidence((variable,), np.eye(sizes[variable]), kinds) for variable, kinds in fixed.items()]
        propagated = propagate(self.with_evidence, known, n_cases)
        return propagated, np.exp(propagated.log_evidence - self.log_evidence)


@dataclass(frozen=True, eq=False)
class _View:
    """Variables seen from the clique that holds most of them: what lies inside it, and the states of the rest."""

    variables: tuple[str, ...]
    home: int
    inside: tuple[str, ...]
    rest: tuple[str, ...]
    own: Ints
    sums: Sums
    rest_states: Ints

    @classmethod
    def of(cls, space: Space, plan: Plan, variables: tuple[str, ...]) -> "_View":
        cliques = plan.tree.cliques
        home = plan.home(variables)
        if home is None:
            touching = [k for k, clique in enumerate(cliques) if not set(clique).isdisjoint(variables)]
            home = max(touching, key=lambda k: (space.count(v for v in variables if v in cliques[k]), -k))
        inside = tuple(v for v in variables if v in cliques[home])
        rest = tuple(v for v in variables if v not in inside)
        present, place = numbered(plan.index(home, inside), space.entries(inside))
        sizes = [space.sizes[v] for v in inside]
        own = np.stack(np.unravel_index(present, sizes), axis=1) if inside else np.zeros((1, 0), dtype=np.intp)
        rest_states = space.states(rest) if rest else np.zeros((1, 0), dtype=np.intp)
        if len(rest_states) * len(own) > MOST_STATES_LISTED:
            raise ValueError(f"the joint distribution of {', '.join(variables)} has too many states")
        return cls(variables, home, inside, rest, own, Sums.of(place, len(own)), rest_states)

    def states(self, rows: Sequence[int]) -> list[Ints]:
        """The states of each variable, for some rows of the rest, every state inside for each: ``(n,)``."""
        by_name = {v: np.repeat(self.rest_states[rows, n], len(self.own)) for n, v in enumerate(self.rest)}
        by_name |= {v: np.tile(self.own[:, n], len(rows)) for n, v in enumerate(self.inside)}
        return [by_name[v] for v in self.variables]


def _multiplied(parts: Sequence[tuple[list[Ints], Floats]]) -> tuple[list[Ints], Floats]:
    """States and chances of independent sets of variables taken together, the last fastest."""
    states: list[Ints] = []
    chances = np.ones(1)
    for own, own_chances in parts:
        n, n_own = len(chances), len(own_chances)
        states = [np.repeat(each, n_own) for each in states] + [np.tile(each, n) for each in own]
        chances = np.outer(chances, own_chances).reshape(-1)
    return states, chances


def _tabulated(model: FactorModel, nodes: Sequence[str], at: Mapping[str, Ints], chances: Floats) -> Floats:
    """P(states of the nodes), flat, from the chances of joint states of the hidden nodes behind them.

    at: the states of those hidden nodes, ``(n,)`` as the chances, or a single one where all are the same.
    """
    sizes = [len(model.network[node].states) for node in nodes]
    code, weight = np.zeros((1, len(chances)), dtype=np.intp), chances[None]
    for node, size in zip(nodes, sizes, strict=True):
        if node in model.leaves:  # every outcome so far goes on into each state of the leaf
            rows = model.network[node].cpt.chances([at[parent] for parent in model.network[node].parents])
            weight = (weight[:, None] * np.moveaxis(rows, -1, 0).reshape(size, -1)).reshape(-1, len(chances))
            code = (code[:, None] * size + np.arange(size)[:, None]).reshape(-1, len(chances))
        else:
            code = code * size + at[node]
    total: Floats = np.bincount(code.reshape(-1), weight.reshape(-1), prod(sizes)).astype(float, copy=False)
    return total


def _says_all(parents: Iterable[str], nodes: Sequence[str], about: Grouping | None) -> bool:
    """Whether a test tells about these nodes just what it tells about its parents: all are there, each state apart."""
    return all(v in nodes and (about is None or len(set(about[v])) == len(about[v])) for v in parents)


def _gain(table: Floats, n_leaves: int, nodes: Sequence[str], about: Grouping | None) -> float:
    """The information in bits between the first axes of a joint distribution and the groups of the others."""
    for axis, node in enumerate(nodes, start=n_leaves):
        if about is not None:
            table = _grouped(table, axis, about[node])
    return mutual_information_bits(table.reshape(prod(table.shape[:n_leaves]), -1))


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
