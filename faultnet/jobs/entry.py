"""What was written down about a job, one entry at a time, and which entries stand.

Nothing is overwritten: a correction is a further entry that names the one it supersedes and takes its place in the
order; taking back is a further entry, too.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from faultnet.case.entry import soft_text
from faultnet.case.events import Event, Finding, Reading, RepairOutcome, Seen, SoftFinding
from faultnet.case.points import parse_points, written_points
from faultnet.errors import UsageProblem
from faultnet.model.model import Model

SEEN = ("finding", "soft", "reading")
"""Kinds of entries that say what was seen or measured."""

EVENTS = (*SEEN, "repair")
"""Kinds of entries that are events of the case."""

KINDS = (*EVENTS, "fact", "given", "setup", "skipped", "model", "stage", "price", "note", "taken_back")
"""Every kind of entry. fact: about the set (its size); given: a condition's state; setup: how it stands on the bench;
skipped: a test, and why; model: another one goes on from here; stage: the job moved on; price: a price was named;
taken_back: an entry no longer stands."""


@dataclass(frozen=True)
class Entry:
    """One entry. name and state: what it is about and what it says; value: points of a reading, or likelihoods.

    seq: its number in the job, from 1; place: the number of the entry whose place in the order it takes, its own where
    it supersedes none. at: when it was written down.
    """

    kind: str
    name: str = ""
    state: str = ""
    value: str = ""
    unit: str = ""
    hold: str = ""
    against: str = ""
    meter: str = ""
    symptom: str = ""
    by: str = ""
    note: str = ""
    seq: int = 0
    place: int = 0
    supersedes: int | None = None
    at: datetime | None = None


def entry_of(event: Event, unit: str = "V") -> Entry:
    """The entry that keeps an event. unit: that of its points, if it is a reading."""
    if isinstance(event, RepairOutcome):
        return Entry("repair", "+".join(event.repairs), "works" if event.works else "not")
    common = Entry("", event.observation, symptom=event.symptom, by=event.by)
    if isinstance(event, Finding):
        return replace(common, kind="finding", state=event.state)
    if isinstance(event, SoftFinding):
        return replace(common, kind="soft", value=soft_text(event))
    value, hold, meter = written_points(event.points), event.hold, event.meter
    return replace(common, kind="reading", value=value, unit=unit, hold=hold, against=event.against, meter=meter)


def event_of(entry: Entry, model: Model) -> Event:
    """The event that an entry keeps. UsageProblem: the model no longer knows what it is about."""
    if entry.kind == "repair":
        repairs = entry.name.split("+")
        for repair in repairs:
            _known(entry, repair, model.repairs, "repair", model)
        return RepairOutcome(repairs, entry.state == "works")
    _known(entry, entry.name, model.visible, "observation", model)
    event = _seen(entry)
    for state in _states(event):
        _known(entry, state, model.visible[entry.name].states, f"state of {entry.name}", model)
    return event


def _seen(entry: Entry) -> Seen:
    if entry.kind == "finding":
        return Finding(entry.name, entry.state, entry.symptom, entry.by)
    if entry.kind == "soft":
        pairs = (item.partition(":") for item in entry.value.split(","))
        return SoftFinding(entry.name, tuple((s, float(p)) for s, _, p in pairs), entry.symptom, entry.by)
    points = parse_points(entry.value)
    return Reading(entry.name, points, entry.hold, entry.against, entry.symptom, entry.by, entry.meter)


def _states(event: Seen) -> tuple[str, ...]:
    if isinstance(event, Finding):
        return (event.state,)
    return tuple(state for state, _ in event.likelihoods) if isinstance(event, SoftFinding) else ()


def _known(entry: Entry, name: str, known: Iterable[str], what: str, model: Model) -> None:
    if name not in known:
        raise UsageProblem(
            f"entry {entry.seq} says {entry.name}={entry.state or entry.value}, but {model.version} knows no {what} "
            f"{name} any more: put it back into the model, or take the entry back"
        )


def standing(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """The entries that stand, in the order in which they count: each in the place of the first it goes back to."""
    latest: dict[int, Entry] = {}
    for entry in sorted(entries, key=lambda each: each.seq):
        latest[entry.place] = entry
    return tuple(latest[place] for place in sorted(latest) if latest[place].kind != "taken_back")


def superseding(entries: Iterable[Entry], seq: int) -> Entry:
    """The entry of this number, which a correction may supersede. UsageProblem: there is none that stands."""
    listed = list(entries)
    found = next((entry for entry in listed if entry.seq == seq), None)
    stands = standing(listed)
    if found is None:
        raise UsageProblem(f"there is no entry {seq}; the last one is {max((e.seq for e in listed), default=0)}")
    if found in stands:
        return found
    later = next((entry for entry in stands if entry.place == found.place), None)
    told = "was taken back; enter it again" if later is None else f"was superseded by entry {later.seq}; name that one"
    raise UsageProblem(f"entry {seq} {told}")
