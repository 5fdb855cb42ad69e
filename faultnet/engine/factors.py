"""A network and what was seen on it as factors: tables over few variables whose product is the joint distribution."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import prod

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.evidence import Change, Likelihood, Step
from faultnet.engine.space import Rules, Space
from faultnet.network import Network, Node
from faultnet.noisy import NoisyMax

MOST_COLUMN_ENTRIES = 2**22


@dataclass(frozen=True, eq=False)
class Factor:
    """A table over variables: ``(*sizes of scope,)``."""

    scope: tuple[str, ...]
    table: Floats


@dataclass(frozen=True, eq=False)
class FactorModel:
    """How a network turns into factors: hidden nodes are variables, leaves count only by what was seen of them."""

    network: Network
    targets: tuple[str, ...]

    @cached_property
    def hidden(self) -> tuple[str, ...]:
        """Nodes with children, and the targets, in the network's order."""
        return tuple(n.id for n in self.network if n.id in self.network.with_children or n.id in self.targets)

    @cached_property
    def leaves(self) -> tuple[str, ...]:
        return tuple(n.id for n in self.network if n.id not in self.hidden)

    @cached_property
    def sizes(self) -> dict[str, int]:
        return {node: len(self.network[node].states) for node in self.hidden}

    @cached_property
    def rules(self) -> dict[str, Rules]:
        """Hidden nodes that follow from their parents."""
        known = [self.network[node] for node in self.hidden]
        return {n.id: Rules(n.parents, n.cpt.row_of) for n in known if n.is_rule}

    @cached_property
    def space(self) -> Space:
        """The hidden nodes and the rules among them."""
        return Space(self.sizes, self.rules)

    @cached_property
    def families(self) -> tuple[Factor, ...]:
        """P(node | parents) of every hidden node."""
        return tuple(family(self.network[node]) for node in self.hidden)

    def chances(self, node: str) -> Floats:
        """P(state | row of the node's CPT) of a leaf; certain for a hidden node: ``(n_rows, n_states)``."""
        return self.network[node].cpt.rows if node in self.leaves else np.eye(self.sizes[node])


def family(node: Node, name: str | None = None, parents: Sequence[str] | None = None) -> Factor:
    """P(node | parents) as a factor, under other names where a copy is meant."""
    scope = (*(node.parents if parents is None else parents), node.id if name is None else name)
    return Factor(scope, node.cpt.expand())


@dataclass(frozen=True, eq=False)
class Unrolled:
    """A network with the changes made to it as further variables.

    space: every variable with its size, and the rules among them; families: their factors; seen: what was seen, one
    factor for each scope; now: for every hidden node the variable that stands for it after the last change.
    """

    space: Space
    families: tuple[Factor, ...]
    seen: tuple[Factor, ...]
    now: Mapping[str, str]


def unroll(model: FactorModel, steps: Iterable[Step]) -> Unrolled:
    """The factors of a network and of the steps taken on it.

    A change makes a new variable for its target and for every rule that follows from it; targets and random nodes that
    hang on the changed one keep their state, as parts of a set do.
    """
    sizes, rules, families = dict(model.sizes), dict(model.rules), list(model.families)
    seen: list[Factor] = []
    now = {node: node for node in model.hidden}
    changes = 0
    for number, step in enumerate(steps):
        if isinstance(step, Likelihood):
            factors = seen_factors(model, step, now, f"{'+'.join(step.nodes)}#{number}")
            seen.extend(factors)
            sizes.update({v: n for f in factors for v, n in zip(f.scope, f.table.shape, strict=True)})
            continue
        changes += 1
        for node in _moved_by(model, step):
            copy = f"{node}@{changes}"
            sizes[copy] = model.sizes[node]
            if node == step.node:
                families.append(Factor((now[node], copy), step.matrix))
            else:
                known = model.network[node]
                parents = tuple(now[p] for p in known.parents)
                families.append(family(known, copy, parents))
                rules[copy] = Rules(parents, known.cpt.row_of)
            now[node] = copy
    space = Space(sizes, rules) if len(sizes) > len(model.sizes) else model.space
    return Unrolled(space, tuple(families), tuple(_gathered(seen)), now)


