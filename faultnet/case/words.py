"""Events in words: how each entry was understood."""

from collections import Counter
from math import isinf

from faultnet.case.events import Event, Finding, Reading, RepairOutcome, SoftFinding
from faultnet.model.model import Model
from faultnet.model.nodes import Observation

_HOLD_WORDS = {"steady": "steady", "max": "max hold", "settled": "settled"}


def describe_event(model: Model, event: Event) -> str:
    """One event in words: "loaded_voltage: 2 points: 0 V, 2 V (steady)"."""
    if isinstance(event, RepairOutcome):
        return f"{event.repair}: {'the set works' if event.works else 'the set does not work'}"
    seen = model.observations[event.observation]
    notes = [] if event.symptom == "showing" else [f"symptom {event.symptom.replace('_', ' ')}"]
    notes += [f"by {event.by}"] if event.by else []
    if isinstance(event, Finding):
        told = state_words(seen, event.state)
    elif isinstance(event, SoftFinding):
        told = "likelihood " + ", ".join(f"{p:g} {state_words(seen, s)}" for s, p in event.likelihoods) + ", 0 else"
    else:
        told = _points(event)
        notes.insert(0, _HOLD_WORDS[event.hold])
        notes += ["against the mains side"] if event.against == "hot" else []
    return f"{event.observation}: {told}" + (f" ({', '.join(notes)})" if notes else "")


def state_words(seen: Observation, state: str) -> str:
    """A state as people say it."""
    return seen.state_labels.get(state, state.replace("_", " "))


def _points(event: Reading) -> str:
    counts = Counter(event.points)
    if len(counts) == 1 and len(event.points) > 2:
        return f"{len(event.points)} points: {_volts(event.points[0])} each"
    listed = ", ".join(map(_volts, event.points))
    return f"{len(event.points)} points: {listed}" if len(event.points) > 1 else listed


def _volts(point: float | None) -> str:
    if point is None:
        return "not reached"
    return "over range" if isinf(point) else f"{point:g} V"
