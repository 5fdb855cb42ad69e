"""How often a test would be the one to make over draws of the numbers, against models with the drawn numbers."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace
from math import isclose, log2

import numpy as np
import pytest
from test_diagnosis import LAMP_CASES, case_of, drawn_model, lamp

from faultnet.case import Case, believe, parse_events
from faultnet.case.believed import Believed
from faultnet.diagnosis.drawn_belief import drawn_belief
from faultnet.files import load_model
from faultnet.model.draws import Draws
from faultnet.ranking import rank_tests
from faultnet.ranking.advise import NO_TEST, WORTH_ASKING_BITS, best_test, to_make_next
from faultnet.ranking.on_top import LEAST_BITS, with_times_on_top
from faultnet.settings import ShopSettings
from faultnet.telling.answer import on_top_words

N = 20


@pytest.mark.parametrize("name", LAMP_CASES)
def test_gains_agree_with_solving_every_draw_anew(name: str) -> None:
    model = lamp(strength=50, second_fault_share=0.15)
    case = case_of(model, *LAMP_CASES[name])
    drawn, decided = drawn_belief(Believed(model, case), N, seed=2), model.compiled.to_decide
    solved = [believe(drawn_model(model, Draws(model, N, 2), number), case) for number in range(N)]
    open_leaves = [leaf for leaf in model.observations if leaf != model.complaint]
    spread = 0.0
    for leaves in [(leaf,) for leaf in open_leaves] + [tuple(open_leaves[:2])]:
        found = drawn.gains_bits(leaves, decided)
        wanted = np.array([each.gain_bits(leaves, decided) for each in solved])
        np.testing.assert_allclose(found, wanted, atol=0.002)
        spread = max(spread, float(np.ptp(wanted)))
    assert spread > 0.02  # else the comparison would say nothing


TOLD = ("sound=present", "flashlight=image_seen", "startup_flash=none", "loaded_voltage=0.1,0,0.2")
REPAIRED = (*TOLD, "bl_on=high", "replace_strips=not", "loaded_voltage=31x5")


@pytest.mark.parametrize("told", [(), TOLD, REPAIRED], ids=["nothing told", "volts", "a repair"])
@pytest.mark.parametrize("leaves", [("sound",), ("fuses",), ("open_voltage",), ("bl_on", "blink_code")], ids="+".join)
def test_gains_over_draws_agree_with_adding_up_one_state_at_a_time(
    told: tuple[str, ...], leaves: tuple[str, ...]
) -> None:
    model = load_model("backlight@0")
    drawn = drawn_belief(Believed(model, Case(tuple(parse_events(model, told)))), 3, seed=1)
    axes, decided = model.compiled.table.axes, model.compiled.to_decide
    rows, row_of = drawn.drawn.outcome_rows(leaves)
    sides, sizes = axes.sides_of(row_of), (*row_of.shape[:-1], len(drawn.drawn.kept))
    row_of = np.broadcast_to(row_of, sizes).reshape(-1).tolist()
    states = [axes.index[node].reshape(-1)[drawn.drawn.kept] for node in decided]
    groups = [
        tuple(decided[node][s] for node, s in zip(decided, each, strict=True)) for each in zip(*states, strict=True)
    ]
    for draw, chances in enumerate(drawn.over(sides).tolist()):
        assert sum(chances) == pytest.approx(1)
        joint: dict[tuple[int, tuple[int, ...]], float] = {}
        by_row = [row.tolist() for row in rows[draw]]
        for entry, chance in enumerate(chances):
            for outcome, share in enumerate(by_row[row_of[entry]]):
                cell = outcome, groups[entry % sizes[-1]]
                joint[cell] = joint.get(cell, 0.0) + chance * share
        assert drawn.gains_bits(leaves, decided)[draw] == pytest.approx(information_bits(joint), abs=1e-12)


def information_bits(joint: Mapping[tuple[int, tuple[int, ...]], float]) -> float:
    """I(X ; Y) = sum p log2 (p / p(x) p(y)) (Cover & Thomas 2006, eq. 2.28)."""
    first: dict[int, float] = defaultdict(float)
    second: dict[tuple[int, ...], float] = defaultdict(float)
    for (x, y), chance in joint.items():
        first[x] += chance
        second[y] += chance
    return sum(p * log2(p / (first[x] * second[y])) for (x, y), p in joint.items() if p > 0)


@pytest.mark.parametrize("told", [TOLD[:3], TOLD, REPAIRED], ids=["findings", "volts", "a repair"])
def test_times_on_top_count_what_would_be_advised_in_each_draw(told: tuple[str, ...]) -> None:
    """Each draw's gains put into the tests, and these asked for advice one draw at a time."""
    model = load_model("backlight@0")
    case, n = Case(tuple(parse_events(model, told))), 60
    believed, ranking = Believed(model, case), rank_tests(model, case, settings=ShopSettings(trained=True))
    drawn, decided = drawn_belief(believed, n, seed=3), model.compiled.to_decide
    tests = [test for test in ranking.tests if ("test", test.test) not in ranking.held_because]
    usual = [believed.now.gain_bits(test.reveals, decided) for test in tests]
    finer = [t.gain_repair_bits / bits if bits > LEAST_BITS else 1.0 for t, bits in zip(tests, usual, strict=True)]
    gains = np.array([drawn.gains_bits(test.reveals, decided) for test in tests])
    counts = dict.fromkeys((test.test for test in tests), 0)
    for own in gains.T:
        redrawn = [replace(test, gain_repair_bits=f * bits) for test, f, bits in zip(tests, finer, own, strict=True)]
        advised = best_test(redrawn, model.aim)
        if advised is not None:
            counts[advised.id] += 1
    assert len([count for count in counts.values() if count]) > 1  # else one order would do for all
    assert with_times_on_top(model, case, ranking, n, seed=3).on_top == {t: count / n for t, count in counts.items()}


