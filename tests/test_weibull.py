"""Weibull distributions of times: published fits, scipy on rows written out, brute force, and simulation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import CensoredData, binom, chi2, weibull_min

from faultnet.errors import TooLittleData, UsageProblem
from faultnet.statistics.lifetimes import Lifetimes
from faultnet.statistics.limited_failures import LimitedFailures, fit_limited_failures
from faultnet.statistics.weibull import Weibull, fit_weibull

# NIST/SEMATECH e-Handbook of Statistical Methods 8.4.1.3 (seen as quoted): 20 units, 10 failed by 500 h.
NIST = Lifetimes.of([54, 187, 216, 240, 244, 335, 361, 373, 375, 386, 500], [True] * 10 + [False], [1] * 10 + [10])

# Lieblein & Zelen 1956, deep-groove ball bearings, millions of revolutions. The seventh is 48.48 in some listings.
BEARINGS = Lifetimes.of(
    [
        *(17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.40, 51.84, 51.96, 54.12, 55.56, 67.80),
        *(68.64, 68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40),
    ],
    [True] * 23,
)

# Meeker 1987, Technometrics 29: 4156 integrated circuits, of which 28 failed within 1370 h. Seen as the data set of
# a survival library.
CIRCUITS_H = (
    *(0.1, 0.1, 0.15, 0.6, 0.8, 0.8, 1.2, 2.5, 3, 4, 4, 6, 10, 10),
    *(12.5, 20, 20, 43, 43, 48, 48, 54, 74, 84, 94, 168, 263, 593),
)
CIRCUITS = Lifetimes.of([*CIRCUITS_H, 1370], [True] * 28 + [False], [1] * 28 + [4156 - 28])


# -- published ---------------------------------------------------------------------------------------------------------


@pytest.mark.published
def test_ten_of_twenty_units_of_nist() -> None:
    """Shape 1.7207 (or 1.7208), scale 606.5280, log likelihood -75.135, AIC 154.27; recomputed 1.720797, 606.5275."""
    fit = fit_weibull(NIST)
    assert fit.shape.value == pytest.approx(1.7208, abs=1e-4)
    assert fit.shape.value == pytest.approx(1.720797, abs=5e-7)
    assert fit.scale.value == pytest.approx(606.528, abs=1e-3)
    assert fit.log_likelihood == pytest.approx(-75.13462, abs=5e-6)
    assert fit.aic == pytest.approx(154.27, abs=5e-3)
    assert (fit.n, fit.n_events) == (20, 10)


@pytest.mark.published
def test_ball_bearings() -> None:
    """Shape 2.102, scale 81.875 (seen); recomputed 2.10185, 81.8746, log likelihood -113.692."""
    fit = fit_weibull(BEARINGS)
    assert fit.shape.value == pytest.approx(2.102, abs=0.01)  # wide enough for either seventh value
    assert fit.shape.value == pytest.approx(2.10185, abs=5e-6)
    assert fit.scale.value == pytest.approx(81.8746, abs=5e-5)
    assert fit.log_likelihood == pytest.approx(-113.692, abs=5e-4)


@pytest.mark.published
def test_circuits_most_of_which_never_fail() -> None:
    """Share .00674, shape .496, scale 28.4 h (share from memory; recomputed .0067445, .495976, 28.3672, -293.0329)."""
    fit = fit_limited_failures(CIRCUITS)
    assert fit.share.value == pytest.approx(0.0067445, abs=5e-7)
    assert fit.shape.value == pytest.approx(0.495976, abs=5e-6)
    assert fit.scale.value == pytest.approx(28.3672, abs=5e-4)
    assert fit.log_likelihood == pytest.approx(-293.0329, abs=5e-5)
    assert fit.aic < fit_weibull(CIRCUITS).aic - 10
    assert fit.share.high < 0.02


# -- against scipy, and by brute force ---------------------------------------------------------------------------------


def drawn(seed: int, n: int, shape: float, scale: float, until: float, share: float = 1.0) -> Lifetimes:
    """Units of which a share can fail, watched until different times; weights 1 to 3."""
    rng = np.random.default_rng(seed)
    came = np.where(rng.random(n) < share, scale * rng.weibull(shape, n), np.inf)
    last = rng.uniform(0.3, 1, n) * until
    return Lifetimes.of(np.minimum(came, last), came <= last, rng.integers(1, 4, n))


def written_out(lifetimes: Lifetimes) -> CensoredData:
    times, events = (np.repeat(a, lifetimes.weights.astype(int)) for a in (lifetimes.times, lifetimes.is_event))
    return CensoredData.right_censored(times, ~events)


def log_likelihood(lifetimes: Lifetimes, k: float | np.ndarray, scale: float | np.ndarray, share: float = 1.0) -> float:
    """The best over these shapes and scales, by scipy's density and survival."""
    t, event, w = (a[:, None] for a in (lifetimes.times, lifetimes.is_event, lifetimes.weights))
    k, scale = (np.ravel(a) for a in np.broadcast_arrays(k, scale))
    surviving = weibull_min.logsf(t, k, scale=scale)
    if share < 1:
        surviving = np.log(share * np.exp(surviving) + 1 - share)
    logs = np.where(event, np.log(share) + weibull_min.logpdf(t, k, scale=scale), surviving)
    return float((w * logs).sum(axis=0).max())


