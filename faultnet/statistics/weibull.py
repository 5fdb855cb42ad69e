"""Weibull distributions of times to an event, some only watched for a while: by maximum likelihood, with intervals.

Shape above 1: units wear out; below 1: they fail early or not. Times count in their own unit, and so does the scale:
by then 63 % of units have had the event.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from faultnet.cpt import Floats
from faultnet.errors import TooLittleData, UsageProblem
from faultnet.statistics.estimate import Estimate, allowed_drop, check_level, crossing
from faultnet.statistics.lifetimes import Lifetimes

_LARGEST = 700.0
"""What may be raised to a power of e without running over."""


@dataclass(frozen=True, eq=False)
class Weibull:
    """A fitted distribution. shape: of no unit; scale: in the unit of the times; intervals at this level.

    covariance: of shape and scale, ``(2, 2)``, from the curvature of the likelihood at its maximum.
    """

    shape: Estimate
    scale: Estimate
    covariance: Floats
    log_likelihood: float
    level: float
    n: float
    n_events: float

    @property
    def aic(self) -> float:
        """Akaike's criterion, of two numbers fitted: the lower of two models is the better one (Akaike 1974)."""
        return 4 - 2 * self.log_likelihood

    def survival(self, times: Floats) -> Floats:
        """The share of units without an event after these times: same shape."""
        shares: Floats = np.exp(-((times / self.scale.value) ** self.shape.value))
        return shares

    def survival_band(self, times: Floats) -> tuple[Floats, Floats]:
        """The interval of that share at each time by itself: low and high, each of the shape of the times.

        By the spread of log(-log) of the share, a line in the logarithm of time (Meeker & Escobar 1998, section 8.4).
        Times above 0.
        """
        k, scale = self.shape.value, self.scale.value
        logs = np.log(times / scale)
        by_number = np.stack([logs, np.full_like(logs, -k / scale)])
        spread = np.sqrt(np.einsum("i...,ij,j...->...", by_number, self.covariance, by_number))
        wide = norm.ppf((1 + self.level) / 2) * spread
        return np.exp(-np.exp(k * logs + wide)), np.exp(-np.exp(k * logs - wide))

    def reached(self, share: float) -> float:
        """The time by which this share of units has had the event."""
        return float(self.scale.value * (-np.log1p(-share)) ** (1 / self.shape.value))


def fit_weibull(lifetimes: Lifetimes, level: float = 0.9) -> Weibull:
    """The likeliest Weibull distribution. Intervals are where the profile likelihood of one number stays high enough
    (Meeker & Escobar 1998, section 8.3); of few events they are far from symmetric.

    `TooLittleData` for events at fewer than two times, which leave the shape open; `UsageProblem` for an event at time
    0, which no Weibull distribution has.
    """
    check_level(level)
    sample = Sample.of(lifetimes, least=2)
    k = sample.likeliest_shape()
    m = sample.log_scale(k)
    best, drop = sample.log_likelihood(k, m), allowed_drop(level)

    def short_by_shape(log_k: float) -> float:
        shape = float(np.exp(log_k))
        return best - drop - sample.log_likelihood(shape, sample.log_scale(shape))

    def short_by_scale(log_scale: float) -> float:
        return best - drop - sample.log_likelihood(sample.shape_at(log_scale), log_scale)

    shape = [k, *(float(np.exp(crossing(short_by_shape, np.log(k), step))) for step in (-0.1, 0.1))]
    scale = [m, *(crossing(short_by_scale, m, step) for step in (-0.1 / k, 0.1 / k))]
    scales = [sample.longest * float(np.exp(each)) for each in scale]
    return Weibull(
        Estimate(*shape),
        Estimate(*scales),
        sample.covariance(k, m),
        best - sample.r * float(np.log(sample.longest)),
        level,
        lifetimes.n,
        lifetimes.n_events,
    )


@dataclass(frozen=True, eq=False)
class Sample:
    """Lifetimes as the likelihood uses them: x, the logarithms of time over the longest, ``(n_times,)``, at most 0.

    events, censored: units at each, ``(n_times,)``. r: of all events; their logarithms add up to `log_sum`.
    """

    x: Floats
    events: Floats
    censored: Floats
    longest: float

    @classmethod
    def of(cls, lifetimes: Lifetimes, least: int) -> "Sample":
        """The sample of lifetimes with events at so many different times at least, else `TooLittleData`."""
        tally = lifetimes.tally()
        if tally.times[0] == 0 and tally.events[0]:
            raise UsageProblem("an event at time 0 has no Weibull distribution; count time in a finer unit, above 0")
        distinct = int((tally.events > 0).sum())
        if distinct < least:
            raise TooLittleData(
                f"events at {distinct} different times; a fit needs {least}: watch longer, or put groups together"
            )
        kept = tally.times > 0  # a unit gone at once without an event says nothing
        longest = float(tally.times[-1])
        return cls(np.log(tally.times[kept] / longest), tally.events[kept], tally.censored[kept], longest)

    @property
    def r(self) -> float:
        return float(self.events.sum())

    @property
    def log_sum(self) -> float:
        return float(self.events @ self.x)

    @property
    def units(self) -> Floats:
        return self.events + self.censored

    def likeliest_shape(self) -> float:
        """The root of the likelihood's slope when the scale is the likeliest beside each shape (Cohen 1965)."""

        def slope(log_k: float) -> float:
            powers = self.units * np.exp(np.exp(log_k) * self.x)
            return float(powers @ self.x / powers.sum() - np.exp(-log_k) - self.log_sum / self.r)

        return float(np.exp(_root(slope)))

    def log_scale(self, k: float) -> float:
        """The likeliest scale beside this shape, as the logarithm of its share of the longest time."""
        return float(np.log(self.units @ np.exp(k * self.x) / self.r) / k)

    def shape_at(self, log_scale: float) -> float:
        """The likeliest shape beside this scale."""
        logs = self.x - log_scale

        def slope(log_k: float) -> float:
            k = np.exp(log_k)
            powers = self.units * np.exp(np.minimum(k * logs, _LARGEST))
            return float(powers @ logs - self.r / k - self.events @ logs)

        return float(np.exp(_root(slope)))

    def log_likelihood(self, k: float, log_scale: float) -> float:
        """Of shape and scale, with the longest time as the unit."""
        logs = self.x - log_scale
        lost = self.units @ np.exp(np.minimum(k * logs, _LARGEST))
        return float(self.r * (np.log(k) - log_scale) + (k - 1) * (self.events @ logs) - lost)

    def covariance(self, k: float, log_scale: float) -> Floats:
        """Of shape and scale, by the curvature at the maximum; the scale in the unit of the times."""
        logs = self.x - log_scale
        powers, scale = self.units * np.exp(k * logs), self.longest * np.exp(log_scale)
        mixed = -k / scale * (powers @ logs)
        information = [[self.r / k**2 + powers @ logs**2, mixed], [mixed, self.r * (k / scale) ** 2]]
        inverse: Floats = np.linalg.inv(np.array(information))
        return inverse


def _root(rising: Callable[[float], float]) -> float:
    """Where a rising function of the logarithm of the shape is 0."""
    step = 1.0 if rising(0.0) < 0 else -1.0
    return crossing(lambda log_k: rising(log_k) * step, 0.0, step)
