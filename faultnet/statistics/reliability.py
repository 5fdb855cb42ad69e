"""Reliability diagrams: how often what was called so likely happened, and where right forecasts would lie.

A diagram of right forecasts leaves the diagonal too, by chance. So outcomes are drawn from the forecasts themselves,
many times over: the bands hold nine in ten of such diagrams *in all their bins at once* (after Bröcker and Smith 2007,
whose bars hold one bin each). A job has one outcome, whatever the number of its classes, and is drawn as such.
"""

from dataclasses import dataclass

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.errors import UsageProblem

N_SIMULATED = 2_000
HELD = 0.9
"""The share of diagrams of right forecasts that the bands hold whole."""

LEAST_VARIANCE = 3.0
"""A bin is wide enough for so much variance of its count, if all forecasts together have it: about ten jobs at .5."""

MOST_CELLS = 200_000
"""Of more jobs times classes than this, counts of bins are drawn as normal ones with their exact covariances."""

_MOST_DRAWN = 2_000_000


@dataclass(frozen=True)
class Bin:
    """Forecasts of about the same chance. n: how many; forecast: their mean; happened: in how many it was so.

    low, high: where the observed frequency of right forecasts would lie, all bins at once.
    """

    n: int
    forecast: float
    happened: int
    low: float
    high: float

    @property
    def observed(self) -> float:
        """How often it was so."""
        return self.happened / self.n

    @property
    def is_outside(self) -> bool:
        """Whether right forecasts would hardly lie there."""
        return not self.low - 1e-12 <= self.observed <= self.high + 1e-12


@dataclass(frozen=True)
class Diagram:
    """Bins in ascending order of their forecasts. p_value: of right forecasts the share of diagrams with a largest
    deviation, in standard deviations, that is at least this one's."""

    bins: tuple[Bin, ...]
    p_value: float

    @property
    def holds(self) -> bool:
        """Whether the bands hold all of it."""
        return not any(each.is_outside for each in self.bins)


def diagram(
    chances: Floats, label: Ints, jobs: Ints, *, n_bins: int = 10, of: int | None = None, seed: int = 0
) -> Diagram:
    """The diagram of forecasts of classes that exclude each other, all of them pooled, or of one.

    chances: ``(n, k)``; label: the class that happened, ``(n,)``; jobs: how many cases each row stands for, whole
    numbers, ``(n,)``. of: the number of one class. Bins have about the same variance of their counts, so that each says
    about as much, and of nearly certain forecasts more go into one; there are fewer where little is uncertain.
    """
    if chances.ndim != 2 or not len(chances):
        raise UsageProblem("a diagram needs forecasts: rows of chances, one for each class")
    columns = np.arange(chances.shape[1]) if of is None else np.array([of])
    forecast = chances[:, columns].reshape(-1)
    weight = np.repeat(jobs, len(columns))
    bin_of = bins_of(forecast, weight, n_bins, weight * forecast * (1 - forecast))
    n = np.bincount(bin_of, weight)
    by_row = bin_of.reshape(len(chances), len(columns))
    together = _together(chances[:, columns], by_row, len(n))
    mean = jobs @ together
    spread = np.sqrt(jobs @ (together * (1 - together)))
    happened = _counts((label[:, None] == columns) * jobs[:, None], by_row, len(n))
    if chances.size > MOST_CELLS:
        simulated = _normal(together, jobs, seed)
    else:
        simulated = _simulated(chances, jobs, columns, by_row, len(n), seed)
    largest = np.sort(_deviations(simulated, mean, spread))
    wide = largest[int(np.ceil(HELD * N_SIMULATED)) - 1]
    own = float(_deviations(happened[None], mean, spread)[0])
    low, high = np.maximum(mean - wide * spread, 0), np.minimum(mean + wide * spread, n)
    found = zip(n, mean / n, happened, low / n, high / n, strict=True)
    p_value = (1 + int((largest >= own - 1e-9).sum())) / (1 + N_SIMULATED)
    return Diagram(tuple(Bin(round(m), float(f), round(h), float(a), float(b)) for m, f, h, a, b in found), p_value)


