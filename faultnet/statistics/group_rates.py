"""Rates of several groups, each drawn towards what they have in common as far as their spread says.

The rates of groups are gamma around a common mean, and counts Poisson; mean and spread are averaged over what is left
open of them, so that few groups neither pool wholly nor stand alone.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline
from scipy.optimize import minimize_scalar
from scipy.special import gammainc, gammaincinv, gammaln

from faultnet.cpt import Floats
from faultnet.errors import TooLittleData
from faultnet.statistics.estimate import Estimate, check_level
from faultnet.statistics.occurrences import Gamma, check_counts

_LOG_SPREADS = (-16.0, 7.0)
"""Logarithms of the spread that are looked at: from none to a thousand times the mean."""

_SPREADS, _MEANS, _FAR, _ZOOMS = 48, 81, 10.0, 8
"""Points of the spread and, beside each, of the mean; deviations of that either way; closer looks at the spread."""

_STIRLING = 1e5
"""Shapes past this go by Stirling's formula, as differences of their gamma functions would lose their digits."""

_RULE_OF_THREE = 3.0
"""Events that a rate may be worth of which none was seen (at 95 %): the mean is looked for around so many more."""

_LEAST = 1e-9
"""Points with less chance than this times the likeliest are left out."""

_LOG_SHAPES, _SHAPES = (-6.0, 16.0), 45
_REACH, _HALVINGS = 80.0, 60
_NOTHING, _CLOSE = 1e-300, 1e-10
_GRID = 1000


@dataclass(frozen=True, eq=False)
class GroupRates:
    """The rate of each group: mean, low and high, ``(n_groups,)``, at this level, in events per unit of exposure.

    overall: the mean of the rates that groups are drawn from. spread: the standard deviation of those over their mean,
    0 if all groups were alike. Of both the middle, half of the posterior being on either side; their intervals hold the
    chance they say to within .001.
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
    a hyperbolic secant of standard deviation pi around three events more than were seen over all exposure: both can be,
    and so what comes of them, also where no group had any event. Simulated, rates are above their interval of 90 % up
    to 10 % of the time where all groups together have three events or fewer, else about 5 %.

    ValueError for shapes that differ, negative numbers, or a group without exposure.
    """
    check_level(level)
    x, e = _checked(events, exposure)
    points = _posterior(x, e)
    # Given mean and spread a group's rate is gamma again, by its own events and exposure.
    shapes = np.exp(-2 * points.log_spreads)[:, None] + x
    scales = 1 / (np.exp(-2 * points.log_spreads - points.log_means)[:, None] + e)
    tails = (1 - level) / 2, (1 + level) / 2
    low, high = (_quantiles(points.chances, shapes, scales, tail) for tail in tails)
    overall = _middle(points.log_means, points.mean_steps, points.chances, tails)
    spread = _middle_of_curve(points.spreads, points.by_spread, tails)
    return GroupRates(points.chances @ (shapes * scales), low, high, overall, spread, level)


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


@dataclass(frozen=True, eq=False)
class _Points:
    """Pairs of mean and spread, how far in the logarithm each mean stands for, and their chance: all ``(n_points,)``.

    by_spread: the log posterior of the spread by itself at the logarithms `spreads`, even steps, ``(n_spreads,)``.
    """

    log_means: Floats
    mean_steps: Floats
    log_spreads: Floats
    chances: Floats
    spreads: Floats
    by_spread: Floats


def _posterior(events: Floats, exposure: Floats) -> _Points:
    """The posterior of mean and spread, on points where it is: found by looking closer."""
    low, high = _LOG_SPREADS
    for _ in range(_ZOOMS):
        spreads = np.linspace(low, high, _SPREADS)
        logs, means, steps = _by_mean(np.exp(-2 * spreads), events, exposure)
        logs -= np.logaddexp(spreads, -spreads)[:, None]  # a half-Cauchy, in steps of the logarithm
        by_spread = np.logaddexp.reduce(logs, axis=1)
        kept = spreads[by_spread > by_spread.max() + np.log(_LEAST)]
        step = spreads[1] - spreads[0]
        near = max(kept[0] - step, low), min(kept[-1] + step, high)
        if near[1] - near[0] > 0.8 * (high - low):
            break
        low, high = near
    chances = np.exp(logs - logs.max())
    there = chances > _LEAST

    def at_each(by_spread: Floats) -> Floats:
        repeated: Floats = np.repeat(by_spread[:, None], _MEANS, axis=1)[there]
        return repeated

    shares = chances[there] / chances[there].sum()
    return _Points(means[there], at_each(steps), at_each(spreads), shares, spreads, by_spread)


