"""How the events of a job fit together, worked out from what kinds they are; what they say does not matter for it."""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from faultnet.case import Case
from faultnet.case.events import Event, Finding, Reading, RepairOutcome, set_aside
from faultnet.case.sequence import Altered, Item, Together, sequence_of
from faultnet.case.steps import chance_of_showing
from faultnet.model import Model
from faultnet.model.nodes import SET_WORKS
from faultnet.patterns.apart import Blankets
from faultnet.patterns.arrange import arranged


@dataclass(frozen=True)
class Part:
    """A stretch. seen: places of events that are items; together: places of readings that make one item each.

    change: the place of the repair that ends it, what tests altered, or None.
    """

    seen: tuple[int, ...]
    together: tuple[tuple[int, ...], ...]
    change: int | Altered | None


@dataclass(frozen=True, eq=False)
class Layout:
    """The parts in their order. nodes: what is observed in them; clear: places of findings that were made once while
    the symptom showed, with what they are about.

    apart, conditions: places and given conditions that say nothing hidden, once it is known what is given.
    """

    parts: tuple[Part, ...]
    nodes: frozenset[str]
    clear: Mapping[str, int]
    apart: tuple[int, ...] = ()
    conditions: frozenset[str] = frozenset()

    @cached_property
    def has_readings(self) -> bool:
        """Whether the nominal matters."""
        return any(part.together for part in self.parts)


def kind(event: Event) -> Event:
    """An event that stands for all that take the same place among others, whatever they say."""
    if isinstance(event, RepairOutcome):
        return event
    if isinstance(event, Reading):
        return replace(event, points=(0.0,) if set_aside(event) is None else (), meter="")
    return Finding(event.observation, "" if isinstance(event, Finding) else "unclear", event.symptom, event.by)


def layout(model: Model, events: Sequence[Event]) -> Layout:
    """The layout of some events."""
    own = list(events) if len({*map(id, events)}) == len(events) else [_copy(event) for event in events]
    place = {id(event): n for n, event in enumerate(own)}
    stretches = arranged(model, sequence_of(model, Case(tuple(own))))
    items = [item for stretch in stretches for item in stretch.seen]
    repaired = any(isinstance(each, RepairOutcome) for each in (*items, *(stretch.change for stretch in stretches)))
    parts = tuple(
        Part(
            tuple(place[id(item)] for item in stretch.seen if id(item) in place),
            tuple(tuple(place[id(r)] for r in item.readings) for item in stretch.seen if isinstance(item, Together)),
            stretch.change if isinstance(stretch.change, Altered) else place.get(id(stretch.change)),
        )
        for stretch in stretches
    )
    nodes = _observed(items) | ({SET_WORKS} if repaired else set()) | {model.complaint or SET_WORKS}
    findings = [item for item in items if isinstance(item, Finding)]
    times = Counter(finding.observation for finding in findings)
    clear = {
        finding.observation: place[id(finding)]
        for finding in findings
        if times[finding.observation] == 1 and not finding.state and chance_of_showing(model, finding) == 1
    }
    return Layout(parts, frozenset(nodes), clear)


def without_apart(blankets: Blankets, plan: Layout, given: Collection[str]) -> Layout:
    """A layout without the findings that say nothing hidden where these conditions are given; which ones those are."""
    possible = blankets.candidates
    apart = {plan.clear[node] for node in possible & plan.clear.keys() if blankets.is_apart(node, given, plan.nodes)}
    conditions = frozenset(node for node in possible.intersection(given) if blankets.is_apart(node, given, plan.nodes))
    if not apart and not conditions:
        return plan
    parts = tuple(replace(part, seen=tuple(n for n in part.seen if n not in apart)) for part in plan.parts)
    return replace(plan, parts=parts, apart=tuple(sorted(apart)), conditions=conditions)


def _observed(items: Sequence[Item]) -> set[str]:
    found: set[str] = set()
    for item in items:
        if isinstance(item, Together):
            found |= {reading.observation for reading in item.readings}
        elif not isinstance(item, RepairOutcome | Altered):
            found.add(item.observation)
    return found


def _copy(event: Event) -> Event:
    """Another object that says the same."""
    return RepairOutcome(event.repairs, event.works) if isinstance(event, RepairOutcome) else replace(event)
