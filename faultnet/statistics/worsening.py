"""Whether forecasts have got worse of late: does what happens surprise them more than before?

A right forecast's log score is its entropy on average; the excess over that says how far forecasts are off, whatever
is easy or hard about the jobs. It is compared before and after every moment in turn. Where the largest rise is one that
jobs shuffled in time show in fewer than one of twenty shuffles, something has changed. Forecasts that were always off
by as much raise no alarm: that is for the reliability diagram to show.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.statistics.scores import entropy, entropy_variance, log_score

FALSE_ALARMS = 0.05
"""How often an alarm is raised where nothing has changed."""

N_SHUFFLES = 1_000
LEAST_JOBS = 10
"""So many jobs are needed on either side of a moment."""

MOST_SHUFFLED = 20_000
"""Of more jobs the sums are drawn as normal ones, which they then are."""

WORST = 1e-6
"""A chance counts as at least this here, so that one surprise is no proof of a change."""


@dataclass(frozen=True)
class Period:
    """Jobs of some time. log_score: a job, and expected: what right forecasts expect of it, in nats; z: how far these
    are apart, in standard deviations."""

    name: str
    n: int
    log_score: float
    expected: float
    z: float


@dataclass(frozen=True)
class Watch:
    """Periods in order. overall_z: log scores over what right forecasts expect, of all jobs, in standard deviations:
    above 0 the forecasts were too sure or off, below 0 too cautious.

    moment: the period with which the largest rise begins, "" where there are too few jobs to look for one; rise: how
    much higher the excess is from then on, a job, in nats; p_value: of shuffles the share with a rise as clear.
    """

    periods: tuple[Period, ...]
    overall_z: float
    moment: str
    rise: float
    p_value: float

    @property
    def since(self) -> str:
        """The period since which forecasts are worse, "" without alarm."""
        return self.moment if self.p_value <= FALSE_ALARMS and self.rise > 0 else ""


def watch(chances: Floats, label: Ints, jobs: Ints, period: Sequence[str], seed: int = 0) -> Watch:
    """The watch over forecasts of classes. period: of each row, in which order text sorts them: ``(n,)``.

    chances: ``(n, k)``; label: the class that happened; jobs: whole numbers, ``(n,)`` each.
    """
    names, place = np.unique(np.asarray(period, dtype=str), return_inverse=True)
    losses, expected = log_score(chances, label), entropy(chances)
    n = np.bincount(place, jobs)
    log_scores, entropies = (np.bincount(place, jobs * each) / n for each in (losses, expected))
    variance = np.bincount(place, jobs * entropy_variance(chances)).astype(float)
    z = _standardized(n * (log_scores - entropies), variance)
    rows = zip(names.tolist(), n, log_scores, entropies, z, strict=True)
    periods = tuple(Period(name, round(m), *map(float, told)) for name, m, *told in rows)
    excess = np.minimum(losses, -np.log(WORST)) - expected
    overall = _standardized(np.array([n @ (log_scores - entropies)]), np.array([variance.sum()]))
    return Watch(periods, float(overall[0]), *_largest_rise(excess, jobs, place, names.tolist(), seed))


def _largest_rise(excess: Floats, jobs: Ints, place: Ints, names: Sequence[str], seed: int) -> tuple[str, float, float]:
    """The period with which it begins, how much it is, and its p-value."""
    n = np.bincount(place, jobs).astype(np.intp)
    before = np.cumsum(n)[:-1]
    allowed = np.flatnonzero((before >= LEAST_JOBS) & (n.sum() - before >= LEAST_JOBS))
    if not len(allowed):
        return "", 0.0, 1.0
    sums = np.bincount(place, jobs * excess).astype(float)
    own = _rises(sums[None], n)[0][allowed]
    largest = int(np.argmax(own))
    shuffled = _rises(_shuffled(excess, jobs, n, seed), n)[:, allowed].max(axis=1)
    p_value = (1 + int((shuffled >= own[largest] - 1e-9).sum())) / (1 + N_SHUFFLES)
    at = int(allowed[largest]) + 1
    rise = sums[at:].sum() / n[at:].sum() - sums[:at].sum() / n[:at].sum()
    return names[at], float(rise), p_value


def _rises(sums: Floats, n: Ints) -> Floats:
    """How much higher the mean is after each period than up to it, in its own standard errors (but for a factor that
    all have): ``(n_shuffles, n_periods - 1)``."""
    total, up_to = n.sum(), np.cumsum(n)[:-1]
    before = np.cumsum(sums, axis=1)[:, :-1]
    after = sums.sum(axis=1, keepdims=True) - before
    rises: Floats = (after / (total - up_to) - before / up_to) * np.sqrt(up_to * (total - up_to) / total)
    return rises


def _shuffled(excess: Floats, jobs: Ints, n: Ints, seed: int) -> Floats:
    """Sums over periods with jobs shuffled in time: ``(N_SHUFFLES, n_periods)``."""
    rng, total = np.random.default_rng(seed), int(n.sum())
    if total <= MOST_SHUFFLED:
        each, starts = np.repeat(excess, jobs), np.concatenate([[0], np.cumsum(n)[:-1]])
        return np.stack([np.add.reduceat(rng.permutation(each), starts) for _ in range(N_SHUFFLES)])
    mean = float(jobs @ excess) / total
    spread = np.sqrt(float(jobs @ (excess - mean) ** 2) / total)
    drawn = spread * np.sqrt(n) * rng.standard_normal((N_SHUFFLES, len(n)))
    sums: Floats = n * mean + drawn - drawn.sum(axis=1, keepdims=True) * (n / total)
    return sums


def _standardized(excess: Floats, variance: Floats) -> Floats:
    """In standard deviations; infinite where forecasts were certain, and wrong."""
    with np.errstate(divide="ignore", invalid="ignore"):
        certain = np.where(np.abs(excess) > 1e-9, np.inf, 0.0)
        z: Floats = np.where(variance > 0, excess / np.sqrt(variance), certain)
    return z