@pytest.mark.parametrize(("seed", "shape"), [(1, 0.6), (2, 1.0), (3, 2.5), (4, 6.0)])
def test_the_fit_is_that_of_scipy(seed: int, shape: float) -> None:
    sample = drawn(seed, 80, shape, 300.0, 500.0)
    fit = fit_weibull(sample)
    k, _, scale = weibull_min.fit(written_out(sample), floc=0)
    assert (fit.shape.value, fit.scale.value) == (pytest.approx(k, rel=1e-3), pytest.approx(scale, rel=1e-3))
    assert fit.log_likelihood >= log_likelihood(sample, k, scale) - 1e-9
    assert fit.log_likelihood == pytest.approx(log_likelihood(sample, fit.shape.value, fit.scale.value), abs=1e-8)


@pytest.mark.parametrize("level", [0.5, 0.9, 0.99])
def test_intervals_are_where_the_profile_has_dropped(level: float) -> None:
    """At either end of an interval the best that the other number can do is chi-square(level; 1)/2 below the top."""
    sample = drawn(7, 30, 1.8, 300.0, 400.0)
    fit, drop = fit_weibull(sample, level), chi2.ppf(level, 1) / 2
    near = np.exp(np.linspace(-2, 2, 4001))
    for k in (fit.shape.low, fit.shape.high):
        best = log_likelihood(sample, k, fit.scale.value * near)
        assert fit.log_likelihood - best == pytest.approx(drop, abs=1e-4)
    for scale in (fit.scale.low, fit.scale.high):
        best = log_likelihood(sample, fit.shape.value * near, scale)
        assert fit.log_likelihood - best == pytest.approx(drop, abs=1e-4)


def test_covariance_is_the_curvature() -> None:
    """Second differences of scipy's likelihood; at the scale itself log(-log) spreads as shape times its logarithm."""
    fit = fit_weibull(NIST)
    k, scale = fit.shape.value, fit.scale.value
    steps = np.array([1e-3 * k, 1e-3 * scale])

    def at(i: float, j: float) -> float:
        return log_likelihood(NIST, k + i * steps[0], scale + j * steps[1])

    second = np.array([[at(1, 0) + at(-1, 0) - 2 * at(0, 0), 0], [0, at(0, 1) + at(0, -1) - 2 * at(0, 0)]])
    second[0, 1] = second[1, 0] = (at(1, 1) + at(-1, -1) - at(1, -1) - at(-1, 1)) / 4
    assert fit.covariance == pytest.approx(np.linalg.inv(-second / np.outer(steps, steps)), rel=1e-4)
    low, high = fit.survival_band(np.array([scale]))
    wide = 1.6448536 * k / scale * np.sqrt(fit.covariance[1, 1])
    assert (low[0], high[0]) == (pytest.approx(np.exp(-np.exp(wide))), pytest.approx(np.exp(-np.exp(-wide))))