def bins_of(forecast: Floats, jobs: Ints, n_bins: int, share: Floats | None = None) -> Ints:
    """The number of each forecast's bin, in ascending order from 0, ``(n,)``; equal forecasts stay together.

    share: what bins have about equally much of: jobs if not said, else variances of counts, ``(n,)`` each. Of variances
    a bin has at least `LEAST_VARIANCE`, where there is so much.
    """
    if n_bins < 1:
        raise UsageProblem("a diagram has at least one bin")
    if share is None or not share.any():  # of certain forecasts no count varies
        of_each, wanted = np.asarray(jobs, dtype=float), n_bins
    else:
        of_each, wanted = share, max(1, min(n_bins, int(share.sum() / LEAST_VARIANCE)))
    place = np.unique(forecast, return_inverse=True)[1]
    amount = np.bincount(place, of_each)
    middle = (np.cumsum(amount) - amount / 2) / amount.sum()
    numbers = np.minimum((middle * wanted).astype(np.intp), wanted - 1)
    found: Ints = np.unique(numbers, return_inverse=True)[1][place].astype(np.intp)
    return found


def _together(forecast: Floats, by_row: Ints, n_bins: int) -> Floats:
    """The chance that a job adds one to each bin, that of all its classes there together: ``(n, n_bins)``."""
    place = (np.arange(len(forecast)) * n_bins)[:, None] + by_row
    together = np.bincount(place.reshape(-1), forecast.reshape(-1), len(forecast) * n_bins).reshape(-1, n_bins)
    return np.clip(together, 0.0, 1.0)


def _normal(together: Floats, jobs: Ints, seed: int) -> Floats:
    """Counts of each bin as normal ones: ``(N_SIMULATED, n_bins)``."""
    mean = jobs @ together
    covariance = np.diag(mean) - (together * jobs[:, None]).T @ together
    drawn: Floats = np.random.default_rng(seed).multivariate_normal(mean, covariance, N_SIMULATED, check_valid="ignore")
    return drawn


def _counts(marks: Ints, by_row: Ints, n_bins: int) -> Floats:
    """What happened in each bin: ``(n_bins,)``."""
    return np.bincount(by_row.reshape(-1), marks.reshape(-1).astype(float), n_bins).astype(float)


def _simulated(chances: Floats, jobs: Ints, columns: Ints, by_row: Ints, n_bins: int, seed: int) -> Floats:
    """Counts of each bin with outcomes drawn from the forecasts: ``(N_SIMULATED, n_bins)``."""
    import scipy.sparse as sparse

    rng = np.random.default_rng(seed)
    scaled = chances / chances.sum(axis=1, keepdims=True)
    n_cells = by_row.size
    adds = sparse.csr_matrix((np.ones(n_cells), (np.arange(n_cells), by_row.reshape(-1))), (n_cells, n_bins))
    at_once = max(1, _MOST_DRAWN // chances.size)
    found = []
    for first in range(0, N_SIMULATED, at_once):
        size = min(at_once, N_SIMULATED - first)
        drawn = rng.multinomial(jobs, scaled, size=(size, len(jobs)))[:, :, columns]
        found.append(np.asarray(drawn.reshape(size, n_cells) @ adds))
    return np.concatenate(found)


def _deviations(counts: Floats, mean: Floats, spread: Floats) -> Floats:
    """The largest deviation of each diagram, in standard deviations: ``(n_diagrams,)``.

    Where forecasts are certain, anything else is infinitely far.
    """
    off = np.abs(counts - mean)
    with np.errstate(divide="ignore", invalid="ignore"):
        deviations = np.where(spread > 0, off / spread, np.where(off > 1e-6, np.inf, 0.0))
    largest: Floats = deviations.max(axis=1)
    return largest
