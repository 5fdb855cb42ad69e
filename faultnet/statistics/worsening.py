"""Whether forecasts have got worse of late: by how much more what happened surprised them than they expected.

A right forecast's log score is its entropy on average. The excess over that, added up over time and never below 0 (a
cumulative sum, Page 1954), climbs where forecasts no longer fit. How high it climbs for right forecasts is found by
drawing outcomes from them, so that one in twenty whole histories of right forecasts raises the alarm.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.statistics.scores import entropy, entropy_variance, log_score

FALSE_ALARMS = 0.05
N_SIMULATED = 2_000
SLACK = 0.25
"""Of a period's excess, in standard deviations, this much is forgiven: half of the lasting shift looked for, of .5."""

_CHUNK = 2_000_000


@dataclass(frozen=True)
class Period:
    """Jobs of some time. excess: of the log score over its expectation, a job, in nats; z: the same, standardized;
    climbed: the cumulative sum after it."""

    name: str
    n: int
    log_score: float
    expected: float
    z: float
    climbed: float

    @property
    def excess(self) -> float:
        """How much more it surprised than expected, a job, in nats."""
        return self.log_score - self.expected


@dataclass(frozen=True)
class Watch:
    """Periods in order. limit: that right forecasts stay below in 95 % of such histories; since: the period in which
    the climb began that went above it and still is, "" without alarm."""

    periods: tuple[Period, ...]
    limit: float
    since: str

    @property
    def alarm(self) -> bool:
        """Whether forecasts fit worse of late than right ones would."""
        return bool(self.since)


def watch(chances: Floats, label: Ints, jobs: Ints, period: Sequence[str], seed: int = 0) -> Watch:
    """The watch over forecasts of classes. period: of each row, in which order text sorts them: ``(n,)``.

    chances: ``(n, k)``; label: the class that happened; jobs: whole numbers, ``(n,)`` each. Infinite scores climb to
    infinity.
    """
    names, place = np.unique(np.asarray(period, dtype=str), return_inverse=True)
    n, losses = np.bincount(place, jobs), log_score(chances, label)
    expected, spread = entropy(chances), entropy_variance(chances)
    scale = np.sqrt(np.bincount(place, jobs * spread))
    z = _standardized(np.bincount(place, jobs * (losses - expected))[None], scale)
    path = climbs(z)[0]
    limit = _limit(chances, jobs, place, scale, seed)
    by_period = np.bincount(place, jobs * losses) / n, np.bincount(place, jobs * expected) / n
    rows = zip(names.tolist(), n, *by_period, z[0], path, strict=True)
    periods = tuple(Period(name, round(m), *map(float, told)) for name, m, *told in rows)
    since = ""
    if path[-1] > limit:
        at_rest = np.flatnonzero(path <= 0)
        since = periods[int(at_rest[-1]) + 1 if len(at_rest) else 0].name
    return Watch(periods, limit, since)


def climbs(z: Floats) -> Floats:
    """The cumulative sums of standardized excesses, less what is forgiven, never below 0: ``(..., n_periods)``."""
    path = np.zeros_like(z)
    before = np.zeros(z.shape[:-1])
    for n in range(z.shape[-1]):
        before = np.maximum(0.0, before + z[..., n] - SLACK)
        path[..., n] = before
    return path


def _limit(chances: Floats, jobs: Ints, place: Ints, scale: Floats, seed: int) -> float:
    """What the last climb of right forecasts stays below in all but `FALSE_ALARMS` of the cases."""
    import scipy.sparse as sparse

    rng = np.random.default_rng(seed)
    scaled = chances / chances.sum(axis=1, keepdims=True)
    losses = -np.log(np.where(chances > 0, chances, 1.0))
    excess = (losses - entropy(chances)[:, None]).reshape(-1)
    cells = np.arange(chances.size), np.repeat(place, chances.shape[1])
    adds = sparse.csr_matrix((excess, cells), (chances.size, len(scale)))
    at_once = max(1, _CHUNK // chances.size)
    ends = []
    for first in range(0, N_SIMULATED, at_once):
        size = min(at_once, N_SIMULATED - first)
        drawn = rng.multinomial(jobs, scaled, size=(size, len(jobs))).reshape(size, -1)
        ends.append(climbs(_standardized(np.asarray(drawn @ adds), scale))[:, -1])
    return float(np.quantile(np.concatenate(ends), 1 - FALSE_ALARMS, method="higher"))


def _standardized(excess: Floats, scale: Floats) -> Floats:
    with np.errstate(divide="ignore", invalid="ignore"):
        z: Floats = np.where(scale > 0, excess / scale, np.where(np.abs(excess) > 1e-9, np.inf, 0.0))
    return z
