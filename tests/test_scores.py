"""Scores of forecasts against published examples; where each is from stands beside it.

SEEN: read in the source; MEMORY: value from memory, recomputed; DERIVED: computed from published inputs.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sklearn.metrics import brier_score_loss, log_loss

from faultnet.errors import UsageProblem
from faultnet.statistics.scores import (
    brier,
    brier_binary,
    entropy,
    entropy_variance,
    log_score,
    parts,
    resampled,
    scored,
    skill,
)

WILKS_FORECASTS = np.array([0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
WILKS_OBSERVED = np.array([0.006, 0.019, 0.059, 0.15, 0.277, 0.377, 0.511, 0.587, 0.723, 0.779, 0.934, 0.933])
WILKS_WEIGHTS = np.array(
    [0.4112, 0.0671, 0.1833, 0.0986, 0.0616, 0.0366, 0.0303, 0.0275, 0.0245, 0.022, 0.017, 0.0203]
)  # two of them printed wrong in the package's help pages, right in its source file


def two(chances: np.ndarray) -> np.ndarray:
    """Of the chance of the second of two classes the chances of both."""
    return np.column_stack([1 - chances, chances])


@pytest.mark.published
def test_brier_of_yes_or_no() -> None:
    """Docstring of `brier_score_loss`, scikit-learn 1.9.1 (SEEN): .0375; summed over both classes .075."""
    happened, chance = np.array([0, 1, 1, 0]), np.array([0.1, 0.9, 0.8, 0.3])
    assert brier_binary(chance, happened.astype(float)).mean() == pytest.approx(0.0375, abs=1e-12)
    assert brier(two(chance), happened).mean() == pytest.approx(0.075, abs=1e-12)
    assert brier_binary(chance, happened == 1).mean() == pytest.approx(brier_score_loss(happened, chance))


@pytest.mark.published
def test_brier_of_three_classes() -> None:
    """Docstring of `brier_score_loss`, scikit-learn 1.9.1 (SEEN): eggs, ham, spam, .146667, not halved."""
    chances, label = np.array([[0.8, 0.1, 0.1], [0.2, 0.7, 0.1], [0.2, 0.2, 0.6]]), np.arange(3)
    assert brier(chances, label).mean() == pytest.approx(0.146667, abs=5e-7)
    assert brier(chances, label).mean() == pytest.approx(brier_score_loss(["eggs", "ham", "spam"], chances))


@pytest.mark.published
def test_log_score() -> None:
    """Docstring of `log_loss`, scikit-learn 1.9.1 (SEEN): .21616, natural logarithm; .2161618747 recomputed."""
    chances = np.array([[0.1, 0.9], [0.9, 0.1], [0.8, 0.2], [0.35, 0.65]])  # ham, spam
    label = np.array([1, 0, 0, 1])
    assert log_score(chances, label).mean() == pytest.approx(0.2161618747, abs=5e-11)
    assert log_score(chances, label).mean() == pytest.approx(log_loss(label, chances))


def test_log_scores_by_arithmetic() -> None:
    """-ln .7, -ln .3, and in bits -log2 .7 (arithmetic)."""
    found = log_score(np.array([[0.7, 0.3], [0.7, 0.3]]), np.array([0, 1]))
    np.testing.assert_allclose(found, [0.356675, 1.203973], atol=5e-7)
    assert found[0] / np.log(2) == pytest.approx(0.514573, abs=5e-7)


@pytest.mark.published
@pytest.mark.parametrize(("chance", "happened", "score"), [(0.7, 1, 0.09), (0.3, 1, 0.49), (0.5, 1, 0.25), (1, 0, 1)])
def test_single_forecasts_of_rain(chance: float, happened: int, score: float) -> None:
    """The encyclopedia article on the Brier score, copy at en-academic (SEEN)."""
    assert brier_binary(np.array([chance]), np.array([float(happened)])) == pytest.approx(score, abs=1e-12)


@pytest.mark.published
def test_brier_s_own_example_is_twice_today_s_score() -> None:
    """Brier 1950, Monthly Weather Review 78, table 1 (value from memory, recomputed): P = .19, over both classes."""
    rain = np.array([0.7, 0.9, 0.8, 0.4, 0.2, 0, 0, 0, 0, 0.1])
    happened = np.array([0, 1, 1, 1, 0, 0, 0, 0, 0, 0])
    assert brier(two(rain), happened).mean() == pytest.approx(0.19, abs=1e-12)
    assert brier_binary(rain, happened == 1).mean() == pytest.approx(0.095, abs=1e-12)


@pytest.mark.published
def test_murphy_s_parts_on_the_table_of_wilks() -> None:
    """Wilks 1995, table 7.3 (inputs SEEN in the R package verification, right weights in its source file); DERIVED."""
    n = len(WILKS_FORECASTS)
    forecast = np.tile(WILKS_FORECASTS, 2)
    happened = np.repeat([1.0, 0.0], n)
    weights = np.concatenate([WILKS_WEIGHTS * WILKS_OBSERVED, WILKS_WEIGHTS * (1 - WILKS_OBSERVED)])
    found = parts(forecast, happened, weights, np.tile(np.arange(n), 2))
    assert found.reliability == pytest.approx(0.000828, abs=5e-7)
    assert found.resolution == pytest.approx(0.062787, abs=5e-7)
    assert found.uncertainty == pytest.approx(0.135420, abs=5e-7)
    assert weights @ happened / weights.sum() == pytest.approx(0.161503, abs=5e-7)
    assert (found.spread_within, found.agreement_within) == pytest.approx((0, 0), abs=1e-15)
    assert found.score == pytest.approx(0.073461, abs=5e-7)
    assert found.score == pytest.approx(weights @ brier_binary(forecast, happened) / weights.sum(), abs=1e-12)
    assert found.skill == pytest.approx(0.4575, abs=5e-5)


def test_murphy_s_parts_of_a_toy() -> None:
    """Five forecasts of .1 (one came true), five of .7 (four did): .17 = .01 - .09 + .25 (DERIVED, exact)."""
    forecast, happened = np.repeat([0.1, 0.7], 5), np.array([1, 0, 0, 0, 0, 1, 1, 1, 1, 0.0])
    found = parts(forecast, happened, np.ones(10), np.repeat([0, 1], 5))
    assert (found.reliability, found.resolution, found.uncertainty) == pytest.approx((0.01, 0.09, 0.25), abs=1e-12)
    assert found.score == pytest.approx(0.17, abs=1e-12)


def test_the_parts_add_up_whatever_the_bins() -> None:
    """With the two terms within bins of Stephenson, Coelho and Jolliffe 2008 (MEMORY) the sum is exact."""
    rng = np.random.default_rng(5)
    for _ in range(50):
        n = int(rng.integers(2, 60))
        forecast, happened = rng.random(n), rng.integers(0, 2, n).astype(float)
        jobs, bin_of = rng.integers(1, 5, n), rng.integers(0, 6, n)  # bins without a forecast among them
        found = parts(forecast, happened, jobs, bin_of)
        assert found.score == pytest.approx(jobs @ brier_binary(forecast, happened) / jobs.sum(), abs=1e-12)


def test_a_chance_of_nothing_for_what_happened_is_infinite_and_not_cut_off() -> None:
    found = log_score(np.array([[0.0, 1.0], [1.0, 0.0]]), np.array([0, 0]))
    assert found.tolist() == [np.inf, 0.0]
    score = scored(found, np.array([1, 1]))
    assert score.mean == np.inf
    assert np.isnan([score.low, score.high]).all()


@given(st.lists(st.floats(0.01, 1), min_size=2, max_size=5), st.integers(0, 4))
def test_both_scores_are_proper(weights: list[float], other: int) -> None:
    """The expected score is least at the true chances, for Brier and log alike (property)."""
    true = np.array(weights) / np.sum(weights)
    moved = true.copy()
    moved[other % len(true)] += 0.2
    moved /= moved.sum()
    every = np.arange(len(true))

    def expected(chances: np.ndarray, score) -> float:  # type: ignore[no-untyped-def]
        return float(true @ score(np.tile(chances, (len(true), 1)), every))

    for score in (brier, log_score):
        assert expected(true, score) < expected(moved, score)
    assert expected(true, log_score) == pytest.approx(entropy(true[None])[0])
    logs = -np.log(true)
    assert entropy_variance(true[None])[0] == pytest.approx(true @ logs**2 - (true @ logs) ** 2, abs=1e-9)


def test_an_interval_is_that_of_the_mean(monkeypatch: pytest.MonkeyPatch) -> None:
    """The bootstrap's 90 % against the normal's, for many jobs; and it is the same for a row of two as for two rows."""
    rng = np.random.default_rng(3)
    losses, jobs = rng.exponential(1.0, 400), np.ones(400, dtype=np.intp)
    found = scored(losses, jobs, seed=1)
    half = 1.645 * losses.std() / 20
    assert (found.low, found.high) == pytest.approx((losses.mean() - half, losses.mean() + half), abs=0.012)
    assert found.mean == pytest.approx(losses.mean())
    monkeypatch.setattr("faultnet.statistics.scores.MOST_RESAMPLED", 100)
    normal = scored(losses, jobs)
    assert (normal.low, normal.high) == pytest.approx((losses.mean() - half, losses.mean() + half), abs=1e-4)
    twice = scored(losses[:200], np.full(200, 2), seed=1)
    assert twice.mean == pytest.approx(losses[:200].mean())
    assert (resampled(np.array([3, 2]), 0).sum(axis=1) == 5).all()


def test_skill_is_what_is_saved() -> None:
    assert skill(0.1, 0.4) == pytest.approx(0.75)
    assert np.isnan(skill(0.0, 0.0))


@pytest.mark.parametrize("chances", [[[0.6, 0.6]], [[-0.1, 1.1]], [[np.nan, 1.0]], [0.5, 0.5]])
def test_what_are_no_chances_is_refused(chances: list) -> None:  # type: ignore[type-arg]
    with pytest.raises(UsageProblem):
        brier(np.array(chances), np.array([0]))
    with pytest.raises(UsageProblem):
        brier_binary(np.array([1.2]), np.array([True]))
