"""What was seen and what was changed, one after the other: which events count, where, and which readings together.

A finding speaks about the set as it was. As long as nothing it hangs on was touched, the same observation again is the
same evidence: it takes the place of the earlier one and counts once, whatever else was repaired in between.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from faultnet.case.events import Event, Reading, RepairOutcome, Seen, set_aside
from faultnet.model.model import Model
from faultnet.model.work import Alteration


@dataclass(frozen=True)
class Order:
    """The events of a case by their numbers.

    replaced: those that no longer count, with the later one that replaced each. place: for each that counts, at which
    event it counts: where it was entered, or where the first of those that it replaces was.
    altered: what tests altered, by the last event before it shows.
    readings: those that are weighed together, by the event whose change they come before; by the number of events
    those that nothing has touched since.
    """

    replaced: Mapping[int, int]
    place: Mapping[int, int]
    altered: Mapping[int, tuple[Alteration, ...]]
    readings: Mapping[int, tuple[int, ...]]


def order_of(model: Model, events: Sequence[Event], then: tuple[Alteration, ...] = ()) -> Order:
    """How these events follow each other. then: what a test that is made directly after them alters."""
    altered = dict(_altered(model, events, then))
    touched = {n: parts for n in range(len(events)) if (parts := _touched(model, events[n], altered.get(n, ())))}
    replaced, place = _superseded(model, events, touched)
    return Order(replaced, place, altered, _readings(model, events, touched, place))


def current(model: Model, events: Sequence[Event]) -> list[int]:
    """The numbers of what was seen of the set as it is now: no repair has touched since what it hangs on.

    What a test alters by chance does not end this: most of the time it alters nothing, and to look at everything again
    would seem to tell more than it does.
    """
    numbers: list[int] = []
    touched: frozenset[str] = frozenset()
    for number in reversed(range(len(events))):
        event = events[number]
        if isinstance(event, RepairOutcome):
            touched |= _touched(model, event, ())
        elif not touched or model.compiled.moved_with[event.observation].isdisjoint(touched):
            numbers.append(number)
    return numbers[::-1]


def _altered(
    model: Model, events: Sequence[Event], then: tuple[Alteration, ...]
) -> Iterator[tuple[int, tuple[Alteration, ...]]]:
    """What tests altered. Made one after the other, those that alter the same do it once, after the last of them.

    A cable that is out for one test stays out for the next; what plugging it in again does to it shows after both.
    """
    alters = [*(alters_of(model, event) for event in events), then]
    for number, (own, following) in enumerate(pairwise(alters)):
        if own and own != following:
            yield number, own


def alters_of(model: Model, event: Event) -> tuple[Alteration, ...]:
    """What making the test behind an event alters."""
    test = None if isinstance(event, RepairOutcome) else model.revealed_by.get(event.observation)
    return () if test is None else test.alters


def _touched(model: Model, event: Event, altered: Sequence[Alteration]) -> frozenset[str]:
    """The components that an event changes, or may change."""
    if isinstance(event, RepairOutcome):
        return frozenset(component for repair in event.made for component in model.repairs[repair].fixes)
    return frozenset(made.component for made in altered)


def _superseded(
    model: Model, events: Sequence[Event], touched: Mapping[int, frozenset[str]]
) -> tuple[dict[int, int], dict[int, int]]:
    """Which event replaced which, and where each that counts does.

    The same observation by the same person, with the symptom as before and the meter held the same way, replaces the
    earlier one, unless what it hangs on was touched since or the model says that repeats are independent.
    """
    replaced: dict[int, int] = {}
    place: dict[int, int] = {}
    latest: dict[tuple[str, str, str, str], int] = {}
    for number, event in enumerate(events):
        if isinstance(event, RepairOutcome):
            place[number] = number
        elif set_aside(event) is None:
            place[number] = number
            if not model.visible[event.observation].repeats_independently:
                key = _key(event)
                for earlier in [k for k in latest if k[:3] == key[:3] and _same_hold(k[3], key[3])]:
                    before = latest.pop(earlier)
                    replaced[before] = number
                    place[number] = min(place[number], place.pop(before))
                latest[key] = number
        if number in touched:
            hangs_on = model.compiled.moved_with
            latest = {key: n for key, n in latest.items() if hangs_on[key[0]].isdisjoint(touched[number])}
    return replaced, place


def _key(event: Seen) -> tuple[str, str, str, str]:
    """What two events share when the later one replaces the earlier: see `_same_hold` for the last part."""
    return event.observation, event.by, event.symptom, event.hold if isinstance(event, Reading) else ""


def _same_hold(earlier: str, later: str) -> bool:
    """A finding names no hold and replaces, or is replaced by, a reading in any."""
    return earlier == later or not earlier or not later


def _readings(
    model: Model, events: Sequence[Event], touched: Mapping[int, frozenset[str]], place: Mapping[int, int]
) -> dict[int, tuple[int, ...]]:
    """Readings that are weighed together: taken before anything that one of them hangs on was touched."""
    taken = {number: event for number, event in enumerate(events) if isinstance(event, Reading)}
    at = {there: number for number, there in place.items() if number in taken}
    together: dict[int, tuple[int, ...]] = {}
    waiting: list[int] = []
    hangs_on: frozenset[str] = frozenset()
    for number in sorted({*at, *touched}):
        if number in at:
            waiting.append(at[number])
            hangs_on |= model.compiled.moved_with[taken[at[number]].observation]
        if not hangs_on.isdisjoint(touched.get(number, ())):
            together[number], waiting, hangs_on = tuple(waiting), [], frozenset()
    together[len(events)] = tuple(waiting)
    return together
