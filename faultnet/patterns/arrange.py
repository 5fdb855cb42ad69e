"""A sequence in the order that all cases saying the same share."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from faultnet.case.events import Finding, Reading, RepairOutcome, SoftFinding
from faultnet.case.sequence import Altered, Item, Together
from faultnet.model import Model
from faultnet.model.nodes import SET_WORKS

_S = TypeVar("_S", bound=Finding | SoftFinding | Reading)


@dataclass
class Stretch:
    """What was seen, in no order, before a change that what follows depends on; the last stretch has none."""

    seen: list[Item]
    change: Item | None = None


def arranged(model: Model, items: Sequence[Item]) -> list[Stretch]:
    """The items in stretches; the same objects as were given.

    What hangs on nothing that was touched goes before the change, for it says the same there; what tests altered after
    the last thing that could show it never mattered.
    """
    stretches = [Stretch([])]
    touched: list[frozenset[str]] = []
    for item in _until_it_shows(model, items):
        parts = touched_by(model, item)
        if parts:
            stretches[-1].change = item
            stretches.append(Stretch([]))
            touched.append(parts)
            continue
        at = len(touched)
        while at and touched[at - 1].isdisjoint(_hangs_on(model, item)):
            at -= 1
        stretches[at].seen.append(item)
    return stretches


def _until_it_shows(model: Model, items: Sequence[Item]) -> list[Item]:
    """The items without what was altered where nothing after it can show it."""
    kept: list[Item] = []
    shown: frozenset[str] = frozenset()
    for item in reversed(items):
        if isinstance(item, Altered) and shown.isdisjoint(touched_by(model, item)):
            continue
        shown |= _hangs_on(model, item)
        kept.append(item)
    return kept[::-1]


def touched_by(model: Model, item: Item) -> frozenset[str]:
    """The components that an item changes, or may change."""
    if isinstance(item, RepairOutcome):
        return frozenset(component for repair in item.made for component in model.repairs[repair].fixes)
    return frozenset(made.component for made in item.made) if isinstance(item, Altered) else frozenset()


def _hangs_on(model: Model, item: Item) -> frozenset[str]:
    """The components whose change changes what an item shows."""
    moved = model.compiled.moved_with
    if isinstance(item, RepairOutcome):
        return moved[SET_WORKS]
    if isinstance(item, Altered):
        return frozenset()
    if isinstance(item, Together):
        return frozenset().union(*(moved[reading.observation] for reading in item.readings))
    return moved[item.observation]


def said(model: Model, item: Item) -> Item:
    """An item without what no longer matters once it is known which events count: who saw it, and needless doubts."""
    if isinstance(item, RepairOutcome):
        return RepairOutcome(item.made, item.works)
    if isinstance(item, Together):
        return Together(tuple(sorted((_said(model, reading) for reading in item.readings), key=repr)))
    return item if isinstance(item, Altered) else _said(model, item)


def _said(model: Model, seen: _S) -> _S:
    needs_symptom = model.visible[seen.observation].needs_symptom
    return replace(seen, by="", symptom=seen.symptom if needs_symptom else "showing")
