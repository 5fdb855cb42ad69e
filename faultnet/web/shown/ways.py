"""Tests and repairs in one list, and what is held back with its reason."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, isinf

from faultnet.model import Model
from faultnet.ranking import Ranking
from faultnet.telling.ways import ADVISED, Way, way_of_repair, way_of_test
from faultnet.words import fixed, minutes

SEND_BACK = "send it back as it is"


@dataclass(frozen=True)
class WayShown:
    """One line, in words. kind: `test`, `repair` or `end`, which has no page."""

    kind: str
    id: str
    label: str
    total: str
    bits: str
    sure: str
    minutes: str
    hazard: str
    note: str
    is_advised: bool


def all_ways(model: Model, ranking: Ranking, sort: str) -> tuple[WayShown, ...]:
    """Every open test and every repair. sort: one of `telling.ways.SORTS`."""
    held = {(h.kind, h.id): h.reason for h in ranking.held_back}
    labels = {leaf: test.label for test in model.tests.values() for leaf in test.reveals}

    def named(observation: str) -> str:
        return labels.get(observation, observation)

    ways = [way_of_test(ranking, test, named) for test in ranking.tests]
    ways += [way_of_repair(ranking, repair, full=True, named=named) for repair in ranking.repairs]
    if ranking.money is not None:
        mark = ADVISED if ranking.advice.verdict else ""
        stopping = float(ranking.money.now.stopping[0])
        ways.append(Way("end", "", SEND_BACK, stopping, None, "", inf, 0, mark))
    ways.sort(key=lambda way: way.key(sort))
    return tuple(_shown(way, held.get((way.kind, way.id), "")) for way in ways)


def held_back(ranking: Ranking) -> Mapping[str, list[str]]:
    """By the reason, the labels of the tests that are not advised for it."""
    by_reason: dict[str, list[str]] = {}
    for each in ranking.held_back:
        if each.kind == "test":
            by_reason.setdefault(each.reason, []).append(each.label)
    return by_reason


def _shown(way: Way, held: str) -> WayShown:
    is_advised = way.held == ADVISED
    return WayShown(
        way.kind,
        way.id,
        way.label,
        "" if way.total is None else fixed(way.total, 0),
        "" if way.bits is None else fixed(way.bits, 2),
        way.sure,
        "" if isinf(way.minutes) else minutes(way.minutes),
        "" if way.kind == "end" else str(way.hazard),
        "" if is_advised else (way.held or held),
        is_advised,
    )