def test_ends_of_limited_failures_by_brute_force() -> None:
    """The likelihood's best over a fine grid of shape and scale, at either end of the share's interval."""
    fit, drop = fit_limited_failures(CIRCUITS), chi2.ppf(0.9, 1) / 2
    assert fit.log_likelihood == pytest.approx(
        log_likelihood(CIRCUITS, fit.shape.value, fit.scale.value, fit.share.value), abs=1e-8
    )
    shapes, scales = np.linspace(0.40, 0.60, 81), np.exp(np.linspace(np.log(14), np.log(60), 81))
    for share in (fit.share.low, fit.share.high):
        best = log_likelihood(CIRCUITS, shapes[:, None], scales, share)
        assert fit.log_likelihood - best == pytest.approx(drop, abs=2e-3)  # the grid misses the top by so little


# -- what must hold of any data ----------------------------------------------------------------------------------------

samples = st.lists(st.tuples(st.integers(1, 400), st.booleans(), st.integers(1, 4)), min_size=4, max_size=25).filter(
    lambda rows: len({t for t, event, _ in rows if event}) >= 2
)


def numbers(fit: Weibull | LimitedFailures) -> list[float]:
    return [fit.shape.value, fit.shape.low, fit.shape.high, fit.scale.value, fit.scale.low, fit.scale.high]


@given(samples, st.floats(0.01, 1000))
def test_another_unit_of_time_scales_the_scale_alone(rows: list[tuple[int, bool, int]], unit: float) -> None:
    times, is_event, weights = (np.array(column) for column in zip(*rows, strict=True))
    fit, other = (fit_weibull(Lifetimes.of(t, is_event, weights)) for t in (times, times * unit))
    assert numbers(other)[:3] == pytest.approx(numbers(fit)[:3], rel=1e-6)
    assert numbers(other)[3:] == pytest.approx([unit * each for each in numbers(fit)[3:]], rel=1e-6)
    assert other.log_likelihood == pytest.approx(fit.log_likelihood - fit.n_events * np.log(unit), abs=1e-6)


@given(samples)
def test_weight_is_a_row_as_often(rows: list[tuple[int, bool, int]]) -> None:
    times, is_event, weights = (np.array(column) for column in zip(*rows, strict=True))
    fit = fit_weibull(Lifetimes.of(times, is_event, weights))
    out = fit_weibull(Lifetimes.of(np.repeat(times, weights), np.repeat(is_event, weights)))
    assert numbers(out) == pytest.approx(numbers(fit), rel=1e-7)
    for each in (fit.shape, fit.scale):
        assert 0 < each.low < each.value < each.high < np.inf
    at = np.array([1.0, 30.0, 500.0])
    low, high = fit.survival_band(at)
    assert np.all((low >= 0) & (low <= fit.survival(at)) & (fit.survival(at) <= high) & (high <= 1))


@pytest.mark.parametrize("seed", range(3))
def test_limited_failures_weigh_rows_and_time_alike(seed: int) -> None:
    sample = drawn(seed, 40, 1.3, 100.0, 400.0, share=0.4)
    fit = fit_limited_failures(sample)
    units = sample.weights.astype(int)
    out = fit_limited_failures(Lifetimes.of(np.repeat(sample.times, units), np.repeat(sample.is_event, units)))
    assert numbers(out) == pytest.approx(numbers(fit), rel=1e-4)
    days = fit_limited_failures(Lifetimes.of(sample.times / 24, sample.is_event, sample.weights))
    assert numbers(days)[:3] == pytest.approx(numbers(fit)[:3], rel=1e-4)
    assert days.scale.value == pytest.approx(fit.scale.value / 24, rel=1e-4)
    assert days.share.value == pytest.approx(fit.share.value, rel=1e-4)
    assert fit.share.low < fit.share.value <= fit.share.high <= 1
    assert fit.log_likelihood >= fit_weibull(sample).log_likelihood - 1e-6


