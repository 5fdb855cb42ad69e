"""Where a set stands, as rows: what the answer is about, each with its chance and interval."""

from collections.abc import Iterator
from dataclasses import dataclass

from faultnet.diagnosis import Diagnosis
from faultnet.diagnosis.result import ConditionState, Fault
from faultnet.model import Model
from faultnet.pictures.contents import interval
from faultnet.pictures.marks import Between

MODES_FROM = 0.03
"""How likely a failure mode must be to have a row of its own below its component."""


@dataclass(frozen=True)
class Row:
    """A chance with its words. id: what it is of; is_part: a failure mode of the component above.

    heading: of the rows that belong together, where there are several kinds."""

    id: str
    name: str
    chance: float
    between: Between
    is_part: bool = False
    heading: str = ""


def standing(model: Model, diagnosis: Diagnosis) -> Iterator[Row]:
    """States of what the model asks, then components, the likeliest first, each with its likely failure modes.

    Of a model of a single component, which is always the one, its modes stand for it.
    """
    for condition in model.asked:
        states = [c for c in diagnosis.conditions if c.condition == condition]
        yield from (_state(model, c) for c in sorted(states, key=lambda c: -c.probability))
    for component in sorted(model.components, key=lambda c: -diagnosis.faulty(c)):
        modes = sorted(diagnosis.of(component)[1:], key=lambda f: -f.probability)
        if len(model.components) == 1:
            yield from (_mode(model, fault, is_part=False) for fault in modes)
            continue
        label, chance = model.components[component].label, diagnosis.faulty(component)
        yield Row(component, label, chance, diagnosis.faulty_between(component))
        if len(modes) > 1:
            yield from (_mode(model, f, is_part=True) for f in modes if f.probability >= MODES_FROM)


def _state(model: Model, state: ConditionState) -> Row:
    condition = model.conditions[state.condition]
    words, between = condition.words(state.state), (state.low, state.high)
    return Row(f"{condition.id}.{state.state}", words, state.probability, between, heading=condition.label)


def _mode(model: Model, fault: Fault, *, is_part: bool) -> Row:
    component = model.components[fault.component]
    labels = {mode.id: mode.label for mode in component.modes}
    id_ = f"{fault.component}.{fault.mode}"
    heading = component.label if model.asked and not is_part else ""
    between = interval(fault.low, fault.high)
    return Row(id_, labels[fault.mode], fault.probability, between, is_part, heading)
