"""As text: tests and repairs side by side in one list, by what the whole job costs if they come first."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf

from faultnet.cli.terminal import bold, wrapped, wrapped_table
from faultnet.errors import UsageProblem
from faultnet.model import Model
from faultnet.model.work import choices_in_words
from faultnet.ranking import RankedTest, Ranking
from faultnet.ranking.advise import WORTH_ASKING_BITS
from faultnet.repairs import RankedRepair
from faultnet.words import fixed, percent

SHOWN_TESTS = 4
SHOWN_REPAIRS = 3

SORTS = ("cost", "bits", "minutes")


def checked_sort(sort: str) -> str:
    """What the list is sorted by. UsageProblem: it cannot be."""
    if sort not in SORTS:
        raise UsageProblem(f"--sort is one of {', '.join(SORTS)}, not {sort}")
    return sort


ADVISED = "advised"

SEND_BACK = "(send it back)"

TOTAL_MEANS = (
    "total: what the whole job costs on average if this comes first and only repairs follow: time, hazards, parts at "
    "mid price, harm, comebacks, and what a working set is worth where it is sent back dark. It looks one step ahead. "
    "bits: what a test tells about {aim}; sure: that the part is faulty, and the gate for it; min: with the set-up."
)


@dataclass(frozen=True)
class Way:
    """One line: a test or a repair. total: None where it is not known; bits: None of repairs; sure: "" of tests."""

    name: str
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


def ways_text(model: Model, ranking: Ranking, sort: str, *, full: bool) -> Iterator[str]:
    """The tests that may be made now and the likeliest repairs; in full all of them, and what the columns mean."""
    held = {h.id for h in ranking.held_back if h.kind == "test"}
    tests = [_of_test(ranking, test) for test in ranking.tests if test.test not in held]
    if ranking.money is not None or sort != "cost":
        tests.sort(key=lambda way: way.key(sort))
    repairs = [_of_repair(ranking, repair, full=full) for repair in ranking.repairs]
    if not tests and not repairs:
        return
    shown = [*tests, *repairs]
    if not full:
        telling = [way for way in tests if way.held == ADVISED or (way.bits or 0) >= WORTH_ASKING_BITS]
        shown = [*_with_advised(telling, SHOWN_TESTS), *_with_advised(repairs, SHOWN_REPAIRS)]
    if ranking.money is not None:
        mark = ADVISED if ranking.advice.verdict else ""
        shown.append(Way(SEND_BACK, float(ranking.money.now.stopping[0]), None, "", inf, 0, mark))
    if repairs or sort != "cost":
        shown.sort(key=lambda way: way.key(sort))
    more = len(tests) + len(repairs) + (ranking.money is not None) - len(shown)
    yield wrapped(bold("Ways on") + f"  ({_heading(model, ranking, sort, more)})", 0, 2)
    yield from _table(shown, with_repairs=bool(repairs))
    if full and ranking.money is not None:
        yield wrapped(TOTAL_MEANS.format(aim=model.aim), 2)
    yield ""


def _heading(model: Model, ranking: Ranking, sort: str, more: int) -> str:
    currency = f" in {ranking.settings.currency}" if ranking.settings.currency else ""
    total = f"total: whole job{currency}, one step ahead" if ranking.money is not None else ""
    parts = [
        total or f"bits: {model.aim}",
        "" if sort == "cost" else f"by {sort}",
        f"{more} more: --full" if more else "",
    ]
    return "; ".join(filter(None, parts))


def _table(ways: Sequence[Way], *, with_repairs: bool) -> Iterator[str]:
    head = ("", "total", "bits", "sure", "min", "hazard", "") if with_repairs else ("", "bits", "min", "hazard", "")
    rows = [head]
    for way in ways:
        total = "" if way.total is None else fixed(way.total, 0)
        bits = "" if way.bits is None else fixed(way.bits, 2)
        effort = ("", "") if way.name == SEND_BACK else (fixed(way.minutes, 0), str(way.hazard))
        money = (total, bits, way.sure) if with_repairs else (bits,)
        rows.append((way.name, *money, *effort, way.held))
    yield from wrapped_table(rows, "l" + "r" * (len(head) - 2) + "l")


def _with_advised(ways: Sequence[Way], n_shown: int) -> list[Way]:
    """The first ones, and the advised one wherever it stands."""
    return [way for n, way in enumerate(ways) if n < n_shown or way.held == ADVISED]


def _of_test(ranking: Ranking, test: RankedTest) -> Way:
    waits = choices_in_words(test.waits_for)
    return Way(
        name=test.test,
        total=test.expected_total,
        bits=test.gain_repair_bits,
        sure="",
        minutes=test.step.minutes + test.step.setup_minutes,
        hazard=test.step.hazard,
        held=ADVISED if ranking.advice.id == test.test else waits,
        waits=bool(waits),
    )


def _of_repair(ranking: Ranking, repair: RankedRepair, *, full: bool) -> Way:
    return Way(
        name=repair.repair,
        total=repair.expected_total,
        bits=None,
        sure=percent(repair.named_right),
        minutes=repair.step.minutes + repair.step.setup_minutes,
        hazard=repair.step.hazard,
        held=ADVISED if ranking.advice.id == repair.repair else _held_by(ranking, repair, full=full),
    )


def _held_by(ranking: Ranking, repair: RankedRepair, *, full: bool) -> str:
    """What holds a repair back now; what it waits for only in full, or where nothing else holds it."""
    held = [] if ranking.settings.may_do(repair.step.hazard) else ["training"]
    held += [f"gate {percent(repair.gate)}"] if repair.named_right < repair.gate else []
    if held and not full:
        return "; ".join(held)
    held += [choices_in_words(repair.waits_for)] if repair.waits_for else []
    if not repair.waits_for and repair.unproved:
        held += ["proof: " + ", ".join(" or ".join(proof) for proof in repair.unproved)]
    return "; ".join(held or filter(None, [repair.held_because]))
