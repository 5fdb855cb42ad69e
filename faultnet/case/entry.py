"""What people type about a set, as events: `sound=present`, `loaded_voltage=36.8,37.1`, `replace_strips=not`."""

import re
from collections.abc import Iterable, Mapping, Sequence
from difflib import get_close_matches
from math import inf
from typing import TypeVar

from faultnet.case.events import SYMPTOM_SHOWING, Event, Finding, Reading, RepairOutcome, SoftFinding
from faultnet.errors import UsageProblem
from faultnet.model.model import Model
from faultnet.model.neighbours import Refusal
from faultnet.model.nodes import Observation
from faultnet.readings import MOST_VOLTS

_NUMBER = re.compile(r"\d+(\.\d*)?|\.\d+")
_REPEATED = re.compile(r"(?P<volts>[^x]+)x(?P<times>\d{1,2})")
_MOST_POINTS = 32
_HOLDS = ("steady", "max", "settled")
_AGAINST = ("chassis", "hot")
T = TypeVar("T")


def parse_events(model: Model, texts: Iterable[str]) -> tuple[Event, ...]:
    """The events of these texts in order. UsageProblem lists everything that cannot be understood."""
    events: list[Event] = []
    problems: list[str] = []
    for text in texts:
        try:
            events.append(parse_event(model, text))
        except UsageProblem as error:
            problems.extend(error.problems)
    if problems:
        raise UsageProblem(*problems)
    return tuple(events)


def parse_event(model: Model, text: str) -> Event:
    """The event of one text such as `open_voltage=0@settled`. UsageProblem says what is wrong with it."""
    name, equals, rest = text.partition("=")
    if not equals or not rest:
        raise UsageProblem(f"{text}: write NAME=STATE, NAME=VOLTS or REPAIR=works/not")
    value, _, circumstances = rest.partition("@")
    name = name.strip().lower().replace("-", "_")
    observations, repairs = observation_names(model), repair_names(model)
    if name in repairs and name not in observations:
        return _repair(repairs[name], value, circumstances, text)
    if name not in observations:
        conditions = [*model.conditions, *model.refusals]
        known = [*observations, *repairs, *conditions]
        hint = " (a condition: give it with --given)" if name in conditions else nearest(name, known)
        if name in component_names(model):
            hint = " (a part: enter what was seen of it, or a repair with its outcome)"
        raise UsageProblem(f"{text}: unknown observation or repair {name}{hint}")
    seen = model.observations[observations[name]]
    told = _circumstances(circumstances, seen, text)
    if ":" in value:
        return SoftFinding(seen.id, _soft(seen, value, text), told["symptom"], told["by"])
    state = find_state(seen, value)
    if state is not None:
        return Finding(seen.id, state, told["symptom"], told["by"])
    if seen.reading is None or not re.match(r"[\d.?+-]|OL", value):
        raise UsageProblem(
            f"{text}: unknown state {value} of {seen.id}; it has {_listed(seen)}" + nearest(value, seen.states)
        )
    points = _points(value, text)
    return Reading(
        seen.id, points, told["hold"] or seen.reading.default_hold, told["against"], told["symptom"], told["by"]
    )


def written(event: SoftFinding) -> str:
    """A soft finding as it can be typed; the only state it leaves, without its likelihood."""
    if len(event.likelihoods) == 1:
        return f"{event.observation}={event.likelihoods[0][0]}"
    return f"{event.observation}=" + ",".join(f"{state}:{value:g}" for state, value in event.likelihoods)


def observation_names(model: Model) -> dict[str, str]:
    """Every name an observation can be typed under, with its id."""
    names: dict[str, str] = {}
    for seen in model.observations.values():
        names.update(dict.fromkeys((seen.short, *seen.also), seen.id))
    names.update({id_: id_ for id_ in model.observations})
    return names


def component_names(model: Model) -> frozenset[str]:
    """Every name a component goes by."""
    return frozenset(name for c in model.components.values() for name in (c.id, c.short, *c.also))


def repair_names(model: Model) -> dict[str, str]:
    """Every name a repair can be typed under, with its id."""
    names = {name: repair.id for repair in model.repairs.values() for name in repair.also}
    return {**names, **{id_: id_ for id_ in model.repairs}}


def parse_given(model: Model, texts: Iterable[str]) -> dict[str, str]:
    """Conditions and their states from texts such as `age_band=over_10_years`.

    UsageProblem: a slip, or a set that the model does not fit. What only says that it fits is no evidence: left out.
    """
    given: dict[str, str] = {}
    problems: list[str] = []
    for text in texts:
        name, _, state = text.partition("=")
        if name in model.refusals:
            problems.extend(_refused(model, model.refusals[name], state, text))
        elif name not in model.conditions:
            known = [*model.conditions, *model.refusals]
            problems.append(f"{text}: unknown condition {name}" + nearest(name, known))
        elif state not in model.conditions[name].states:
            states = model.conditions[name].states
            problems.append(
                f"{text}: unknown state {state} of {name}; it has {', '.join(states)}" + nearest(state, states)
            )
        else:
            given[name] = state
    if problems:
        raise UsageProblem(*problems)
    return given