def _gathered(factors: Iterable[Factor]) -> list[Factor]:
    """The same product with one factor for each scope."""
    by_scope: dict[tuple[str, ...], Floats] = {}
    for factor in factors:
        known = by_scope.get(factor.scope)
        by_scope[factor.scope] = factor.table if known is None else known * factor.table
    return [Factor(scope, table) for scope, table in by_scope.items()]


def _moved_by(model: FactorModel, change: Change) -> list[str]:
    """The changed target and the rules that follow from it, parents first."""
    if change.node not in model.targets:
        raise ValueError(f"only a target can be changed, and {change.node} is none")
    moved = [change.node]
    for node in model.hidden:
        known = model.network[node]
        if known.is_rule and node not in model.targets and set(known.parents) & set(moved):
            moved.append(node)
    return moved


def seen_factors(model: FactorModel, seen: Likelihood, now: Mapping[str, str], name: str) -> list[Factor]:
    """P(what was seen | variables) as factors, over the parents of leaves and the hidden nodes it speaks of.

    What was seen of a noisy-MAX leaf keeps its causes apart, joined at most by a variable of its own, called `name`.
    """
    sizes = tuple(len(model.network[node].states) for node in seen.nodes)
    if seen.table.shape != sizes:
        raise ValueError(f"the likelihood of {seen.nodes} needs shape {sizes}, not {seen.table.shape}")
    if len(seen.nodes) == 1 and seen.nodes[0] in model.leaves:
        leaf = model.network[seen.nodes[0]]
        follows = any(model.network[cause].is_rule for cause in leaf.parents)
        if isinstance(leaf.cpt, NoisyMax) and leaf.parents and (seen.showing == 1 or not follows):
            rests = [cause in model.targets for cause in leaf.parents]
            return noisy_factors(leaf.cpt, seen, [now[cause] for cause in leaf.parents], rests, name)
    return [_column(model, seen, now)]


def noisy_factors(
    cpt: NoisyMax, seen: Likelihood, causes: Sequence[str], rests: Sequence[bool], name: str
) -> list[Factor]:
    """P(seen | causes) as one factor for each cause, and one more variable where more than one term is needed.

    The terms' weights may be negative; their sum over the variable is a probability. rests: which causes are in their
    first state while the symptom does not show.
    """
    weights, tables = cpt.weights(seen.table), list(cpt.cumulative)
    if seen.showing < 1:
        weights = np.concatenate([seen.showing * weights, (1 - seen.showing) * weights])
        first = [np.broadcast_to(t[:1], t.shape) if rest else t for t, rest in zip(tables, rests, strict=True)]
        tables = [np.concatenate(both, axis=1) for both in zip(tables, first, strict=True)]
    terms = np.flatnonzero(weights)
    if len(terms) <= 1:
        term = int(terms[0]) if len(terms) else 0
        tables = [table[:, term] for table in tables]
        return [Factor((causes[0],), weights[term] * tables[0])] + [
            Factor((cause,), table) for cause, table in zip(causes[1:], tables[1:], strict=True)
        ]
    factors = [Factor((name,), weights[terms])]
    factors += [Factor((cause, name), table[:, terms]) for cause, table in zip(causes, tables, strict=True)]
    return factors


def _column(model: FactorModel, seen: Likelihood, now: Mapping[str, str]) -> Factor:
    table = seen.table
    for axis, node in enumerate(seen.nodes):
        table = np.moveaxis(np.tensordot(model.chances(node), table, axes=(1, axis)), 0, axis)
    showing, rest = _scope(model, seen.nodes), _sides_at_rest(model, seen.nodes) if seen.showing < 1 else ()
    scope = tuple(dict.fromkeys((*(showing if seen.showing > 0 else ()), *rest)))
    if prod(model.sizes[v] for v in scope) > MOST_COLUMN_ENTRIES:
        raise ValueError(f"what was seen of {', '.join(seen.nodes)} hangs on too many hidden nodes: {', '.join(scope)}")
    grid = _grid(model, scope)
    column: Floats = np.zeros([model.sizes[v] for v in scope])
    if seen.showing > 0:
        column = column + seen.showing * _look_up(model, seen.nodes, table, grid)
    if seen.showing < 1:
        column = column + (1 - seen.showing) * _look_up(model, seen.nodes, table, _at_rest(model, grid))
    return Factor(tuple(now[v] for v in scope), column)


