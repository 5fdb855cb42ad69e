"""From the parts of a model to the nodes of its network."""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from faultnet.cpt import Floats, Ints, Rule, Table
from faultnet.model.model import Model
from faultnet.model.nodes import SET_WORKS, Component, ModeId, Observation, When
from faultnet.network import Network, Node
from faultnet.noisy import NoisyMax, without_leak

Odds = Mapping[ModeId, float]


def build_network(model: Model, odds: Odds) -> Network:
    """The network of a model whose failure modes have these prior odds against "ok"."""
    nodes = [component_node(model, component, odds) for component in model.components.values()]
    for condition in model.conditions.values():
        nodes.append(Node(condition.id, condition.states, (), Table(np.array([condition.shares]), np.array(0))))
    for rail in model.rails.values():
        state_of = first_match(rail.given, _names(model, rail.given), [clause.when for clause in rail.rule])
        chosen = np.array([rail.states.index(clause.state) for clause in rail.rule])[state_of]
        nodes.append(Node(rail.id, rail.states, rail.given, Rule(chosen, len(rail.states))))
    for seen in model.observations.values():
        rows = np.array([row.probabilities for row in seen.written])
        nodes.append(Node(seen.id, seen.states, seen.given, observation_cpt(model, seen, rows)))
    nodes.append(_set_works(model))
    return Network.of(nodes)


def observation_cpt(model: Model, seen: Observation, written: Floats) -> Table | NoisyMax:
    """The CPT of an observation with these numbers in the place of its written rows: ``(n_written, n_states)``."""
    if seen.noisy is None:
        row_of = first_match(seen.given, _names(model, seen.given), [row.when for row in seen.table])
        return Table(written, row_of)
    order = [seen.states.index(state) for state in seen.noisy.order]
    leak, own = written[0], written[1:]
    if seen.noisy.with_leak:  # those of a file were checked; drawn ones may lie below the leak
        own = without_leak(own, leak, order, lift=True)
    nothing = np.eye(len(seen.states))[order[0]]
    tables = {cause: np.tile(nothing, (len(model.states_of(cause)), 1)) for cause in seen.given}
    for effect, row in zip(seen.noisy.effects, own, strict=True):
        tables[effect.cause][[model.states_of(effect.cause).index(state) for state in effect.states]] = row
    return NoisyMax(tuple(tables.values()), leak, tuple(order))


def component_node(model: Model, component: Component, odds: Odds) -> Node:
    """A component's node: a root but for conditions with odds factors and for collateral links into it."""
    conditions = [
        c for c in model.conditions.values() if any(m.component == component.id for f in c.odds.values() for m in f)
    ]
    links = [link for link in model.collateral if link.effect.component == component.id]
    causes = list(dict.fromkeys(link.cause.component for link in links))
    parents = (*(c.id for c in conditions), *causes)
    sizes = [len(model.states_of(parent)) for parent in parents]
    table = np.empty((*sizes, len(component.states)))
    for configuration in np.ndindex(*sizes):
        states = {parent: model.states_of(parent)[i] for parent, i in zip(parents, configuration, strict=True)}
        weights = [1.0]
        for mode in component.states[1:]:
            mode_id = ModeId(component.id, mode)
            factors = (c.odds.get(states[c.id], {}).get(mode_id, 1.0) for c in conditions)
            weights.append(odds[mode_id] * float(np.prod(list(factors))))
        row = np.array(weights) / sum(weights)
        for link in links:
            if states[link.cause.component] == link.cause.mode:
                taken = np.eye(len(row))[component.states.index(link.effect.mode)]
                row = (1 - link.chance) * row + link.chance * taken
        table[configuration] = row
    return Node(component.id, component.states, parents, Table.full(table))


def first_match(given: Sequence[str], names: Sequence[tuple[str, ...]], whens: Sequence[When]) -> Ints:
    """For every combination of states the number of the first `when` that fits, or -1: ``(*sizes,)``.

    names: the states of each given node, in the same order.
    """
    match = np.full([len(states) for states in names], -1, dtype=np.intp)
    for number in reversed(range(len(whens))):
        chosen = [_chosen(states, whens[number].get(node)) for node, states in zip(given, names, strict=True)]
        match[np.ix_(*chosen) if chosen else ()] = number
    return match


def _names(model: Model, given: Sequence[str]) -> list[tuple[str, ...]]:
    return [model.states_of(node) for node in given]


def _chosen(names: tuple[str, ...], wanted: Iterable[str] | None) -> list[int]:
    return list(range(len(names))) if wanted is None else [names.index(state) for state in wanted]


def _set_works(model: Model) -> Node:
    components = tuple(model.components)
    broken = np.ones([len(model.components[c].states) for c in components], dtype=np.intp)
    broken[(0,) * broken.ndim] = 0
    return Node(SET_WORKS, ("yes", "no"), components, Rule(broken, 2))
