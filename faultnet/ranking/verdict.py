"""How a job ends where it ends now: the set works, nothing is wrong with it, or it is not worth repairing."""

from collections.abc import Sequence

from faultnet.case.case import Case
from faultnet.engine.interface import Belief
from faultnet.model.model import Model
from faultnet.ranking.advise import WORTH_ASKING_BITS
from faultnet.ranking.result import Advice, RankedTest
from faultnet.repairs import Money
from faultnet.words import percent

NO_FAULT_FROM = 0.95
"""How sure that nothing is faulty before that is the verdict; reasoned, no source."""

WORKS = Advice(
    "stop",
    "",
    "the set works: run it on test, try what was complained of, close it with barriers, insulation and earth in place",
)


def verdict(
    model: Model, case: Case, belief: Belief, tests: Sequence[RankedTest], money: Money | None
) -> Advice | None:
    """How the job ends, or None where it goes on. tests: all open ones, as if a trained person could make them."""
    if case.just_repaired:
        return WORKS
    return _no_fault_found(model, case, belief) or (None if money is None else _not_worth(money, tests))


def _no_fault_found(model: Model, case: Case, belief: Belief) -> Advice | None:
    """Nothing faulty by what was seen, and the complaint was not seen either."""
    nothing = float(belief.targets.flat[0])
    complained = case.with_complaint and not (model.complaint and case.tells(model.complaint))
    if not case.events or complained or nothing < NO_FAULT_FROM:
        return None
    why = f"no fault found ({percent(nothing)} that no part is faulty): let it run, watch it, ask when it happens"
    return Advice("stop", "", why, "no_fault_found")


def _not_worth(money: Money, tests: Sequence[RankedTest]) -> Advice | None:
    """Giving up is cheapest of all.

    A test that still tells something is only past hope if it costs more than it could save if it told everything: one
    step ahead, two tests that pay together may each look useless.
    """
    stopping, least = float(money.now.stopping[0]), float(money.now.least[0])
    useful = [test for test in tests if test.gain_repair_bits >= WORTH_ASKING_BITS]
    most_saved = money.perfect_information
    if least < stopping or any(test.cost < most_saved for test in useful):
        return None
    cheapest = float(money.now.by_first.min())
    why = (
        f"not worth repairing: every repair and what follows it costs at least about {cheapest:.0f} on average (time, "
        f"parts, harm, comebacks), sending it back {stopping:.0f} (a working set is worth {money.giving_up:.0f})"
    )
    return Advice("stop", "", why, "not_worth_repairing")