def _scope(model: FactorModel, nodes: Sequence[str]) -> tuple[str, ...]:
    scope: dict[str, None] = {}
    for node in nodes:
        scope.update(dict.fromkeys(model.network[node].parents if node in model.leaves else (node,)))
    return tuple(scope)


def _grid(model: FactorModel, scope: Sequence[str]) -> dict[str, Ints]:
    """The state numbers of each variable over the scope's table, ready to broadcast."""
    grids = np.ix_(*(np.arange(model.sizes[v]) for v in scope)) if scope else ()
    return dict(zip(scope, grids, strict=True))


def _look_up(model: FactorModel, nodes: Sequence[str], table: Floats, states: Mapping[str, Ints]) -> Floats:
    index: Ints = np.zeros((), dtype=np.intp)
    for node, size in zip(nodes, table.shape, strict=True):
        index = index * size + (_row(model, node, states) if node in model.leaves else states[node])
    column: Floats = table.reshape(-1)[index]
    return column


def _row(model: FactorModel, node: str, states: Mapping[str, Ints]) -> Ints:
    known = model.network[node]
    configuration: Ints = np.zeros((), dtype=np.intp)
    for parent, size in zip(known.parents, known.cpt.parent_sizes, strict=True):
        configuration = configuration * size + states[parent]
    row: Ints = known.cpt.row_of.reshape(-1)[configuration]
    return row


def _sides_at_rest(model: FactorModel, nodes: Sequence[str]) -> tuple[str, ...]:
    """Random hidden nodes, no targets, that what is seen still hangs on when every target is in its first state."""
    found: dict[str, None] = {}
    left = list(_scope(model, nodes))
    while left:
        node = left.pop()
        if node in model.targets:
            continue
        if model.network[node].is_rule:
            left.extend(model.network[node].parents)
        else:
            found[node] = None
    return tuple(found)


def _at_rest(model: FactorModel, grid: Mapping[str, Ints]) -> dict[str, Ints]:
    """States of all hidden nodes with every target in its first state, as functions of the sides in the grid."""
    states: dict[str, Ints] = {}
    for node in model.hidden:
        if node in model.targets:
            states[node] = np.zeros((), dtype=np.intp)
        elif model.network[node].is_rule:
            if all(parent in states for parent in model.network[node].parents):
                states[node] = _row(model, node, states)
        elif node in grid:
            states[node] = grid[node]
    return states


def without(space: Space, factors: Sequence[Factor], kept: Iterable[str]) -> tuple[Space, tuple[Factor, ...]]:
    """The same distribution over fewer variables: roots that nobody asks for or looks at are summed out.

    Only variables outside `kept` that no rule hangs on, one after the other, the smallest new table first, as long as
    it has at most `MOST_COLUMN_ENTRIES` entries.
    """
    needed = {*kept, *space.rules, *(parent for rule in space.rules.values() for parent in rule.parents)}
    sizes, left = dict(space.sizes), list(factors)
    spare = {variable for variable in sizes if variable not in needed}

    def scope_without(variable: str) -> tuple[str, ...]:
        joined = dict.fromkeys(v for factor in left if variable in factor.scope for v in factor.scope)
        return tuple(v for v in joined if v != variable)

    def entries(variable: str) -> int:
        return prod(sizes[v] for v in scope_without(variable))

    while spare:
        variable = min(spare, key=lambda v: (entries(v), v))
        if entries(variable) > MOST_COLUMN_ENTRIES:
            break
        scope = scope_without(variable)
        touched = [factor for factor in left if variable in factor.scope]
        left = [factor for factor in left if variable not in factor.scope]
        left.append(Factor(scope, _summed_product(touched, scope)))
        spare.discard(variable)
        del sizes[variable]
    return Space(sizes, space.rules), tuple(left)


def _summed_product(factors: Sequence[Factor], scope: tuple[str, ...]) -> Floats:
    """The product of factors, summed over all variables outside the scope."""
    number = {v: n for n, v in enumerate(dict.fromkeys((*scope, *(v for f in factors for v in f.scope))))}
    operands: list[object] = []
    for factor in factors:
        operands += [factor.table, [number[v] for v in factor.scope]]
    product: Floats = np.einsum(*operands, [number[v] for v in scope], optimize=True)  # type: ignore[call-overload]
    return product
