"""One piece of advice: repair, test, stop or hand over."""

from collections.abc import Sequence

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.model.work import choices_in_words
from faultnet.ranking.result import Advice, HeldBack, RankedTest
from faultnet.repairs import RankedRepair
from faultnet.settings import ShopSettings
from faultnet.words import percent

WORTH_ASKING_BITS = 0.01
"""A test that tells less about which parts need work is not advised for its information."""

NO_TEST = -1
"""In the place of a test's number."""

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
    worths = np.array([[test.worth] for test in allowed]).reshape(-1, 1)
    [needed] = _before(allowed, worths, likeliest.waits_for)
    if needed == NO_TEST:
        [needed] = _before(allowed, worths, [tuple(proof) for proof in likeliest.unproved])
    if needed == NO_TEST:
        return None
    return Advice("test", allowed[needed].test, f"by the trade's order this is proved before: {likeliest.label}")


def best_test(allowed: Sequence[RankedTest], aim: str) -> Advice | None:
    """The test with most repair information for its cost, or what the trade does before it, even at no gain."""
    if not allowed:
        return None
    gains = np.array([[test.gain_repair_bits] for test in allowed])
    [number], [first] = to_make_next(allowed, gains)
    if first == NO_TEST:
        return None
    best = allowed[number]
    if first != number:
        return Advice("test", allowed[first].test, f"by the trade's order this comes before: {best.label}")
    why = f"tells most about {aim} for what it costs ({best.gain_repair_bits:.2f} bit)"
    return Advice("test", best.test, why + (f"; usually {choices_in_words(best.waits_for)}" if best.waits_for else ""))


def to_make_next(allowed: Sequence[RankedTest], gains_bits: Floats) -> tuple[Ints, Ints]:
    """The test with most repair information for its cost, and the one to make: what the trade does before it, or it.

    gains_bits: repair gains of the tests in each of n standings, ``(n_tests, n)``. Tests by number, ``(n,)`` both; the
    one to make is `NO_TEST` where none tells enough.
    """
    worths = gains_bits / np.array([[test.divisor] for test in allowed])
    best = worths.argmax(axis=0)
    tells = gains_bits[best, np.arange(len(best))] >= WORTH_ASKING_BITS
    return best, np.where(tells, _first_of_all(allowed, worths, best), NO_TEST)


def _first_of_all(allowed: Sequence[RankedTest], worths: Floats, number: Ints) -> Ints:
    """What the trade does before these tests, or they themselves. worths: ``(n_tests, n)``; number: ``(n,)``."""
    first = number.copy()
    for one in np.unique(number).tolist():
        here = np.flatnonzero(number == one)
        earlier = _before(allowed, worths[:, here], allowed[one].waits_for)
        first[here] = np.where(earlier == NO_TEST, one, earlier)
    return first


def _before(allowed: Sequence[RankedTest], worths: Floats, waits_for: Sequence[tuple[str, ...]]) -> Ints:
    """The first open test among those waited for, or what that one waits for in turn; `NO_TEST` for none to do."""
    for choice in waits_for:
        open_tests = [number for number, test in enumerate(allowed) if not set(choice).isdisjoint(test.reveals)]
        if open_tests:
            return _first_of_all(allowed, worths, np.array(open_tests)[worths[open_tests].argmax(axis=0)])
    return np.full(worths.shape[1], NO_TEST)


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
