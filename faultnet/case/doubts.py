"""Entries that are taken as typed, but that somebody may not have meant so."""

from collections.abc import Iterator
from itertools import combinations

from faultnet.case.events import Event, Reading, RepairOutcome
from faultnet.model.model import Model

# A mains rectifier charges its capacitor to about 320 V from 230 V a.c., and a power factor stage holds it near 380 to
# 400 V. No LED plug shows that much against chassis: more likely the lead stood on the hot side, or the range was wrong
# (common practice, no source).
MAINS_SIDE_VOLTS_FROM = 300.0
MAINS_SIDE_VOLTS_TO = 420.0


def doubts(event: Event, model: Model) -> tuple[str, ...]:
    """What to check about an entry before its answer is trusted; it counts all the same."""
    if isinstance(event, RepairOutcome):
        return tuple(_twice_the_same(event, model))
    if not isinstance(event, Reading) or event.set_aside:
        return ()
    found = []
    if any(MAINS_SIDE_VOLTS_FROM <= volts <= MAINS_SIDE_VOLTS_TO for volts in event.reached):
        found.append("this is a mains-side level: check the reference and the range")
    if _may_be_a_decimal_comma(event):
        found.append(f"taken as two points; if 0.{event.reached[1]:g} V was meant, the decimal sign is '.'")
    return tuple(found)


def _twice_the_same(outcome: RepairOutcome, model: Model) -> Iterator[str]:
    """Repairs made at once that stand there twice, or of which two see to the same part."""
    for repair in outcome.made:
        if outcome.repairs.count(repair) > 1:
            yield f"{repair} stands here twice and counts once; a repair made again is an entry of its own"
    for one, other in combinations(outcome.made, 2):
        for component in sorted({*model.repairs[one].fixes} & {*model.repairs[other].fixes}):
            label = model.components[component].label
            yield f"{one} and {other} both see to the {label}: the second counts for what the first has left"


def _may_be_a_decimal_comma(reading: Reading) -> bool:
    """Whether these points are what `0,2` gives: zero and a whole number."""
    if len(reading.points) != 2 or len(reading.reached) != 2:
        return False
    whole, fraction = reading.reached
    return whole == 0 and fraction > 0 and fraction.is_integer()
