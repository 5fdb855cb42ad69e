"""What counts of a case, in order: findings, readings that are weighed together, repairs, and what tests altered."""

from collections.abc import Iterable
from dataclasses import dataclass

from faultnet.case.case import Case
from faultnet.case.events import Finding, Reading, RepairOutcome, SoftFinding
from faultnet.case.order import Order
from faultnet.model.model import Model
from faultnet.model.work import Alteration


@dataclass(frozen=True)
class Together:
    """Readings that share what is known of the set's nominal, and are weighed together."""

    readings: tuple[Reading, ...]


@dataclass(frozen=True)
class Altered:
    """What tests may have changed on the set."""

    made: tuple[Alteration, ...]


Item = Finding | SoftFinding | Together | RepairOutcome | Altered


def sequence_of(
    model: Model, case: Case, counted: Iterable[int] | None = None, *, altered_before: int | None = None
) -> list[Item]:
    """What counts of a case, as `items_in`."""
    return items_in(case.order(model), case, counted, altered_before=altered_before)


def items_in(
    order: Order, case: Case, counted: Iterable[int] | None = None, *, altered_before: int | None = None
) -> list[Item]:
    """What counts of a case whose events are in this order.

    counted: the numbers of the events to use (default: all that count).
    What tests alter happens whether or not their findings are used, but for tests made at or after the event
    `altered_before`. Readings taken before one of them is touched share the set's nominal; where it is unknown, later
    ones are weighed apart.
    """
    use = set(order.place if counted is None else counted)
    at = {there: number for number, there in order.place.items()}
    items: list[Item] = []
    for number in range(len(case.events)):
        event = case.events[at[number]] if at.get(number) in use else None
        if isinstance(event, Finding | SoftFinding):
            items.append(event)
        items.extend(_together(case, use.intersection(order.readings.get(number, ()))))
        if isinstance(event, RepairOutcome):
            items.append(event)
        if altered_before is None or number < altered_before:
            items.extend([Altered(order.altered[number])] if number in order.altered else [])
    return [*items, *_together(case, use.intersection(order.readings[len(case.events)]))]


def _together(case: Case, numbers: Iterable[int]) -> list[Together]:
    events = (case.events[number] for number in sorted(numbers))
    readings = tuple(event for event in events if isinstance(event, Reading))
    return [Together(readings)] if readings else []
