"""Nominals learned from a list: against formulas written a second time, against integration, and in the limits."""

from itertools import pairwise
from math import exp, log, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, special, stats

from faultnet.readings import Spread
from faultnet.readings.learned import NormalInverseGamma, learned_nominal, learned_spread

LOW, HIGH = 24.0, 200.0  # volts of panels nobody measured (common practice, no source)
ONE_SD, WORTH = 0.03, 4.0  # how far a reading is from its panel's nominal, and readings that is worth (reasoned)

LISTS = [[54.2], [54.2, 53.8], [36.0, 36.9, 35.4, 36.2], [150.0, 149.0, 171.0], [25.0] * 6, [12.0, 12.1], [320.0]]


def predicted(volts: list[float], low: float = LOW, high: float = HIGH) -> tuple[float, float, float]:
    """Centre, scale and dof in the other form: scaled-inverse-chi-square (Gelman et al., BDA3 section 3.3, eq. 3.4).

    mu_n, kappa_n, nu_n, nu_n sigma_n^2 as printed there; the prediction's scale is sigma_n sqrt(1 + 1 / kappa_n)
    (formulas from memory).
    """
    x = np.log(volts)
    n, mu0 = len(volts), float(np.mean(np.log([low, high])))
    range_sd = stats.uniform(log(low), log(high) - log(low)).std()
    kappa0, nu0 = ONE_SD**2 / range_sd**2, WORTH
    kappa, nu = kappa0 + n, nu0 + n
    mu = kappa0 / kappa * mu0 + n / kappa * x.mean()
    spread = x.var(ddof=1) * (n - 1) if n > 1 else 0.0
    total = nu0 * ONE_SD**2 + spread + kappa0 * n / kappa * (x.mean() - mu0) ** 2
    return float(mu), sqrt(total / nu * (1 + 1 / kappa)), nu


@pytest.mark.parametrize("volts", LISTS)
def test_the_prediction_is_the_one_of_the_textbook(volts: list[float]) -> None:
    centre, scale, dof = predicted(volts)
    learned = learned_spread(volts, LOW, HIGH)
    assert (exp(centre), scale, dof) == pytest.approx((learned.volts, learned.relative_sd, learned.dof), rel=1e-12)


def integrated(volts: list[float], at: float) -> float:
    """P(logarithm of the next <= at) by brute force: prior times likelihood over a grid of mean and log spread."""
    x = np.log(volts)
    range_sd = log(HIGH / LOW) / sqrt(12)
    prior = stats.norm((log(LOW) + log(HIGH)) / 2, 1)
    # A column for each log sigma; in units of sigma / sqrt(n) about the average the mean's posterior is smooth.
    log_sigma = np.linspace(log(0.0005), log(3.0), 1201)
    steps = np.linspace(-12, 12, 801)
    sigma = np.exp(log_sigma)[:, None]
    mean = x.mean() + steps * sigma / sqrt(len(x))
    log_prior = prior.logpdf(prior.mean() + (mean - prior.mean()) / (range_sd / ONE_SD * sigma))
    log_prior = log_prior - np.log(range_sd / ONE_SD * sigma)
    # sigma^2 ~ scaled inverse chi-square; the Jacobian of log sigma is 2 sigma^2.
    log_prior = log_prior + stats.invgamma.logpdf(sigma**2, WORTH / 2, scale=WORTH / 2 * ONE_SD**2)
    log_prior = log_prior + np.log(2 * sigma**2)
    weight = log_prior + sum(stats.norm.logpdf(each, mean, sigma) for each in x) + np.log(sigma)
    weight = np.exp(weight - weight.max())
    return float((weight * special.ndtr((at - mean) / sigma)).sum() / weight.sum())


@pytest.mark.parametrize("volts", LISTS)
@pytest.mark.parametrize("off", [-0.2, -0.03, 0.0, 0.01, 0.08])
def test_the_prediction_is_prior_times_likelihood_integrated_over_mean_and_spread(
    volts: list[float], off: float
) -> None:
    learned = learned_spread(volts, LOW, HIGH)
    at = float(np.mean(np.log(volts))) + off
    chance = stats.t(learned.dof, log(learned.volts), learned.relative_sd).cdf(at)
    assert integrated(volts, at) == pytest.approx(chance, abs=1e-6)


