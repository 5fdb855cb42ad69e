"""What the `network` section of a model file must fulfil: tables that are whole, no cycles, not too many components."""

from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from math import prod

from faultnet.cpt import ROW_SUM_TOLERANCE
from faultnet.engine.junction import MOST_JOINT_ENTRIES, MOST_TARGET_STATES
from faultnet.schema.parts import Finding, Parts, Path, repeated, unknown

MOST_NAMED = 12


def check_network(parts: Parts) -> Iterator[Finding]:
    """Everything wrong with the nodes of an imported network."""
    for id_, node in parts.network.items():
        path: Path = ("network", id_)
        yield from repeated((*path, "states"), node.states)
        yield from repeated((*path, "given"), node.given)
        for state in node.labels:
            if state not in node.states:
                yield (*path, "labels", state), unknown("state", state, node.states)
        for number, parent in enumerate(node.given):
            if parent not in parts.named("network"):
                yield (*path, "given", number), unknown("node", parent, parts.named("network"))
        if node.kind == "component" and len(node.states) < 2:
            yield (*path, "states"), "a component needs two states, the first of them healthy"
        yield from _rows(parts, id_, path)
    try:
        TopologicalSorter({id_: node.given for id_, node in parts.network.items()}).prepare()
    except CycleError as error:
        yield ("network", error.args[1][0], "given"), f"a cycle of nodes: {' -> '.join(error.args[1])}"
    if len(parts.network) == len(parts.named("network")):
        yield from _size(parts)


def _rows(parts: Parts, id_: str, path: Path) -> Iterator[Finding]:
    node = parts.network[id_]
    sizes = [len(states) for states in map(parts.states, node.given) if states is not None]
    if len(sizes) == len(node.given) and len(node.table) != prod(sizes):
        yield (*path, "table"), f"{len(node.table)} rows for {prod(sizes)} combinations of `given`"
    for number, row in enumerate(node.table):
        if len(row) != len(node.states):
            yield (*path, "table", number), f"{len(row)} probabilities for {len(node.states)} states"
        elif abs(sum(row) - 1) > ROW_SUM_TOLERANCE:
            yield (*path, "table", number), f"the probabilities add to {sum(row):.10g}, not 1"


def _size(parts: Parts) -> Iterator[Finding]:
    components = parts.of_kind("component")
    if not components:
        yield ("network",), "no node is a component; mark what can be at fault with `kind: component`"
        return
    if problem := too_many_states({id_: len(parts.network[id_].states) for id_ in components}):
        yield ("network",), problem
        return
    joint = prod(len(parts.network[id_].states) for id_ in components)
    for id_, test in parts.tests.items():
        known = [parts.states(leaf) for leaf in test.reveals or [id_]]
        outcomes = prod(len(states) for states in known if states is not None)
        if outcomes * joint > MOST_JOINT_ENTRIES:
            message = f"{outcomes} outcomes x {joint} states of all components; at most {MOST_JOINT_ENTRIES} in all"
            yield ("tests", id_), message


def too_many_states(sizes: dict[str, int]) -> str:
    """Why these components, with so many states each, are too many for one table of joint states; "" where they fit."""
    joint = prod(sizes.values())
    if joint <= MOST_TARGET_STATES:
        return ""
    listed = [f"{id_} ({n})" for id_, n in sizes.items()]
    return (
        f"the {len(sizes)} components have {joint:,} joint states; at most {MOST_TARGET_STATES:,} fit. Mark fewer of "
        f"these as components, the others as rails: {', '.join(listed[:MOST_NAMED])}"
        f"{', ...' * (len(listed) > MOST_NAMED)}"
    )
