"""Where things stand: a bar for each component, its interval and its likely modes."""

from collections.abc import Iterator
from dataclasses import dataclass

from faultnet.diagnosis import Diagnosis
from faultnet.model import Model
from faultnet.telling.answer import MODES_FROM, WORTH_SHOWING
from faultnet.words import in_words, percent, percent_range


@dataclass(frozen=True)
class Bar:
    """A line with its bar. chance and ends in per cent, for drawing; ends None where the numbers have no interval.

    detail: likely failure modes, with their chances.
    """

    label: str
    chance: float
    ends: tuple[float, float] | None
    told: str
    span: str
    words: str
    detail: str = ""


@dataclass(frozen=True)
class Standing:
    """All of it. unlikely: components that have no bar; together: groups of parts, in words."""

    heading: str
    bars: tuple[Bar, ...]
    unlikely: str
    together: str
    two_or_more: str
    nothing: str
    has_intervals: bool


def standing_of(model: Model, diagnosis: Diagnosis) -> Standing:
    """Where a set stands; of a model of a single component its modes, of one that asks a condition its states."""
    if model.asked:
        condition = model.asked[0]
        heading = f"Which {model.conditions[condition].label}"
        bars = [
            _bar(model.conditions[condition].words(c.state), c.probability, (c.low, c.high))
            for c in diagnosis.conditions
            if c.condition == condition
        ]
    elif len(model.components) == 1:
        heading, bars = "Where things stand", list(_modes(model, diagnosis))
    else:
        heading, bars = "Where things stand", [_component(model, diagnosis, c) for c in model.components]
    bars.sort(key=lambda bar: -bar.chance)
    shown = tuple(bar for bar in bars if bar.chance >= 100 * MODES_FROM)
    together = [f"{model.groups[g].label} {percent(p)} ({in_words(p)})" for g, p in diagnosis.groups.items()]
    return Standing(
        heading,
        shown,
        ", ".join(bar.label for bar in bars if bar not in shown),
        ", ".join(together),
        percent(diagnosis.two_or_more),
        percent(diagnosis.nothing_found),
        not model.is_imported,
    )


def _component(model: Model, diagnosis: Diagnosis, component: str) -> Bar:
    _, *modes = diagnosis.of(component)
    likely = sorted((f for f in modes if f.probability >= WORTH_SHOWING), key=lambda f: -f.probability)
    named = {m.id: m.label for m in model.components[component].modes}
    chance = diagnosis.faulty(component)
    detail = ", ".join(f"{named[f.mode]} {percent(f.probability)}" for f in likely) if len(modes) > 1 else ""
    return _bar(model.components[component].label, chance, diagnosis.faulty_between(component), detail)


def _modes(model: Model, diagnosis: Diagnosis) -> Iterator[Bar]:
    (component,) = model.components.values()
    labels = {mode.id: mode.label for mode in component.modes}
    for fault in diagnosis.faults:
        if fault.mode in labels:
            ends = None if fault.low is None or fault.high is None else (fault.low, fault.high)
            yield _bar(labels[fault.mode], fault.probability, ends)


def _bar(label: str, chance: float, ends: tuple[float, float] | None, detail: str = "") -> Bar:
    span = "" if ends is None else percent_range(*ends)
    drawn = None if ends is None else (round(100 * ends[0], 1), round(100 * ends[1], 1))
    return Bar(label, round(100 * chance, 1), drawn, percent(chance), span, in_words(chance), detail)