def test_all_units_failing_leave_none_safe() -> None:
    fit, plain = fit_limited_failures(BEARINGS), fit_weibull(BEARINGS)
    assert (fit.share.value, fit.share.high) == (1, 1)
    assert 0.8 < fit.share.low < 1
    assert numbers(fit) == pytest.approx(numbers(plain), rel=1e-3)
    assert fit.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-5)
    # of 23 safe units none: the likelihood of the share is share**23
    assert fit.share.low == pytest.approx(np.exp(-chi2.ppf(0.9, 1) / 2 / 23), abs=1e-4)


def test_shares_over_time() -> None:
    fit, limited = fit_weibull(NIST), fit_limited_failures(CIRCUITS)
    assert fit.survival(np.array([fit.scale.value])) == pytest.approx([np.exp(-1)])
    assert fit.survival(np.array([fit.reached(0.1)])) == pytest.approx([0.9])
    assert limited.survival(np.array([0.0, 1e9])) == pytest.approx([1, 1 - limited.share.value])
    assert limited.survival(np.array([1370.0]))[0] == pytest.approx(4128 / 4156, abs=2e-4)


# -- what cannot be fitted ---------------------------------------------------------------------------------------------


def test_too_few_events() -> None:
    with pytest.raises(TooLittleData, match="at 1 different times; a fit needs 2: watch longer"):
        fit_weibull(Lifetimes.of([5, 5, 9], [True, True, False]))
    with pytest.raises(TooLittleData, match="at 2 different times; a fit needs 3"):
        fit_limited_failures(Lifetimes.of([5, 6, 9], [True, True, False]))
    with pytest.raises(UsageProblem, match="finer unit"):
        fit_weibull(Lifetimes.of([0, 5, 9], [True, True, True]))
    with pytest.raises(ValueError, match="a level"):
        fit_limited_failures(CIRCUITS, 0)
    gone_at_once = Lifetimes.of([0, *NIST.times], [False, *NIST.is_event], [7, *NIST.weights])
    assert numbers(fit_weibull(gone_at_once)) == pytest.approx(numbers(fit_weibull(NIST)))


# -- whether the intervals hold ----------------------------------------------------------------------------------------


def held(sets: int, n: int) -> tuple[int, int]:
    """Of so many sets of n units, about half censored, in how many the intervals hold shape 1.5 and scale 100."""
    rng, shapes, scales = np.random.default_rng(2), 0, 0
    for _ in range(sets):
        came, last = 100 * rng.weibull(1.5, n), rng.uniform(20, 180, n)
        fit = fit_weibull(Lifetimes.of(np.minimum(came, last), came <= last))
        shapes += fit.shape.low <= 1.5 <= fit.shape.high
        scales += fit.scale.low <= 100 <= fit.scale.high
    return shapes, scales


def test_intervals_hold_as_often_as_they_say() -> None:
    """300 sets at 90 %: outside these bounds once in 1,000 runs, were the profile's chi-square exact (it nearly is)."""
    for times in held(300, 60):
        assert binom.ppf(0.0005, 300, 0.9) <= times <= binom.ppf(0.9995, 300, 0.9)


def test_the_share_that_can_fail_is_found() -> None:
    """40 sets of 200 units of which 30 % can fail: the interval holds .3 as often as 90 % do, 1 in 1,000 outside."""
    rng, times = np.random.default_rng(8), 0
    for _ in range(40):
        came = np.where(rng.random(200) < 0.3, 100 * rng.weibull(1.5, 200), np.inf)
        last = rng.uniform(150, 500, 200)
        share = fit_limited_failures(Lifetimes.of(np.minimum(came, last), came <= last)).share
        times += share.low <= 0.3 <= share.high
    assert binom.ppf(0.0005, 40, 0.9) <= times <= binom.ppf(0.9995, 40, 0.9)
