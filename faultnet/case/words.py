"""Events in words: how each entry was understood."""

from collections import Counter
from collections.abc import Sequence
from math import isinf

from faultnet.case.case import Case
from faultnet.case.events import Event, Finding, Reading, RepairOutcome, Seen, SoftFinding
from faultnet.model.model import Model
from faultnet.model.nodes import Observation
from faultnet.readings import Nominal, Spread, middle

DISAGREE_VOLTS = 3.0
DISAGREE_SHARE = 0.05
_ORDINALS = {2: "second", 3: "third"}
_HOLD_WORDS = {"steady": "steady", "max": "max hold", "settled": "settled"}


def describe_event(model: Model, event: Event) -> str:
    """One event in words: "loaded_voltage: 2 points: 0 V, 2 V (steady)"."""
    if isinstance(event, RepairOutcome):
        together = " together" if len(event.made) > 1 else ""
        return f"{' and '.join(event.made)}: made{together}, and the set {'works' if event.works else 'does not work'}"
    return f"{event.observation}: {told_words(model, event)}"


def told_words(model: Model, event: Seen) -> str:
    """What was seen or read, without its name: "2 points: 0 V, 2 V (steady)"."""
    seen = model.visible[event.observation]
    notes = [] if event.symptom == "showing" else [f"symptom {event.symptom.replace('_', ' ')}"]
    notes += [f"by {event.by}"] if event.by else []
    if isinstance(event, Finding):
        told = state_words(seen, event.state)
    elif isinstance(event, SoftFinding):
        told = _likelihoods(seen, event)
    else:
        told = _points(event, is_one_feed=seen.reading is None or not seen.reading.has_channels)
        notes.insert(0, _HOLD_WORDS[event.hold])
        notes += ["against the mains side"] if event.against == "hot" else []
        notes += [f"{event.meter} meter"] if event.meter else []
    return told + (f" ({', '.join(notes)})" if notes else "")


def made_again(case: Case, number: int) -> tuple[str, ...]:
    """What to know of repairs that were made before this event, too: how the one made again is weighed."""
    event = case.events[number]
    if not isinstance(event, RepairOutcome):
        return ()
    before = [e for e in case.events[:number] if isinstance(e, RepairOutcome)]
    times = {repair: 1 + sum(repair in e.made for e in before) for repair in event.made}
    return tuple(
        f"{repair} for the {_ORDINALS.get(n, f'{n}th')} time: taken as another part of the same kind, as likely to help"
        for repair, n in times.items()
        if n > 1
    )


def nominal_words(nominal: Nominal) -> str:
    """What is known of a set's voltages, and from where: "54 V +-3 % (label), unplugged 64 V +-3 % (list, 2 readings)".

    What stands behind +- is one standard deviation, of few readings the scale of a Student t.
    """
    known = []
    if nominal.loaded is not None:
        known.append(f"{_spread(nominal.loaded)} ({nominal.source}{_behind(nominal.readings)})")
    if nominal.unplugged is not None:
        known.append(f"unplugged {_spread(nominal.unplugged)} (list{_behind(nominal.unplugged_readings)})")
    return ", ".join(known)


def _spread(spread: Spread) -> str:
    return f"{spread.volts:.4g} V +-{100 * spread.relative_sd:.2g} %"


def _behind(readings: int) -> str:
    return f", {readings} reading{'s' if readings > 1 else ''}" if readings else ""


def _likelihoods(seen: Observation, event: SoftFinding) -> str:
    """The likelihoods in words, with the states that nobody named, which are thereby ruled out."""
    named = dict(event.likelihoods)
    told = ", ".join(f"{p:g} {state_words(seen, s)}" for s, p in named.items())
    left = " or ".join(state_words(seen, s) for s in seen.states if s not in named)
    return f"likelihood {told}" + (f"; not named, so ruled out: {left}" if left else "")


def state_words(seen: Observation, state: str) -> str:
    """A state as people say it."""
    return seen.state_labels.get(state, state.replace("_", " "))


def _points(event: Reading, *, is_one_feed: bool) -> str:
    counts = Counter(event.points)
    if len(counts) == 1 and len(event.points) > 2:
        return f"{len(event.points)} points: {_volts(event.points[0])} each"
    listed = ", ".join(map(_volts, event.points))
    if len(event.points) == 1:
        return listed
    disagree = is_one_feed and points_disagree(event.reached)
    used = f"; they disagree, used as {middle(event.reached):g} V, the middle one" if disagree else ""
    return f"{len(event.points)} points: {listed}{used}"


def points_disagree(volts: Sequence[float]) -> bool:
    """Whether points of one feed lie further apart than a meter explains."""
    read = [point for point in volts if not isinf(point)]
    return len(read) > 1 and max(read) - min(read) > DISAGREE_VOLTS + DISAGREE_SHARE * max(read)


def _volts(point: float | None) -> str:
    if point is None:
        return "not reached"
    return "over range" if isinf(point) else f"{point:g} V"
