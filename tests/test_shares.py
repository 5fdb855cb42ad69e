"""Shares of jobs: intervals of counts, jobs nobody is sure of, groups drawn together, and changes over time."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import beta, betabinom, gamma, poisson
from statsmodels.stats.proportion import proportion_confint
from test_pooling import TUMOURS

from faultnet.statistics.changes import changes, yearly
from faultnet.statistics.shares import OverShares, grid, jeffreys, of_counts, of_doubtful, pooled, unpooled

# -- counts ------------------------------------------------------------------------------------------------------------

PUBLISHED = {
    # 95 %, Newcombe 1998, Table I: values from memory, recomputed
    (81, 263): (0.2545, 0.3656),
    (15, 148): (0.0604, 0.1576),
    (0, 20): (0.0, 0.1166),
    (1, 29): (0.0037, 0.1501),
    (7, 10): (0.3942, 0.9073),
    # read in statsmodels' results_proportion.py (0.15.0), output of R's binom.confint
    (18, 20): (0.7161467, 0.9786275),
    (4, 20): (0.0715201, 0.4082258),
    (4, 200): (0.0067876, 0.0468466),
}


@pytest.mark.published
@pytest.mark.parametrize(("counts", "ends"), PUBLISHED.items())
def test_jeffreys_intervals_as_published(counts: tuple[int, int], ends: tuple[float, float]) -> None:
    told = jeffreys(*counts, level=0.95)
    digits = 4 if ends[1] == round(ends[1], 4) else 7
    assert (told.low, told.high) == pytest.approx(ends, abs=0.51 * 10**-digits)
    assert told.value == pytest.approx((counts[0] + 0.5) / (counts[1] + 1))  # NASA/SP-2009-569, section 4.2.1.2


@given(st.integers(0, 60), st.integers(1, 60))
def test_jeffreys_as_another_library_has_it(events: int, others: int) -> None:
    of = events + others
    low, high = proportion_confint(events, of, alpha=0.1, method="jeffreys")
    assert jeffreys(events, of) == pytest.approx(((events + 0.5) / (of + 1), 0 if events == 0 else low, high))
    assert jeffreys(of, of).high == 1


def test_placenta_praevia() -> None:
    """Gelman et al., BDA, section 2.4: 437 girls in 980, 95 % [.415, .477], mean .446 (from memory, recomputed).

    Theirs is the uniform prior; a thousandth apart from Jeffreys' at this size.
    """
    assert jeffreys(437, 980, level=0.95) == pytest.approx((0.446, 0.415, 0.477), abs=1e-3)


@settings(max_examples=30)
@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 400)), min_size=1, max_size=5))
def test_the_grid_says_what_the_closed_form_says(counts: list[tuple[int, int]]) -> None:
    events, of = np.array([(x, x + rest) for x, rest in counts]).T
    for told, x, n in zip(unpooled(of_counts(events, of)).estimates(), events, of, strict=True):
        closed = beta(x + 0.5, n - x + 0.5)
        assert told.value == pytest.approx(closed.mean(), abs=1e-4)  # the grid ends 18 either way in log odds
        assert (told.low, told.high) == pytest.approx(closed.ppf([0.05, 0.95]), abs=2e-4)


# -- jobs nobody is sure of -------------------------------------------------------------------------------------------


@settings(max_examples=30)
@given(st.integers(0, 30), st.integers(0, 30), st.floats(0.02, 0.98))
def test_jobs_that_are_sure_count_as_labels(with_it: int, without: int, before: float) -> None:
    n = max(with_it + without, 1)
    said = np.array(([1.0] * with_it + [0.0] * without) or [0.0])
    doubtful = of_doubtful(said, np.full(n, before), np.ones(n), np.zeros(n, int), 1, grid(n))
    told, counted = unpooled(doubtful).estimates()[0], unpooled(of_counts([said.sum()], [n])).estimates()[0]
    assert told == pytest.approx(counted, abs=2e-5)


def test_jobs_that_say_nothing_leave_the_share_open() -> None:
    nothing = of_doubtful(np.full(50, 0.3), np.full(50, 0.3), np.ones(50), np.zeros(50, int), 1, grid(50))
    assert nothing.values[0] == pytest.approx(np.full(len(nothing.log_odds), nothing.values[0, 0]), abs=1e-8)
    assert unpooled(nothing).estimates()[0] == pytest.approx((0.5, *beta(0.5, 0.5).ppf([0.05, 0.95])), abs=2e-3)


def test_doubtful_jobs_against_the_sum_over_all_labels() -> None:
    """A mixture's likelihood by adding up every way the jobs can be, weighed by quadrature over the share."""
    said, before = np.array([0.9, 0.6, 0.2, 0.05]), 0.25
    ratio = (said / before, (1 - said) / (1 - before))

    def likelihood(share: float) -> float:
        return float(np.prod(share * ratio[0] + (1 - share) * ratio[1]))

    def posterior(share: float) -> float:
        return likelihood(share) * float(beta(0.5, 0.5).pdf(share))

    total = quad(posterior, 0, 1, limit=200)[0]
    mean = quad(lambda share: share * posterior(share), 0, 1, limit=200)[0] / total
    doubtful = of_doubtful(said, np.full(4, before), np.ones(4), np.zeros(4, int), 1, grid(4))
    told = unpooled(doubtful).estimates()[0]
    assert told.value == pytest.approx(mean, abs=1e-4)
    assert quad(posterior, 0, told.low, limit=200)[0] / total == pytest.approx(0.05, abs=1e-3)
    assert quad(posterior, told.high, 1, limit=200)[0] / total == pytest.approx(0.05, abs=1e-3)


