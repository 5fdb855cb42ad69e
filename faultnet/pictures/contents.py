"""What the boxes of a network say of each node."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace

from faultnet.diagnosis import Diagnosis
from faultnet.model import Model
from faultnet.pictures.box import COMPONENT, CONDITION, OBSERVATION, RAIL, Box, Chance
from faultnet.pictures.told import Told

WIDTHS: Mapping[str, float] = {COMPONENT: 130.0, CONDITION: 130.0, RAIL: 146.0, OBSERVATION: 146.0}
_WIDE = 430.0
"""Of a box that lists several states."""


def boxes_of(
    model: Model, nodes: Collection[str], diagnosis: Diagnosis | None, told: Told, quiet: Collection[str], room: float
) -> dict[str, Box]:
    """A box for each node, none wider than there is room. quiet: nodes that do not matter here."""
    boxes = (_box(model, node, diagnosis, told, is_quiet=node in quiet) for node in nodes)
    return {box.id: replace(box, width=min(box.width, room)) for box in boxes}


def _box(model: Model, node: str, diagnosis: Diagnosis | None, told: Told, *, is_quiet: bool) -> Box:
    kind = kind_of(model, node)
    chances = tuple(_chances(model, node, diagnosis)) if diagnosis else ()
    is_list = any(chance.name for chance in chances)
    band = told.seen.get(node) or (f"given: {told.given[node]}" if node in told.given else told.repaired.get(node, ""))
    return Box(
        id=node,
        kind=kind,
        width=_WIDE if is_list else WIDTHS[kind],
        label=label_of(model, node),
        note="" if chances or told.seen.get(node) else _note(model, node),
        band=band,
        chances=chances,
        is_quiet=is_quiet,
    )


def kind_of(model: Model, node: str) -> str:
    """Component, condition, rail or observation."""
    kinds = {COMPONENT: model.components, CONDITION: model.conditions, RAIL: model.rails}
    return next((kind for kind, nodes in kinds.items() if node in nodes), OBSERVATION)


def label_of(model: Model, node: str) -> str:
    """A node's own words."""
    groups = (model.components, model.conditions, model.rails, model.observations)
    return next(str(nodes[node].label) for nodes in groups if node in nodes)


def _note(model: Model, node: str) -> str:
    """What a box adds where no chances stand in it: failure modes, states, or the test and its hazard."""
    if node in model.components:
        return "; ".join(mode.label for mode in model.components[node].modes)
    if node in model.conditions:
        return "; ".join(map(model.conditions[node].words, model.conditions[node].states))
    return test_note(model, node) if node in model.observations else ""


def test_note(model: Model, observation: str) -> str:
    """The test that shows an observation, as it is typed where that is another word, with its hazard."""
    test = model.revealed_by.get(observation)
    if test is None:
        return ""
    hazard = f"hazard\u00a0{test.hazard}"
    return hazard if test.id == label_of(model, observation) else f"[{test.id}] {hazard}"


def _chances(model: Model, node: str, diagnosis: Diagnosis) -> Iterator[Chance]:
    """How likely a component is faulty; of a single one, and of an asked condition, every state."""
    if node in model.components and len(model.components) > 1:
        yield Chance("", diagnosis.faulty(node), diagnosis.faulty_between(node))
    elif node in model.components:
        labels = {mode.id: mode.label for mode in model.components[node].modes}
        for fault in sorted(diagnosis.of(node)[1:], key=lambda f: -f.probability):
            yield Chance(labels[fault.mode], fault.probability, interval(fault.low, fault.high))
    elif node in model.asked:
        states = [c for c in diagnosis.conditions if c.condition == node]
        for state in sorted(states, key=lambda c: -c.probability):
            yield Chance(model.conditions[node].words(state.state), state.probability, (state.low, state.high))


def interval(low: float | None, high: float | None) -> tuple[float, float] | None:
    """Both ends, or None where the numbers have no interval."""
    return None if low is None or high is None else (low, high)
