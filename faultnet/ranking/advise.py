"""One piece of advice: repair, test, stop or hand over."""

from collections.abc import Sequence
from typing import NamedTuple

from faultnet.model.work import choices_in_words
from faultnet.ranking.result import Advice, HeldBack, RankedTest
from faultnet.repairs import RankedRepair
from faultnet.settings import ShopSettings
from faultnet.words import percent

WORTH_ASKING_BITS = 0.01
"""A test that tells less about which parts need work is not advised for its information."""

WORTH_A_FREE_TRY = 0.05
"""A repair that costs only minutes is tried before stopping if it cures with at least this chance."""


def advise(
    allowed: Sequence[RankedTest],
    repairs: Sequence[RankedRepair],
    held: Sequence[HeldBack],
    tried: Sequence[str],
    settings: ShopSettings,
    aim: str = "which part needs work",
) -> Advice:
    """What to do now: a repair that is sure enough, the best test in the trade's order, a free try, or stop.

    allowed: open tests this bench may do. repairs: likeliest cure first. tried: repairs already made. aim: what tests
    are to tell.
    """
    return (
        _repair_or_its_proof(allowed, repairs, tried, settings)
        or best_test(allowed, aim)
        or _free_try(repairs, tried)
        or _last_word(repairs, held)
    )


def _repair_or_its_proof(
    allowed: Sequence[RankedTest], repairs: Sequence[RankedRepair], tried: Sequence[str], settings: ShopSettings
) -> Advice | None:
    """The likeliest cure, if past its gate, or the test that proves the rest first.

    Only the likeliest: a panel is not opened for the LED side when the cable outside it is the better guess. What was
    tried without success is not advised again.
    """
    likeliest = next((repair for repair in repairs if repair.repair not in tried), None)
    if likeliest is None or likeliest.named_right < likeliest.gate or not settings.may_do(likeliest.step.hazard):
        return None
    if not likeliest.waits_for and not likeliest.unproved and not likeliest.held_because:
        sure = (
            f"{percent(likeliest.named_right)} sure of {likeliest.judged}, past the gate of {percent(likeliest.gate)}"
        )
        return Advice("repair", likeliest.repair, sure)
    worths = [test.worth for test in allowed]
    needed = _before(allowed, worths, likeliest.waits_for)
    if needed is None:
        needed = _before(allowed, worths, [tuple(proof) for proof in likeliest.unproved])
    if needed is None:
        return None
    return Advice("test", allowed[needed].test, f"by the trade's order this is proved before: {likeliest.label}")


def best_test(allowed: Sequence[RankedTest], aim: str) -> Advice | None:
    """The test with most repair information for its cost, or what the trade does before it, even at no gain."""
    found = to_make_next(allowed, [test.gain_repair_bits for test in allowed], [test.worth for test in allowed])
    if found is None:
        return None
    best, made = allowed[found.best], allowed[found.made]
    if found.made != found.best:
        return Advice("test", made.test, f"by the trade's order this comes before: {best.label}")
    why = f"tells most about {aim} for what it costs ({best.gain_repair_bits:.2f} bit)"
    return Advice("test", best.test, why + (f"; usually {choices_in_words(best.waits_for)}" if best.waits_for else ""))


class Picked(NamedTuple):
    """Tests by number. best: most repair information for its cost; made: what the trade does before it, or itself."""

    best: int
    made: int


def to_make_next(
    allowed: Sequence[RankedTest], gains_bits: Sequence[float], worths: Sequence[float]
) -> Picked | None:
    """Which test to make where each has this repair gain, and is worth so much; None where none tells enough."""
    best = max(range(len(allowed)), key=worths.__getitem__, default=None)
    if best is None or gains_bits[best] < WORTH_ASKING_BITS:
        return None
    earlier = _before(allowed, worths, allowed[best].waits_for)
    return Picked(best, best if earlier is None else earlier)


def _before(
    allowed: Sequence[RankedTest], worths: Sequence[float], waits_for: Sequence[tuple[str, ...]]
) -> int | None:
    """The first open test among those waited for, or what that one waits for in turn; None when there is none to do."""
    for choice in waits_for:
        open_tests = [number for number, test in enumerate(allowed) if not set(choice).isdisjoint(test.reveals)]
        if open_tests:
            earlier = max(open_tests, key=worths.__getitem__)
            still_earlier = _before(allowed, worths, allowed[earlier].waits_for)
            return earlier if still_earlier is None else still_earlier
    return None


def _free_try(repairs: Sequence[RankedRepair], tried: Sequence[str]) -> Advice | None:
    """A repair that costs nothing but minutes and cannot hurt."""
    for repair in repairs:
        is_free = repair.step.hazard == 0 and repair.parts_high == 0
        if is_free and repair.repair not in tried and repair.cures >= WORTH_A_FREE_TRY:
            return Advice("repair", repair.repair, f"costs only minutes and may cure ({percent(repair.cures)})")
    return None


def _last_word(repairs: Sequence[RankedRepair], held: Sequence[HeldBack]) -> Advice:
    if any(back.needs_training for back in held):
        return Advice("hand_over", "", "what is left is for a trained person: hand over, with the probabilities so far")
    likeliest = next(iter(repairs), None)
    if likeliest is None:
        return Advice("stop", "", "no open test says much more")
    cure = f"{likeliest.label} ({percent(likeliest.cures)} that the set then works)"
    return Advice("stop", "", f"no open test says much more; the likeliest cure is to {cure}")