def test_weighing_by_likelihoods_covers_the_share_and_rounding_to_labels_does_not() -> None:
    """A reading with and without the fault overlaps: of 100 jobs, 15 with it, 20 are labelled as if they had it."""
    rng = np.random.default_rng(7)
    held = {"weighed": 0, "labels": 0}
    true, n, before = 0.15, 400, 0.3
    for _ in range(200):
        has = rng.random(n) < true
        seen = np.where(has, rng.beta(3, 2, n), rng.beta(2, 3, n))
        odds = before / (1 - before) * seen / (1 - seen)
        said = odds / (1 + odds)
        doubtful = of_doubtful(said, np.full(n, before), np.ones(n), np.zeros(n, int), 1, grid(n))
        for what, told in (("weighed", unpooled(doubtful).estimates()[0]), ("labels", jeffreys((said > 0.5).sum(), n))):
            held[what] += told.low <= true <= told.high
    assert 168 <= held["weighed"] <= 192  # 180 of 200 expected; 1 in 1,000 right methods would fall outside
    assert held["labels"] < 150


def test_jobs_that_count_for_two_are_two() -> None:
    said, before = np.array([0.9, 0.3, 0.3]), np.full(3, 0.4)
    twice = of_doubtful(said, before, np.ones(3), np.zeros(3, int), 1, grid(3))
    once = of_doubtful(said[:2], before[:2], np.array([1.0, 2.0]), np.zeros(2, int), 1, grid(3))
    assert once.values == pytest.approx(twice.values, abs=1e-9)


# -- groups ------------------------------------------------------------------------------------------------------------


@pytest.mark.published
def test_rat_tumours_drawn_together() -> None:
    """Tarone 1982; Gelman et al., BDA, 5.3: posterior means 2.4027 and 14.320 under (a + b)^(-5/2), and three rates.

    The means are quoted, and were recomputed on a grid; the rates are derived by such a grid.
    """
    pairs = [tuple(map(int, each.split("/"))) for each in TUMOURS.split()]
    found = pooled(of_counts(*np.array(pairs, dtype=float).T))
    assert (found.alpha, found.beta) == pytest.approx((2.4027, 14.320), abs=2e-3)
    told = {pair: each.value for pair, each in zip(pairs, found.of_groups.estimates(), strict=True)}
    assert (told[0, 20], told[16, 52], told[4, 14]) == pytest.approx((0.06357, 0.26874, 0.21086), abs=2e-5)


def test_marginal_likelihoods_are_beta_binomial() -> None:
    """The posterior of the pull, from another library's beta-binomial on a grid of its own."""
    events, of = np.array([3, 9, 2, 14]), np.array([20, 25, 18, 22])
    found = pooled(of_counts(events, of), n_nodes=61)
    means, pulls = np.meshgrid(np.linspace(0.002, 0.998, 300), np.geomspace(0.5, 9000, 300), indexing="ij")
    logs = betabinom.logpmf(events, of, (means * pulls)[..., None], ((1 - means) * pulls)[..., None]).sum(axis=-1)
    weights = np.exp(logs - logs.max()) * pulls**-0.5  # even in the mean and in one over the root, steps in logarithms
    weights /= weights.sum()
    assert found.common.value == pytest.approx((weights * means).sum(), abs=1e-3)
    assert found.pull_jobs.value == pytest.approx((weights * pulls**-0.5).sum() ** -2, rel=0.03)


def test_draws_are_averaged_and_groups_that_are_alike_are_pulled_together() -> None:
    alike = of_counts([20] * 8, [100] * 8)
    told = pooled(alike)
    assert told.pull_jobs.value > 100
    by_itself, together = unpooled(alike).estimates()[0], told.of_groups.estimates()[0]
    assert together.high - together.low < 0.7 * (by_itself.high - by_itself.low)
    other = of_counts([40] * 8, [100] * 8)
    mixed = unpooled(alike, other)
    assert mixed.values == pytest.approx((unpooled(alike).values + unpooled(other).values) / 2)


# -- over time ---------------------------------------------------------------------------------------------------------

