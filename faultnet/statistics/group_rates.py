"""Rates of several groups, each drawn towards what they have in common as far as their spread says.

The rates of groups are gamma around a common mean, and counts Poisson; mean and spread are averaged over what is left
open of them, so that few groups neither pool wholly nor stand alone.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize_scalar
from scipy.special import gammainc, gammaincinv, gammaln

from faultnet.cpt import Floats
from faultnet.errors import TooLittleData
from faultnet.statistics.estimate import Estimate, check_level
from faultnet.statistics.occurrences import Gamma, check_counts

_ANGLES = (1e-4, np.pi / 2 - 1e-3)
"""Arc tangents of the spread that are looked at: from nearly none to a thousand times the mean."""

_SPREADS, _MEANS, _FAR, _ZOOMS = 32, 37, 10.0, 8
"""Points of the spread and, beside each, of the mean; deviations of that either way; closer looks at the spread."""

_LEAST = 1e-9
"""Points with less chance than this times the likeliest are left out."""

_LOG_SHAPES, _SHAPES = (-6.0, 16.0), 45
_REACH, _HALVINGS = 80.0, 60


@dataclass(frozen=True, eq=False)
class GroupRates:
    """The rate of each group: mean, low and high, ``(n_groups,)``, at this level, in events per unit of exposure.

    overall: the mean of the rates that groups are drawn from. spread: the standard deviation of those over their mean,
    0 if all groups were alike. Of both the middle, the half of the posterior being on either side.
    """

    mean: Floats
    low: Floats
    high: Floats
    overall: Estimate
    spread: Estimate
    level: float


def group_rates(events: npt.ArrayLike, exposure: npt.ArrayLike, level: float = 0.9) -> GroupRates:
    """The rates of groups with so many events in so much exposure, ``(n_groups,)`` each, partially pooled.

    Beforehand the spread is half-Cauchy with scale 1 (Gelman 2006; Polson & Scott 2012), and the logarithm of the mean
    a hyperbolic secant around all events and one half over all exposure, of standard deviation pi: both can be, and so
    what comes of them, also where no group had any event. ValueError for shapes that differ, negative numbers, or a
    group without exposure.
    """
    check_level(level)
    x, e = _checked(events, exposure)
    means, shapes, chances = _posterior(x, e)
    # Given mean and spread a group's rate is gamma again, by its own events and exposure.
    own = shapes[:, None] + x
    scales = 1 / (shapes[:, None] / means[:, None] + e)
    tails = (1 - level) / 2, (1 + level) / 2
    low, high = (_quantiles(chances, own, scales, tail) for tail in tails)
    overall, spread = (_middle(values, chances, tails) for values in (means, shapes**-0.5))
    return GroupRates(chances @ (own * scales), low, high, overall, spread, level)


def likeliest_gamma(events: npt.ArrayLike, exposure: npt.ArrayLike) -> Gamma:
    """The gamma of groups' rates under which their counts are likeliest (type-II maximum likelihood).

    Counts are then negative binomial (Robbins 1956; NASA/SP-2009-569, Example 8). `TooLittleData` where groups differ
    no more than by chance, so that the likeliest gamma is one rate for all.
    """
    x, e = _checked(events, exposure)
    if not x.any():
        raise TooLittleData("no group has an event, so no gamma is likeliest; group_rates says what that leaves open")

    def loss(log_shape: float) -> float:
        shape = np.exp([log_shape])
        return -float(_log_likelihoods(shape, _top(shape, x, e, 0.0)[:, None], x, e)[0, 0])

    tried = np.linspace(*_LOG_SHAPES, _SHAPES)
    best = int(np.argmin([loss(each) for each in tried]))
    if best >= _SHAPES - 2:
        raise TooLittleData("the groups differ no more than by chance: take one rate for all of them")
    ends = (float(tried[max(best - 1, 0)]), float(tried[best + 1]))
    found = minimize_scalar(loss, bounds=ends, method="bounded", options={"xatol": 1e-10})
    shape = np.exp([float(found.x)])
    return Gamma(float(shape[0]), float(shape[0] / np.exp(_top(shape, x, e, 0.0)[0])))


def _checked(events: npt.ArrayLike, exposure: npt.ArrayLike) -> tuple[Floats, Floats]:
    x, e = np.asarray(events, dtype=float), np.asarray(exposure, dtype=float)
    check_counts(x, e)
    if x.ndim != 1 or not x.size or not e.all():
        raise ValueError("one group or more is needed, and each with exposure: leave the others out")
    return x, e


def _posterior(events: Floats, exposure: Floats) -> tuple[Floats, Floats, Floats]:
    """Means, shapes and the chance of each pair, ``(n_points,)``, where the posterior is: found by looking closer."""
    low, high = _ANGLES
    for _ in range(_ZOOMS):
        step = (high - low) / _SPREADS
        angles = low + step * (np.arange(_SPREADS) + 0.5)
        shapes = np.tan(angles) ** -2
        logs, means = _by_mean(shapes, events, exposure)
        by_angle = np.logaddexp.reduce(logs, axis=1)
        kept = angles[by_angle > by_angle.max() + np.log(_LEAST)]
        near = max(kept[0] - 1.5 * step, _ANGLES[0]), min(kept[-1] + 1.5 * step, _ANGLES[1])
        if near[1] - near[0] > 0.8 * (high - low):
            break
        low, high = near
    chances = np.exp(logs - logs.max())
    there = chances > _LEAST
    return means[there], np.broadcast_to(shapes[:, None], logs.shape)[there], chances[there] / chances[there].sum()


def _by_mean(shapes: Floats, events: Floats, exposure: Floats) -> tuple[Floats, Floats]:
    """Log posteriors beside each shape, steps between means included, and the means: ``(n_shapes, n_means)`` each.

    Steps between shapes are those of the spread's arc tangent, in which a half-Cauchy is flat.
    """
    tops = _top(shapes, events, exposure, 1.0)
    m = np.exp(tops)[:, None] * exposure
    a = shapes[:, None]
    curvature = ((a + events) * a * m / (a + m) ** 2).sum(axis=1) + np.cosh(
        (tops - _centre(events, exposure)) / 2
    ) ** -2 / 4
    step = 2 * _FAR / (_MEANS - 1) / np.sqrt(curvature)
    logs = tops[:, None] + step[:, None] * (np.arange(_MEANS) - (_MEANS - 1) / 2)
    off = (logs - _centre(events, exposure)) / 2
    posterior = _log_likelihoods(shapes, logs, events, exposure) - np.logaddexp(off, -off) + np.log(step)[:, None]
    return posterior, np.exp(logs)


def _centre(events: Floats, exposure: Floats) -> float:
    """The logarithm of the rate that the mean is looked for around."""
    return float(np.log((events.sum() + 0.5) / exposure.sum()))


def _log_likelihoods(shapes: Floats, log_means: Floats, events: Floats, exposure: Floats) -> Floats:
    """Log P(events | shape, mean), negative binomial but for a constant: as `log_means`, ``(n_shapes, n)``."""
    values = np.empty_like(log_means)
    for number, a in enumerate(shapes):
        relative = np.exp(log_means[number])[:, None] * exposure / a
        by_shape = (gammaln(events + a) - gammaln(a) - events * np.log(a)).sum()
        values[number] = by_shape + events.sum() * log_means[number] - np.log1p(relative) @ (a + events)
    return values


def _top(shapes: Floats, events: Floats, exposure: Floats, prior: float) -> Floats:
    """The logarithm of the likeliest mean beside each shape, the prior counting so often: ``(n_shapes,)``.

    By halving, since the slope only falls.
    """
    centre = _centre(events, exposure)
    low, high = np.full(len(shapes), centre - _REACH), np.full(len(shapes), centre + _REACH)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        m = np.exp(middle)[:, None] * exposure
        slope = ((events - m) / (1 + m / shapes[:, None])).sum(axis=1) - prior * np.tanh((middle - centre) / 2) / 2
        low, high = np.where(slope > 0, middle, low), np.where(slope > 0, high, middle)
    top: Floats = (low + high) / 2
    return top


def _quantiles(chances: Floats, shapes: Floats, scales: Floats, tail: float) -> Floats:
    """The rate that the mixture of gammas of each group is below with this chance: ``(n_groups,)``.

    shapes, scales: ``(n_points, n_groups)``. By halving between the quantiles of the gammas.
    """
    ends = np.log(np.maximum(gammaincinv(shapes, tail) * scales, 1e-300))
    low, high = ends.min(axis=0), ends.max(axis=0)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        below = chances @ gammainc(shapes, np.exp(middle) / scales) < tail
        low, high = np.where(below, middle, low), np.where(below, high, middle)
        if np.all(high - low < 1e-10):
            break
    rates: Floats = np.exp((low + high) / 2)
    return rates


def _middle(values: Floats, chances: Floats, tails: tuple[float, float]) -> Estimate:
    """The median and the interval of values with these chances."""
    order = np.argsort(values)
    below = np.cumsum(chances[order]) - chances[order] / 2
    middle, low, high = np.exp(np.interp([0.5, *tails], below, np.log(values[order])))
    return Estimate(float(middle), float(low), float(high))
