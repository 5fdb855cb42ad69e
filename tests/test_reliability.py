"""Reliability diagrams and the watch over them: against scikit-learn, and by simulated forecasts, right and wrong."""

import numpy as np
import pytest
from scipy.stats import binom
from sklearn.calibration import calibration_curve

from faultnet.errors import UsageProblem
from faultnet.statistics.reliability import bins_of, diagram
from faultnet.statistics.scores import brier_binary
from faultnet.statistics.worsening import watch


def drawn(chances: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """An outcome for each row, drawn from its chances."""
    return (rng.random(len(chances))[:, None] > np.cumsum(chances, axis=1)).sum(axis=1).clip(max=chances.shape[1] - 1)


def forecasts(n: int, rng: np.random.Generator, n_classes: int = 4) -> np.ndarray:
    return rng.dirichlet(np.full(n_classes, 0.7), n)


def ones(n: int) -> np.ndarray:
    return np.ones(n, dtype=np.intp)


def sharper(chances: np.ndarray, power: float = 2.0) -> np.ndarray:
    raised = chances**power
    return raised / raised.sum(axis=1, keepdims=True)


def test_bins_against_scikit_learn() -> None:
    """Docstring of `calibration_curve`, scikit-learn 1.9.1 (SEEN): true 0, .5, 1; forecast .2, .525, .85; Brier .0625.

    Its bins are of equal width; three of equal count hold the same forecasts here.
    """
    happened = np.array([0, 0, 0, 0, 1, 1, 1, 1, 1])
    chance = np.array([0.1, 0.2, 0.3, 0.4, 0.65, 0.7, 0.8, 0.9, 1.0])
    of_bins = {
        n: (happened[here].mean(), chance[here].mean()) for n in range(3) if (here := equal_width(chance, 3) == n).any()
    }
    true, said = calibration_curve(happened, chance, n_bins=3)
    np.testing.assert_allclose([*of_bins.values()], np.column_stack([true, said]))
    np.testing.assert_allclose(true, [0, 0.5, 1])
    np.testing.assert_allclose(said, [0.2, 0.525, 0.85])
    assert brier_binary(chance, happened == 1).mean() == pytest.approx(0.0625)
    quantiles = calibration_curve(happened, chance, n_bins=3, strategy="quantile")
    own = bins_of(chance, ones(9), 3)
    np.testing.assert_allclose([happened[own == n].mean() for n in range(3)], quantiles[0])
    np.testing.assert_allclose([chance[own == n].mean() for n in range(3)], quantiles[1])


def equal_width(chance: np.ndarray, n: int) -> np.ndarray:
    return np.minimum((chance * n).astype(int), n - 1)


def test_equal_forecasts_stay_together_and_bins_hold_about_as_many() -> None:
    forecast = np.array([0.2] * 30 + [0.5] * 30 + [0.9] * 30)
    assert [*np.bincount(bins_of(forecast, ones(90), 10))] == [30, 30, 30]
    spread = np.linspace(0.01, 0.99, 100)
    assert [*np.bincount(bins_of(spread, ones(100), 4))] == [25, 25, 25, 25]
    assert [*np.bincount(bins_of(np.full(5, 0.3), ones(5), 3))] == [5]
    with pytest.raises(UsageProblem):
        bins_of(spread, ones(100), 0)


def test_a_diagram_counts_what_was_said_and_what_happened() -> None:
    """Counted by hand: 20 times .25, of which 5 came true; 20 times .75, of which 18 did; rows for several jobs."""
    chances = np.array([[0.25, 0.75], [0.25, 0.75], [0.75, 0.25], [0.75, 0.25]])
    found = diagram(chances, np.array([0, 1, 0, 1]), np.array([5, 15, 18, 2]), n_bins=2, of=0)
    assert [(b.n, b.forecast, b.happened) for b in found.bins] == [(20, 0.25, 5), (20, 0.75, 18)]
    assert found.bins[1].observed == 0.9
    sd = np.sqrt(0.25 * 0.75 / 20)
    width = (found.bins[0].high - 0.25) / sd
    assert 1.6 < width < 2.4, "two bins at once: wider than the 1.645 of one, by about as much as normal theory's 1.95"
    assert found.holds
    assert 0.1 < found.p_value < 0.5


def test_pooled_classes_of_a_job_add_up() -> None:
    rng = np.random.default_rng(1)
    chances = forecasts(300, rng)
    found = diagram(chances, drawn(chances, rng), ones(300))
    assert sum(each.n for each in found.bins) == 1_200
    assert sum(each.happened for each in found.bins) == 300
    assert [each.forecast for each in found.bins] == sorted(each.forecast for each in found.bins)


@pytest.mark.parametrize("of", [None, 0])
def test_right_forecasts_leave_the_bands_one_time_in_ten(of: int | None) -> None:
    """150 diagrams; the number that leave them within the central 99.8 % of a binomial."""
    rng = np.random.default_rng(2)
    n = 150
    left = small = 0
    for seed in range(n):
        chances = forecasts(80, rng)
        found = diagram(chances, drawn(chances, rng), ones(80), of=of, seed=seed)
        left += not found.holds
        small += found.p_value <= 0.1
    low, high = binom.ppf([0.001, 0.999], n, 0.1)
    assert low <= left <= high
    assert low <= small <= high


def test_too_sure_forecasts_are_found() -> None:
    """Chances raised to a power of 2, at 200 jobs: found at least nine times in ten."""
    rng = np.random.default_rng(4)
    found = 0
    for seed in range(25):
        chances = forecasts(200, rng)
        shown = diagram(sharper(chances), drawn(chances, rng), ones(200), seed=seed)
        found += not shown.holds and shown.p_value < 0.1
    assert found >= 23


@pytest.mark.parametrize("of", [None, 1])
def test_counts_drawn_as_normal_ones_make_the_same_bands(of: int | None, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(12)
    chances = forecasts(1_500, rng)
    label, jobs = drawn(chances, rng), ones(1_500)
    found = diagram(chances, label, jobs, of=of)
    monkeypatch.setattr("faultnet.statistics.reliability.MOST_CELLS", 100)
    normal = diagram(chances, label, jobs, of=of)
    for one, other in zip(found.bins, normal.bins, strict=True):
        assert (one.low, one.high) == pytest.approx((other.low, other.high), abs=0.008)
    assert found.p_value == pytest.approx(normal.p_value, abs=0.06)


def test_certain_forecasts_that_fail_are_outside() -> None:
    chances = np.tile([1.0, 0.0], (20, 1))
    right = diagram(chances, np.zeros(20, dtype=np.intp), ones(20))
    assert (right.holds, right.p_value) == (True, 1.0)
    wrong = diagram(chances, np.eye(1, 20, dtype=np.intp)[0], ones(20))
    assert not wrong.holds
    assert wrong.p_value < 0.01


# -- over time --------------------------------------------------------------------------------------------------------


def months(n: int) -> list[str]:
    """Twelve months with as many jobs."""
    return [f"2030-{1 + 12 * number // n:02}" for number in range(n)]


@pytest.mark.parametrize("power", [1.0, 2.0])
def test_nothing_changes_and_one_in_twenty_alarms(power: float) -> None:
    """Forecasts that are right, and forecasts that are always too sure: neither has got worse."""
    rng = np.random.default_rng(6)
    n, alarms = 200, 0
    for seed in range(n):
        chances = forecasts(120, rng)
        alarms += bool(watch(sharper(chances, power), drawn(chances, rng), ones(120), months(120), seed).since)
    low, high = binom.ppf([0.001, 0.999], n, 0.05)
    assert low <= alarms <= high


def test_a_change_is_found_and_dated() -> None:
    """In the last four of twelve months outcomes have nothing to do with the forecasts any more."""
    rng = np.random.default_rng(7)
    since = []
    for seed in range(40):
        chances = forecasts(360, rng)
        label = drawn(chances, rng)
        label[240:] = rng.integers(0, 4, 120)
        told = watch(chances, label, ones(360), months(360), seed)
        since.append(told.since)
        assert told.rise > 0 or not told.since
    assert sum(map(bool, since)) >= 38
    assert np.mean([abs(int(name[-2:]) - 9) <= 1 for name in since if name]) > 0.8


def test_the_excess_of_right_forecasts_is_standard_normal() -> None:
    rng = np.random.default_rng(8)
    z = []
    for seed in range(150):
        chances = forecasts(100, rng)
        z.append(watch(chances, drawn(chances, rng), ones(100), ["2030"] * 100, seed).overall_z)
    assert abs(np.mean(z)) < 3.3 / np.sqrt(150)
    assert 0.8 < np.std(z) < 1.2


def test_rows_of_many_jobs_are_watched_as_single_ones() -> None:
    rng = np.random.default_rng(9)
    chances = forecasts(60, rng)
    label = drawn(chances, rng)
    jobs = rng.integers(1, 4, 60)
    one = watch(chances, label, jobs, months(60))
    single = np.repeat(np.arange(60), jobs)
    other = watch(chances[single], label[single], ones(len(single)), np.repeat(months(60), jobs).tolist())
    assert [(p.name, p.n) for p in one.periods] == [(p.name, p.n) for p in other.periods]
    np.testing.assert_allclose([p.z for p in one.periods], [p.z for p in other.periods])
    assert (one.moment, one.rise) == (other.moment, pytest.approx(other.rise))
    assert one.p_value == pytest.approx(other.p_value, abs=0.06)


def test_many_jobs_and_few(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sums drawn as normal ones say about what shuffles say; below ten jobs on a side nothing is said."""
    rng = np.random.default_rng(10)
    chances = forecasts(600, rng)
    label = drawn(chances, rng)
    shuffled = watch(chances, label, ones(600), months(600))
    monkeypatch.setattr("faultnet.statistics.worsening.MOST_SHUFFLED", 100)
    assert watch(chances, label, ones(600), months(600)).p_value == pytest.approx(shuffled.p_value, abs=0.06)
    few = watch(chances[:15], label[:15], ones(15), months(15))
    assert (few.moment, few.since, few.p_value) == ("", "", 1.0)


def test_one_impossible_job_is_a_surprise_and_no_change() -> None:
    rng = np.random.default_rng(11)
    chances = forecasts(120, rng, 2)
    label = drawn(chances, rng)
    chances[100], label[100] = [1.0, 0.0], 1
    told = watch(chances, label, ones(120), months(120))
    assert told.overall_z == np.inf
    assert not told.since