DISASTERS = (
    4, 5, 4, 0, 1, 4, 3, 4, 0, 6, 3, 3, 4, 0, 2, 6, 3, 3, 5, 4, 5, 3, 1, 4, 4, 1, 5, 5, 3, 4, 2, 5, 2, 2, 3, 4, 2, 1,
    3, 2, 2, 1, 1, 1, 1, 3, 0, 0, 1, 0, 1, 1, 0, 0, 3, 1, 0, 3, 2, 2, 0, 1, 1, 1, 0, 1, 0, 1, 0, 0, 0, 2, 1, 0, 0, 0,
    1, 1, 0, 2, 3, 3, 1, 1, 2, 1, 1, 1, 1, 2, 4, 2, 0, 0, 1, 4, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 1, 0, 1,
)  # fmt: skip
"""Coal-mining disasters by year from 1851 (Jarrett 1979, Biometrika 66, 191-193): values from memory."""

RATES = np.exp(np.linspace(-5, 3, 600))


@pytest.mark.published
def test_coal_mining_disasters_changed_about_1890() -> None:
    """One change: likeliest after 1891, the years 1889 to 1891 before all others (Raftery & Akman 1986; Carlin, Gelfand
    & Smith 1992): from memory. Levels of 3.1 and .9 a year.
    """
    counts = np.array(DISASTERS, dtype=float)
    assert (len(counts), counts.sum()) == (111, 191)
    logs = counts[:, None] * np.log(RATES) - RATES
    prior = gamma.logpdf(RATES, 1.0) + np.log(RATES)
    prior -= np.logaddexp.reduce(prior)
    found = changes(logs, prior)
    assert found.chance > 0.999
    assert set(1850 + np.argsort(-found.after[:60])[:3] + 1) == {1889, 1890, 1891}
    assert 1850 + found.cuts[0] == 1891
    assert found.levels[0] @ RATES == pytest.approx(3.1, abs=0.1)
    first, last = found.between(0)
    assert 1884 <= 1850 + first <= 1891 <= 1850 + last <= 1897


def test_changes_against_every_way_to_part_the_series() -> None:
    """Up to four changes of eight periods, added up one by one with closed forms of gamma-Poisson."""
    from itertools import combinations
    from math import comb

    counts = np.array([5, 4, 6, 1, 0, 1, 7, 8], dtype=float)
    rates = np.exp(np.linspace(-9, 5, 4000))
    logs = poisson.logpmf(counts[:, None], rates)
    prior = gamma.logpdf(rates, 2.0, scale=1.5) + np.log(rates)
    prior -= np.logaddexp.reduce(prior)

    def stretch(own: np.ndarray) -> float:
        return float(np.exp(np.logaddexp.reduce(poisson.logpmf(own[:, None], rates).sum(axis=0) + prior)))

    by_cuts = {}
    for k in range(5):
        chance = 0.9 if k == 0 else 0.1 * 0.5**k / (1 - 0.5**4)
        for cuts in combinations(range(1, 8), k):
            parts = np.split(counts, cuts)
            by_cuts[cuts] = chance / comb(7, k) * float(np.prod([stretch(part) for part in parts]))
    total = sum(by_cuts.values())
    found = changes(logs, prior)
    assert found.chance == pytest.approx(1 - by_cuts[()] / total, abs=1e-9)
    for place in range(1, 8):
        here = sum(chance for cuts, chance in by_cuts.items() if place in cuts)
        assert found.after[place - 1] == pytest.approx(here / total, abs=1e-9)


def test_a_series_that_does_not_change_is_seldom_said_to() -> None:
    rng = np.random.default_rng(3)
    prior = unpooled(OverShares(grid(40), np.zeros((1, len(grid(40)))))).values[0]
    alarms = 0
    for _ in range(60):
        series = of_counts(rng.binomial(40, 0.2, 24), np.full(24, 40))
        alarms += changes(series.values, np.log(prior)).chance > 0.5
    assert alarms <= 4


def test_a_steady_trend_is_found_with_its_factor() -> None:
    """Draws of 24 months of 60 jobs whose odds double each year; 90 % intervals of 100 hold it 82 to 97 times."""
    rng = np.random.default_rng(5)
    years = (np.arange(24) + 0.5) / 12
    share = 1 / (1 + np.exp(1.6 - np.log(2) * years))
    held = 0
    for _ in range(100):
        told = yearly(years, of_counts(rng.binomial(60, share), np.full(24, 60)))
        held += told.low <= 2 <= told.high
    assert 82 <= held <= 97


def test_scaling_time_scales_the_trend() -> None:
    series = of_counts([3, 5, 9, 12], [40, 40, 40, 40])
    years = np.array([0.0, 1.0, 2.0, 3.0])
    once, twice = yearly(years, series), yearly(2 * years, series)
    assert np.log(once.value) == pytest.approx(2 * np.log(twice.value), rel=1e-2)
