"""As text: tests and repairs side by side in one list, by what the whole job costs if they come first."""

from collections.abc import Iterator, Sequence
from math import inf

from faultnet.cli.terminal import bold, wrapped, wrapped_table
from faultnet.errors import UsageProblem
from faultnet.model import Model
from faultnet.ranking import Ranking
from faultnet.ranking.advise import WORTH_ASKING_BITS
from faultnet.telling.ways import ADVISED, SORTS, TOTAL_MEANS, Way, way_of_repair, way_of_test
from faultnet.words import fixed

SHOWN_TESTS = 4
SHOWN_REPAIRS = 3


def checked_sort(sort: str) -> str:
    """What the list is sorted by. UsageProblem: it cannot be."""
    if sort not in SORTS:
        raise UsageProblem(f"--sort is one of {', '.join(SORTS)}, not {sort}")
    return sort


SEND_BACK = "(send it back)"


def ways_text(model: Model, ranking: Ranking, sort: str, *, full: bool) -> Iterator[str]:
    """The tests that may be made now and the likeliest repairs; in full all of them, and what the columns mean."""
    held = {h.id for h in ranking.held_back if h.kind == "test"}
    tests = [way_of_test(ranking, test) for test in ranking.tests if test.test not in held]
    if ranking.money is not None or sort != "cost":
        tests.sort(key=lambda way: way.key(sort))
    repairs = [way_of_repair(ranking, repair, full=full) for repair in ranking.repairs]
    if not tests and not repairs:
        return
    shown = [*tests, *repairs]
    if not full:
        telling = [way for way in tests if way.held == ADVISED or (way.bits or 0) >= WORTH_ASKING_BITS]
        shown = [*_with_advised(telling, SHOWN_TESTS), *_with_advised(repairs, SHOWN_REPAIRS)]
    if ranking.money is not None:
        mark = ADVISED if ranking.advice.verdict else ""
        shown.append(Way("end", SEND_BACK, SEND_BACK, float(ranking.money.now.stopping[0]), None, "", inf, 0, mark))
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
        effort = ("", "") if way.id == SEND_BACK else (fixed(way.minutes, 0), str(way.hazard))
        money = (total, bits, way.sure) if with_repairs else (bits,)
        rows.append((way.id, *money, *effort, way.held))
    yield from wrapped_table(rows, "l" + "r" * (len(head) - 2) + "l")


def _with_advised(ways: Sequence[Way], n_shown: int) -> list[Way]:
    """The first ones, and the advised one wherever it stands."""
    return [way for n, way in enumerate(ways) if n < n_shown or way.held == ADVISED]
