"""The price to name: quantiles against published distributions and against a seeded game of chance."""

from dataclasses import replace

import numpy as np
import pytest

from faultnet import Case, Nominal, ShopSettings, load_model, parse_events, rank_tests
from faultnet.ranking import Ranking
from faultnet.ranking.quote import price_changes
from faultnet.repairs.order import Option, after_failure, mended_chances
from faultnet.repairs.price import Course, Pricing, quantile, spent_so_far

EVENTS = ("sound=present", "flashlight=image_seen", "flash=flash_then_off", "unplugged=65", "tester=dark")


# Sums of n uniforms (Irwin 1927, Hall 1927): F(1/2) = 1/8 for two, F(1) = 1/6 and F(3/2) = 1/2 for three.
@pytest.mark.parametrize(
    ("n", "at", "below"), [(1, 0.3, 0.3), (2, 0.5, 1 / 8), (2, 1.0, 1 / 2), (3, 1.0, 1 / 6), (3, 1.5, 1 / 2)]
)
def test_parts_between_two_prices_add_up_like_uniforms(n: int, at: float, below: float) -> None:
    course = Course(1.0, 40.0, ((10.0, 11.0),) * n)
    assert course.costs_at_most(40 + 10 * n + at) == pytest.approx(below)
    assert course.costs_at_most(40 + 10 * n - 0.01) == 0
    assert course.costs_at_most(40 + 11 * n + 0.01) == 1


def test_quantiles_of_a_mixture_agree_with_a_game_of_chance() -> None:
    courses = [
        Course(0.5, 60.0, ((25.0, 70.0),)),
        Course(0.2, 90.0, ((25.0, 70.0), (20.0, 60.0))),
        Course(0.1, 10.0, ()),
    ]
    rng = np.random.default_rng(5)
    n = 400_000
    which = rng.choice(3, size=n, p=[0.5 / 0.8, 0.2 / 0.8, 0.1 / 0.8])
    first, second = rng.uniform(25, 70, n), rng.uniform(20, 60, n)
    played = np.choose(which, [60 + first, 90 + first + second, np.full(n, 10.0)])
    for share in (0.05, 0.2, 0.5, 0.8, 0.9, 0.97):
        # the fixed price of 10 holds the lowest eighth; else four standard errors of a share
        assert float((played <= quantile(courses, share)).mean()) == pytest.approx(max(share, 0.125), abs=0.003)


@pytest.mark.parametrize("seed", range(10))
def test_what_a_failure_leaves_is_what_the_repairs_did_not_mend(seed: int) -> None:
    rng = np.random.default_rng(seed)
    options = [Option(int(rng.integers(1, 8)), float(rng.uniform(0.2, 1)), 1.0) for _ in range(3)]
    faults = rng.dirichlet(np.ones(8))[None]
    left, made = faults, 0
    for number, option in enumerate(options):
        left, made = after_failure(left, option), made | 1 << number
        assert left.sum() == pytest.approx(1 - float(faults[0] @ mended_chances(options, 8)[made]))


def priced(*events: str, settings: ShopSettings | None = None) -> tuple[Ranking, Pricing]:
    model = load_model("backlight")
    case = Case(parse_events(model, list(events)), nominal=Nominal.label(54))
    ranking = rank_tests(model, case, settings=settings or ShopSettings(trained=True))
    assert ranking.money is not None
    return ranking, Pricing(ranking.money, spent_so_far(ranking.money, case))


def test_a_price_holds_the_bench_time_so_far_and_the_repair() -> None:
    ranking, pricing = priced(*EVENTS)
    (strips,) = (r for r in ranking.repairs if r.repair == "replace_strips")
    labour = (strips.step.setup_minutes + strips.step.minutes) / 60 * 40
    assert pricing.now is not None
    assert pricing.now.low < pricing.now.likely < pricing.now.high
    # P(LED side) is .99 by these findings: the likely price is that of the strips
    assert pricing.now.likely == pytest.approx(
        pricing.spent + labour + (strips.parts_low + strips.parts_high) / 2, rel=0.03
    )
    assert 0.8 < pricing.now.repaired < 0.95


def test_more_done_is_more_spent() -> None:
    spent = [priced(*EVENTS[:n])[1].spent for n in range(len(EVENTS) + 1)]
    assert spent[0] == 0
    assert spent == sorted(spent)
    dear = priced(*EVENTS, settings=replace(ShopSettings(trained=True), hourly_rate=80.0))[1]
    assert dear.spent == pytest.approx(2 * spent[-1])


def test_what_would_change_a_price_are_prices_after_outcomes() -> None:
    ranking, pricing = priced(*EVENTS[:2])
    changes = price_changes(load_model("backlight"), pricing, ranking)
    assert 1 <= len(changes) <= 2
    for change in changes:
        (test,) = (t for t in ranking.tests if t.test == change.test)
        assert set(change.likely) == {outcome.state for outcome in test.outcomes}
    (tester,) = (change for change in changes if change.test == "strip_tester")
    model = load_model("backlight")
    case = Case(parse_events(model, [*EVENTS[:2], "strip_tester=dark"]), nominal=Nominal.label(54))
    seen = rank_tests(model, case, bench=ranking.bench, settings=ranking.settings)  # as if it had been seen for nothing
    assert seen.money is not None
    after = Pricing(seen.money, pricing.spent).now
    assert after is not None
    assert tester.likely["dark"] == pytest.approx(after.likely, abs=1)  # what the cable's plugging alters is not in it
