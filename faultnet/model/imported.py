"""A model around a network that another program made: its tables are used as they are.

Such a model has components, rails and observations like any other, but no shares, rules, complaint or repairs. Any node
may hang on any other, and evidence may be about any of them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from faultnet.cpt import Rule, Table
from faultnet.model.model import Model
from faultnet.model.nodes import Component, Mode, Observation, Rail
from faultnet.network import Network, Node

KINDS = ("component", "rail", "observation")

MARK = "published: the network as imported"
"""Where the numbers of an imported table come from; the file's `about` says which."""


def with_network(model: Model, nodes: Mapping[str, Any]) -> Model:
    """The model with the nodes of a document's `network` section."""
    seen = {id_: _observation(id_, node) for id_, node in nodes.items()}
    kinds = {id_: node["kind"] for id_, node in nodes.items()}
    return replace(
        model,
        components={i: _component(i, node) for i, node in nodes.items() if kinds[i] == "component"},
        rails={i: Rail(i, seen[i].label, seen[i].states, seen[i].given, ()) for i in nodes if kinds[i] == "rail"},
        observations={i: known for i, known in seen.items() if kinds[i] == "observation"},
        also_seen={i: known for i, known in seen.items() if kinds[i] != "observation"},
        tables={id_: tuple(map(tuple, node["table"])) for id_, node in nodes.items()},
    )


def imported_network(model: Model) -> Network:
    """The network of an imported model."""
    return Network.of(_node(model, id_, rows) for id_, rows in (model.tables or {}).items())


def _component(id_: str, node: Mapping[str, Any]) -> Component:
    """The first state is the healthy one."""
    healthy, *others = node["states"]
    modes = tuple(Mode(state, _words(node, state), 0.0, MARK) for state in others)
    return Component(id_, node["label"], id_, (), modes, healthy)


def _observation(id_: str, node: Mapping[str, Any]) -> Observation:
    return Observation(
        id=id_,
        label=node["label"],
        short=id_,
        also=(),
        states=tuple(node["states"]),
        state_labels=dict(node["labels"]),
        given=tuple(node["given"]),
        table=(),
        reading=None,
        repeats_independently=False,
        needs_symptom=False,
    )


def _words(node: Mapping[str, Any], state: str) -> str:
    words: str = node["labels"].get(state, state.replace("_", " "))
    return words


def _node(model: Model, id_: str, rows: Sequence[Sequence[float]]) -> Node:
    """The node with its table; one that follows from its parents with certainty is a rule, which engines do without."""
    known = model.visible[id_]
    table = np.array(rows, dtype=float).reshape(*(len(model.states_of(p)) for p in known.given), len(known.states))
    is_certain = bool(known.given) and bool(np.all((table == 0) | (table == 1)))
    is_rule = is_certain and id_ not in model.components
    return Node(
        id_, known.states, known.given, Rule(table.argmax(axis=-1), len(known.states)) if is_rule else Table.full(table)
    )