def _by_mean(shapes: Floats, events: Floats, exposure: Floats) -> tuple[Floats, Floats, Floats]:
    """Log posteriors beside each shape, and logarithms of the means they are at, ``(n_shapes, n_means)`` each.

    Steps between the means, ``(n_shapes,)``, come last and are in the posteriors, as is what was believed of the mean
    beforehand; of the spread it is not yet.
    """
    centre, tops = _centre(events, exposure), _top(shapes, events, exposure, 1.0)
    m = np.exp(tops)[:, None] * exposure
    a = shapes[:, None]
    curvature = ((a + events) * a * m / (a + m) ** 2).sum(axis=1) + np.cosh((tops - centre) / 2) ** -2 / 4
    step = 2 * _FAR / (_MEANS - 1) / np.sqrt(curvature)
    logs = tops[:, None] + step[:, None] * (np.arange(_MEANS) - (_MEANS - 1) / 2)
    off = (logs - centre) / 2
    posterior = _log_likelihoods(shapes, logs, events, exposure) - np.logaddexp(off, -off) + np.log(step)[:, None]
    return posterior, logs, step


def _centre(events: Floats, exposure: Floats) -> float:
    """The logarithm of the rate that the mean is looked for around; its tails are the powers one half of the rate."""
    return float(np.log((events.sum() + _RULE_OF_THREE) / exposure.sum()))


def _log_likelihoods(shapes: Floats, log_means: Floats, events: Floats, exposure: Floats) -> Floats:
    """Log P(events | shape, mean), negative binomial but for a constant: as `log_means`, ``(n_shapes, n)``."""
    values = np.empty_like(log_means)
    for number, a in enumerate(shapes):
        relative = np.exp(log_means[number])[:, None] * exposure / a
        by_shape = _log_rising(events, a).sum()
        values[number] = by_shape + events.sum() * log_means[number] - np.log1p(relative) @ (a + events)
    return values


def _log_rising(events: Floats, a: float) -> Floats:
    """log of a (a + 1) ... (a + events - 1) / a**events: ``(n_groups,)``."""
    if a < _STIRLING:
        exact: Floats = gammaln(events + a) - gammaln(a) - events * np.log(a)
        return exact
    near: Floats = (events + a - 0.5) * np.log1p(events / a) - events + (1 / (events + a) - 1 / a) / 12
    return near


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

    shapes, scales: ``(n_points, n_groups)``. By Newton's steps in the logarithm, between the quantiles of the gammas,
    and by halving where a step leaves what is left of that.
    """
    ends = np.log(np.maximum(gammaincinv(shapes, tail) * scales, _NOTHING))
    low, high = ends.min(axis=0), ends.max(axis=0)
    constant, at = gammaln(shapes), (low + high) / 2
    for _ in range(_HALVINGS):
        relative = np.exp(at) / scales
        excess = chances @ gammainc(shapes, relative) - tail
        density = chances @ np.exp(shapes * np.log(relative) - relative - constant)
        low, high = np.where(excess < 0, at, low), np.where(excess < 0, high, at)
        step = at - excess / np.maximum(density, _NOTHING)
        before, at = at, np.where((step >= low) & (step <= high), step, (low + high) / 2)
        if np.all(np.abs(at - before) < _CLOSE):
            break
    rates: Floats = np.where(at > np.log(_NOTHING) + 1, np.exp(at), 0.0)
    return rates


def _middle(logs: Floats, steps: Floats, chances: Floats, tails: tuple[float, float]) -> Estimate:
    """The median and the interval of a number with these logarithms, each spread over its step: ``(n_points,)``."""
    grid = np.linspace((logs - steps).min(), (logs + steps).max(), _GRID)
    below = [float(chances @ np.clip((each - logs) / steps + 0.5, 0.0, 1.0)) for each in grid]
    middle, low, high = np.exp(np.interp([0.5, *tails], below, grid))
    return Estimate(float(middle), float(low), float(high))


def _middle_of_curve(logs: Floats, curve: Floats, tails: tuple[float, float]) -> Estimate:
    """The same of a number with this log posterior at even steps of its logarithm, smooth in between."""
    grid = np.linspace(logs[0], logs[-1], _GRID)
    density = np.exp(CubicSpline(logs, curve - curve.max())(grid))
    below = np.cumsum(density) - density / 2
    middle, low, high = np.exp(np.interp([0.5, *tails], below / below[-1], grid))
    return Estimate(float(middle), float(low), float(high))
