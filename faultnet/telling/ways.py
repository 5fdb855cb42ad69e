"""Tests and repairs side by side, by what the whole job costs if they come first."""

from collections.abc import Callable
from dataclasses import dataclass
from math import inf

from faultnet.model.work import choices_in_words
from faultnet.ranking import RankedTest, Ranking
from faultnet.repairs import RankedRepair
from faultnet.words import percent

SORTS = ("cost", "bits", "minutes")

ADVISED = "advised"

TOTAL_MEANS = (
    "total: what the whole job costs on average if this comes first and only repairs follow: time, hazards, parts at "
    "mid price, harm, comebacks, and what a working set is worth where it is sent back dark. It looks one step ahead. "
    "bits: what a test tells about {aim}; sure: that the part is faulty, and the gate for it; min: with the set-up."
)


@dataclass(frozen=True)
class Way:
    """One line: a test, a repair, or an end of the job. total: None where it is not known; bits: None of repairs; sure:
    "" of tests; held: why not now, or that it is advised; waits: whether the trade does something else before it.
    """

    kind: str
    id: str
    label: str
    total: float | None
    bits: float | None
    sure: str
    minutes: float
    hazard: int
    held: str
    waits: bool = False

    def key(self, sort: str) -> tuple[bool, float]:
        """What lines are sorted by; what the trade does later stands after the rest."""
        if sort == "bits":
            return (True, inf) if self.bits is None else (self.waits, -self.bits)
        if sort == "minutes" or self.total is None:
            return self.waits or self.minutes == inf, self.minutes
        return self.waits, self.total


def way_of_test(ranking: Ranking, test: RankedTest, named: Callable[[str], str] = str) -> Way:
    """A test that may be made. named: what to call an observation that it waits for."""
    waits = choices_in_words(test.waits_for, named)
    return Way(
        kind="test",
        id=test.test,
        label=test.label,
        total=test.expected_total,
        bits=test.gain_repair_bits,
        sure="",
        minutes=test.step.minutes + test.step.setup_minutes,
        hazard=test.step.hazard,
        held=ADVISED if ranking.advice.id == test.test else waits,
        waits=bool(waits),
    )


def way_of_repair(ranking: Ranking, repair: RankedRepair, *, full: bool, named: Callable[[str], str] = str) -> Way:
    """A repair. full: with everything that holds it back, in place of what does so first. named: as above."""
    return Way(
        kind="repair",
        id=repair.repair,
        label=repair.label,
        total=repair.expected_total,
        bits=None,
        sure=percent(repair.named_right),
        minutes=repair.step.minutes + repair.step.setup_minutes,
        hazard=repair.step.hazard,
        held=ADVISED if ranking.advice.id == repair.repair else _held_by(ranking, repair, named, full=full),
    )


def _held_by(ranking: Ranking, repair: RankedRepair, named: Callable[[str], str], *, full: bool) -> str:
    """What holds a repair back now; what it waits for only in full, or where nothing else holds it."""
    held = [] if ranking.settings.may_do(repair.step.hazard) else ["training"]
    held += [f"gate {percent(repair.gate)}"] if repair.named_right < repair.gate else []
    if held and not full:
        return "; ".join(held)
    held += [choices_in_words(repair.waits_for, named)] if repair.waits_for else []
    if not repair.waits_for and repair.unproved:
        held += ["proof: " + ", ".join(" or ".join(map(named, proof)) for proof in repair.unproved)]
    return "; ".join(held or filter(None, [repair.held_because]))
