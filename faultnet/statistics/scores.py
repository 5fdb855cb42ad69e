"""Scores of forecasts: how far chances were from what happened; lower is better.

A forecast of k classes that exclude each other is a row of chances, ``(n, k)``; what happened is the number of one
class, ``(n,)``. `jobs` says how many cases a row stands for. Brier's score (1950) is summed over the classes here; for
a single yes or no the half of that is usual today and here, so a forecast of .7 that comes true scores .09.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats, Ints
from faultnet.errors import UsageProblem

N_RESAMPLES = 2_000
TAIL = 0.05

MOST_RESAMPLED = 5_000
"""Of more rows than this the mean is as good as normal, and its interval is the normal one."""

_NORMAL = 1.6448536

Marks = npt.NDArray[np.bool_] | npt.NDArray[np.float64]
"""1 where something happened, 0 where not, ``(n,)``."""


@dataclass(frozen=True)
class Score:
    """A mean over jobs with the central 90 % of its bootstrap."""

    mean: float
    low: float
    high: float


@dataclass(frozen=True)
class Parts:
    """What a Brier score of yes or no is made of, over bins of forecasts.

    reliability: how far what happened in a bin was from its mean forecast; resolution: how far bins differ in what
    happened; uncertainty: the score of always saying how often it happens. spread_within: of forecasts in their bins;
    agreement_within: how far forecasts in a bin went with what happened, twice their covariance. The last two are 0
    where each bin holds one forecast.
    """

    reliability: float
    resolution: float
    uncertainty: float
    spread_within: float
    agreement_within: float

    @property
    def score(self) -> float:
        """The Brier score, exactly."""
        return (
            self.reliability - self.resolution + self.uncertainty + self.spread_within - self.agreement_within
        )  # fmt: skip

    @property
    def skill(self) -> float:
        """How much of the score of always saying how often it happens is saved; NaN where nothing is uncertain."""
        return skill(self.score, self.uncertainty)


def brier_binary(forecast: Floats, happened: Marks) -> Floats:
    """Of each forecast of yes or no its squared distance, 0 to 1: ``(n,)``."""
    forecast = np.asarray(forecast, dtype=float)
    if forecast.ndim != 1 or forecast.shape != np.shape(happened) or not _are_chances(forecast):
        raise UsageProblem("forecasts of yes or no: one chance from 0 to 1 for each that happened or not")
    losses: Floats = (forecast - np.asarray(happened, dtype=float)) ** 2
    return losses


def brier(chances: Floats, label: Ints) -> Floats:
    """Of each forecast of several classes its squared distances, summed over the classes, 0 to 2: ``(n,)``."""
    _check(chances, label)
    losses: Floats = (chances**2).sum(axis=1) - 2 * _of_label(chances, label) + 1
    return losses


def log_score(chances: Floats, label: Ints) -> Floats:
    """Of each forecast minus the logarithm of the chance of what happened, in nats: ``(n,)``.

    Infinite where that chance was 0: nothing is cut off, so whoever asks says what to do about it.
    """
    _check(chances, label)
    with np.errstate(divide="ignore"):
        losses: Floats = -np.log(_of_label(chances, label))
    return np.abs(losses)  # the sign of -log 1


def entropy(chances: Floats) -> Floats:
    """What right forecasts expect their log score to be, in nats: ``(n,)``."""
    losses: Floats = -(chances * _logarithm(chances)).sum(axis=1)
    return np.abs(losses)


def entropy_variance(chances: Floats) -> Floats:
    """The variance of the log score of right forecasts, in nats squared: ``(n,)``."""
    logs = _logarithm(chances)
    spread: Floats = (chances * logs**2).sum(axis=1) - ((chances * logs).sum(axis=1)) ** 2
    return np.maximum(spread, 0.0)


def skill(score: float, reference: float) -> float:
    """How much of the score of a reference is saved, 1 for all; NaN where the reference is 0."""
    return 1 - score / reference if reference else float("nan")


def scored(losses: Floats, jobs: Ints, seed: int = 0) -> Score:
    """The mean over jobs, with the percentiles of its bootstrap (Efron 1979).

    Of two ways of forecasting the same jobs, the losses of one less those of the other give their paired difference.
    losses: ``(n,)``; jobs: whole numbers, ``(n,)``. One job says nothing of its spread: NaN. An infinite loss makes an
    infinite mean.
    """
    n_jobs = int(np.sum(jobs))
    if n_jobs < 2 or not np.isfinite(losses).all():
        mean = float(np.average(losses, weights=jobs)) if n_jobs else float("nan")
        return Score(mean, float("nan"), float("nan"))
    mean = float(jobs @ losses / n_jobs)
    if len(losses) > MOST_RESAMPLED:
        half = _NORMAL * float(np.sqrt(jobs @ (losses - mean) ** 2)) / n_jobs
        return Score(mean, mean - half, mean + half)
    means = np.sort(resampled(jobs, seed) @ losses) / n_jobs
    low, high = means[int(TAIL * N_RESAMPLES)], means[int((1 - TAIL) * N_RESAMPLES)]
    return Score(mean, float(low), float(high))


def resampled(jobs: Ints, seed: int) -> Floats:
    """How often each row is drawn when its jobs are drawn again with replacement: ``(N_RESAMPLES, n)``."""
    n_jobs = int(np.sum(jobs))
    drawn: Floats = np.random.default_rng(seed).multinomial(n_jobs, jobs / n_jobs, size=N_RESAMPLES).astype(float)
    return drawn


def parts(forecast: Floats, happened: Marks, jobs: Floats | Ints, bin_of: Ints) -> Parts:
    """The parts of the Brier score of yes or no (Murphy 1973), exact for any bins with the two terms within bins of
    Stephenson, Coelho and Jolliffe (2008).

    jobs: what each counts for; bin_of: the number of each one's bin, from 0. All ``(n,)``.
    """
    weight, happened = np.asarray(jobs, dtype=float), np.asarray(happened, dtype=float)
    total = weight.sum()
    inside = np.bincount(bin_of, weight)
    with np.errstate(invalid="ignore"):
        mean, seen = (np.bincount(bin_of, weight * each) / inside for each in (forecast, happened))
    off, amiss = forecast - mean[bin_of], happened - seen[bin_of]
    usual = float(weight @ happened / total)
    share, there = inside / total, inside > 0
    return Parts(
        reliability=float((share * (mean - seen) ** 2)[there].sum()),
        resolution=float((share * (seen - usual) ** 2)[there].sum()),
        uncertainty=usual * (1 - usual),
        spread_within=float(weight @ off**2 / total),
        agreement_within=float(2 * (weight @ (off * amiss)) / total),
    )


def _check(chances: Floats, label: Ints) -> None:
    if chances.ndim != 2 or len(chances) != len(label):
        raise UsageProblem("forecasts: a row of chances, one for each class, for every case")
    if not _are_chances(chances) or np.abs(chances.sum(axis=1) - 1).max(initial=0.0) > 1e-9:
        raise UsageProblem("forecasts: chances from 0 to 1 that add up to 1 in each row")


def _are_chances(values: Floats) -> bool:
    return bool(np.isfinite(values).all() and (values >= 0).all() and (values <= 1 + 1e-12).all())


def _of_label(chances: Floats, label: Ints) -> Floats:
    found: Floats = chances[np.arange(len(label)), label]
    return found


def _logarithm(chances: Floats) -> Floats:
    """The logarithm, 0 for a chance of 0, which nothing hangs on."""
    logs: Floats = np.log(np.where(chances > 0, chances, 1.0))
    return logs