def test_what_the_trade_does_first_is_found_in_each_standing_by_itself() -> None:
    """Against plain recursion, worths at random: the best of the first choice that is open, and what that waits for."""
    model = load_model("backlight@0")
    case = Case(tuple(parse_events(model, TOLD[:3])))
    tests = rank_tests(model, case, settings=ShopSettings(trained=True)).tests
    gains = np.random.default_rng(5).gamma(0.3, size=(len(tests), 400))
    best, made = to_make_next(tests, gains)

    def first(number: int, worths: list[float]) -> int:
        for choice in tests[number].waits_for:
            if open_tests := [n for n, test in enumerate(tests) if set(test.reveals) & set(choice)]:
                return first(max(open_tests, key=lambda n: worths[n]), worths)
        return number

    for draw, own in enumerate(gains.T):
        worths = [float(bits) / max(test.cost, 1e-6) for bits, test in zip(own, tests, strict=True)]
        assert best[draw] == worths.index(max(worths))
        assert made[draw] == (first(int(best[draw]), worths) if own[best[draw]] >= WORTH_ASKING_BITS else NO_TEST)
    assert len(set(made.tolist())) > 3


def test_the_advised_test_of_most_draws_is_the_advised_one() -> None:
    """With numbers worth thousands of jobs nothing else is ever advised; with few, something else often is."""
    model = load_model("backlight@0")
    told = ["sound=present", "flashlight=image_seen", "startup_flash=none"]
    case, trained = Case(tuple(parse_events(model, told))), ShopSettings(trained=True)
    ranking = with_times_on_top(model, case, rank_tests(model, case, settings=trained))
    held = {each.id for each in ranking.held_back}
    assert set(ranking.on_top) == {test.test for test in ranking.tests} - held
    assert isclose(sum(ranking.on_top.values()), 1)
    assert ranking.on_top[ranking.advice.id] < 0.9
    assert f"the same in {round(100 * ranking.on_top[ranking.advice.id])} % of draws" in on_top_words(ranking)
    assert ranking.to_frame().set_index("test").on_top[ranking.advice.id] == ranking.on_top[ranking.advice.id]
    assert with_times_on_top(model, case, ranking) == ranking  # seeded
    sure = replace(ranking, on_top={**dict.fromkeys(ranking.on_top, 0.0), ranking.advice.id: 0.95})
    assert on_top_words(sure) == ""
    assert on_top_words(rank_tests(model, case, settings=trained)) == ""