def test_the_nodes_of_a_learned_spread_carry_its_prediction() -> None:
    learned = learned_spread([54.2, 53.8], LOW, HIGH)
    volts, weights = learned.nodes()

    def density(v: float) -> float:
        return float(stats.t.pdf(log(v), learned.dof, log(learned.volts), learned.relative_sd)) / v

    between = integrate.quad(lambda v: density(v) * stats.norm.pdf(v, 54, 1), 30, 80, points=[54], epsabs=1e-12)[0]
    assert between == pytest.approx(float(weights @ stats.norm.pdf(volts, 54, 1)), abs=1e-7)


readings = st.lists(st.floats(5, 800), min_size=1, max_size=12)


@given(readings, st.integers(0, 12))
def test_one_by_one_in_portions_or_at_once_is_the_same(volts: list[float], cut: int) -> None:
    logs = [log(each) for each in volts]
    prior = NormalInverseGamma.of_log_volts(LOW, HIGH)
    at_once = prior.after(logs)
    one_by_one = prior
    for each in logs:
        one_by_one = one_by_one.after([each])
    in_portions = prior.after(logs[:cut]).after(logs[cut:])
    for other in (one_by_one, in_portions, prior.after(logs[::-1])):
        assert other.next_one == pytest.approx(at_once.next_one, rel=1e-9)


def test_nothing_read_leaves_the_range_itself() -> None:
    """Mean and standard deviation of a log-uniform distribution, from scipy."""
    told = stats.uniform(log(LOW), log(HIGH) - log(LOW))
    learned = learned_spread([], LOW, HIGH)
    assert told.mean() == pytest.approx(log(learned.volts), rel=1e-12)
    assert sqrt(told.var() + ONE_SD**2) == pytest.approx(learned.relative_sd, rel=1e-12)
    assert learned.dof == WORTH
    assert learned_nominal([], []) is None


def test_many_readings_leave_a_normal_with_their_mean_and_spread() -> None:
    logs = np.random.default_rng(5).normal(log(54.0), 0.021, 40_000)
    learned = learned_spread(list(np.exp(logs)), LOW, HIGH)
    assert float(logs.mean()) == pytest.approx(log(learned.volts), abs=1e-6)
    assert float(logs.std()) == pytest.approx(learned.relative_sd, rel=1e-4)
    drawn = stats.t(learned.dof).ppf([0.01, 0.3, 0.99])
    np.testing.assert_allclose(drawn, stats.norm.ppf([0.01, 0.3, 0.99]), rtol=1e-4)


def test_one_reading_counts_nearly_as_a_label_and_more_make_it_sharper() -> None:
    """A label is off by 3 % (reasoned); a single entry, predicted for another set, must not be surer than that."""
    widths = [learned_spread([54.0, 53.7, 54.3, 54.1][:n], LOW, HIGH).relative_sd for n in range(5)]
    assert all(wide > narrow for wide, narrow in pairwise(widths))
    assert widths[1] > ONE_SD
    assert abs(learned_spread([54.0], LOW, HIGH).volts - 54.0) < 0.1


def test_a_list_that_knows_one_of_the_two_leaves_the_other_open() -> None:
    loaded, unplugged = learned_nominal([54.0, 54.4], []), learned_nominal([], [64.0])
    assert loaded is not None
    assert unplugged is not None
    assert (loaded.source, loaded.readings, loaded.unplugged, loaded.unplugged_readings) == ("list", 2, None, 0)
    assert (unplugged.volts, unplugged.readings, unplugged.unplugged_readings) == (None, 0, 1)
    assert isinstance(unplugged.unplugged, Spread)
    # The limit lies 1.05 to 1.35 times as high as the nominal (common practice, no source).
    assert predicted([64.0], LOW * 1.05, HIGH * 1.35)[1] == pytest.approx(unplugged.unplugged.relative_sd, rel=1e-12)