def _refused(model: Model, refusal: Refusal, state: str, text: str) -> list[str]:
    """Why the model does not fit a set in which this is so, or that there is no such state; nothing when it fits."""
    if state in refusal.fits:
        return []
    if state in refusal.refused:
        return [f"{text}: {model.id} does not fit this set. {refusal.refused[state]}"]
    states = [*refusal.fits, *refusal.refused]
    return [f"{text}: unknown state {state} of {refusal.id}; it has {', '.join(states)}" + nearest(state, states)]


def find_state(seen: Observation, text: str) -> str | None:
    """The state with this name; `-` counts as `_`, capitals as small letters."""
    name = text.strip().lower().replace("-", "_").replace(" ", "_")
    return name if name in seen.states else None


def nearest(name: str, known: Iterable[str]) -> str:
    """ "; did you mean ...?" for a misspelt name, or nothing."""
    close = get_close_matches(name, list(known), n=3, cutoff=0.5)
    return f"; did you mean {' or '.join(close)}?" if close else ""


def _listed(seen: Observation) -> str:
    volts = " (or volts)" if seen.reading else ""
    return ", ".join(seen.states) + volts


def _repair(repair: str, value: str, circumstances: str, text: str) -> RepairOutcome:
    if value not in ("works", "not") or circumstances:
        raise UsageProblem(f"{text}: a repair ends in {repair}=works or {repair}=not, without circumstances")
    return RepairOutcome(repair, value == "works")


def _circumstances(text: str, seen: Observation, whole: str) -> dict[str, str]:
    told = {"hold": "", "against": "chassis", "symptom": "showing", "by": ""}
    kinds: Mapping[str, Sequence[str]] = {"hold": _HOLDS, "against": _AGAINST, "symptom": tuple(SYMPTOM_SHOWING)}
    for word in filter(None, text.split("+")):
        if word.startswith("by:") and len(word) > 3:
            told["by"] = word[3:]
            continue
        kind = next((kind for kind, words in kinds.items() if word in words), None)
        if kind is None:
            known = [w for words in kinds.values() for w in words]
            raise UsageProblem(f"{whole}: unknown circumstance {word}; known are {', '.join(known)}, by:NAME")
        if kind in ("hold", "against") and seen.reading is None:
            raise UsageProblem(f"{whole}: {word} goes with a reading in volts, and {seen.id} is none")
        told[kind] = word
    return told


def _soft(seen: Observation, value: str, text: str) -> tuple[tuple[str, float], ...]:
    likelihoods: dict[str, float] = {}
    for part in value.split(","):
        name, _, number = part.partition(":")
        state = find_state(seen, name)
        if state is None:
            raise UsageProblem(f"{text}: unknown state {name} of {seen.id}; it has {', '.join(seen.states)}")
        if not _NUMBER.fullmatch(number) or float(number) > 1:
            raise UsageProblem(f"{text}: {number or 'nothing'} after {name}: is no number from 0 to 1")
        if state in likelihoods:
            raise UsageProblem(f"{text}: {state} stands here twice")
        likelihoods[state] = float(number)
    if not any(likelihoods.values()):
        raise UsageProblem(f"{text}: at least one state needs a likelihood above 0")
    return tuple(likelihoods.items())


def _points(value: str, text: str) -> tuple[float | None, ...]:
    points: list[float | None] = []
    for part in value.split(","):
        repeated = _REPEATED.fullmatch(part)
        volts, times = (repeated["volts"], int(repeated["times"])) if repeated else (part, 1)
        points.extend([_point(volts, text)] * times)
    if not 1 <= len(points) <= _MOST_POINTS:
        raise UsageProblem(f"{text}: 1 to {_MOST_POINTS} points, not {len(points)}")
    return tuple(points)


def _point(part: str, text: str) -> float | None:
    if part == "?":
        return None
    if part == "OL":
        return inf
    if part.startswith("-"):
        raise UsageProblem(f"{text}: {part} V is negative; if the leads were swapped, enter it without the sign")
    if not _NUMBER.fullmatch(part):
        raise UsageProblem(
            f"{text}: {part or 'an empty point'} is no voltage; write 36.8, 37x5 for five points, OL or ?"
        )
    if float(part) > MOST_VOLTS:
        raise UsageProblem(f"{text}: {part} V is more than {MOST_VOLTS:g} V; check the decimal sign")
    return float(part)
