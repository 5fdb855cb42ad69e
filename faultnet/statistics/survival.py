"""The share of units still without an event as time goes on, some only watched for a while (Kaplan & Meier 1958).

Rows stand for many units, and each sum is over distinct times, so that a million jobs cost what their days cost. The
variances are worked out here: statsmodels gives weighted rows the variance of the hazard instead, and its band for the
whole curve at 95 % only.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from faultnet.cpt import Floats
from faultnet.statistics.bands import critical_value
from faultnet.statistics.estimate import Estimate, check_level
from faultnet.statistics.lifetimes import Lifetimes, Tally

_ROUNDING = 1e-12
"""A product of shares that should be one half is one half within this."""

WHOLE_CURVE = (0.05, 0.95)
"""The band of the whole curve holds from the time its own information is this share of all, to that one."""


@dataclass(frozen=True)
class Reached:
    """When a share of units had the event, with its interval; None where the curve or its band never comes so far."""

    time: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, eq=False)
class SurvivalCurve:
    """The share of units without an event, after each time at which one came: arrays ``(n_times,)``.

    low, high: the central interval at each time by itself. low_throughout, high_throughout: a band that all of the
    curve lies in at once, NaN outside the times it speaks of. level: of both. tally: every time a unit went, also those
    without an event, for `at_risk_at`.
    """

    times: Floats
    at_risk: Floats
    events: Floats
    survival: Floats
    low: Floats
    high: Floats
    low_throughout: Floats
    high_throughout: Floats
    level: float
    n: float
    n_events: float
    tally: Tally

    def at(self, time: float) -> Estimate | None:
        """The share without an event after this time; None past the longest time that a unit was watched.

        Before the first event it is 1, and its interval that of no event among those still watched (Clopper & Pearson
        1934).
        """
        if time > self.tally.times[-1]:
            return None
        step = int(np.searchsorted(self.times, time, side="right")) - 1
        if step >= 0:
            return Estimate(float(self.survival[step]), float(self.low[step]), float(self.high[step]))
        return Estimate(1.0, float(((1 - self.level) / 2) ** (1 / self.at_risk_at(time))), 1.0)

    def at_risk_at(self, time: float) -> float:
        """How many units are watched at this time and had no event before."""
        place = int(np.searchsorted(self.tally.times, time, side="left"))
        return float(self.tally.at_risk[place]) if place < len(self.tally.times) else 0.0

    def reached(self, share: float) -> Reached:
        """When this share of units has had the event; the interval is where the band crosses it (Brookmeyer & Crowley
        1982).

        ValueError for a share that is not above 0 and below 1.
        """
        if not 0 < share < 1:
            raise ValueError(f"a share above 0 and below 1, not {share}")
        return Reached(*(self._first(values, 1 - share) for values in (self.survival, self.low, self.high)))

    def median(self) -> float | None:
        """The time by which half of the units had the event; None if the curve does not come down so far."""
        return self.reached(0.5).time

    def _first(self, values: Floats, level: float) -> float | None:
        below = np.flatnonzero(values <= level + _ROUNDING)
        return float(self.times[below[0]]) if below.size else None


@dataclass(frozen=True, eq=False)
class CumulativeHazard:
    """Events per unit summed up over time, after each time at which one came: arrays ``(n_times,)``.

    low, high: the central interval at each time by itself, at this level.
    """

    times: Floats
    at_risk: Floats
    events: Floats
    hazard: Floats
    low: Floats
    high: Floats
    level: float


def kaplan_meier(lifetimes: Lifetimes, level: float = 0.9) -> SurvivalCurve:
    """The share of units without an event over time, by the product of the shares that passed each time.

    Kaplan & Meier 1958; variance by Greenwood 1926; interval on the scale of log(-log), which stays within 0 and 1
    (Kalbfleisch & Prentice 1980); band of the whole curve with equal precision (Nair 1984) on the same scale. Without
    any event the arrays are empty, and `SurvivalCurve.at` still answers.
    """
    check_level(level)
    tally = lifetimes.tally()
    seen = tally.with_events()
    survival = np.cumprod(1 - seen.events / seen.at_risk, dtype=np.float64)
    variance = _greenwood(seen)
    low, high = _log_log_band(survival, variance, float(norm.ppf((1 + level) / 2)))
    low_all, high_all = _whole_band(survival, variance, lifetimes.n, level)
    counted = (level, lifetimes.n, lifetimes.n_events, tally)
    return SurvivalCurve(seen.times, seen.at_risk, seen.events, survival, low, high, low_all, high_all, *counted)


def nelson_aalen(lifetimes: Lifetimes, level: float = 0.9) -> CumulativeHazard:
    """The cumulative hazard: events at each time over units at risk, summed (Nelson 1972, Aalen 1978).

    Variance: events over the square of units at risk, summed (Aalen 1978); interval on the scale of the logarithm.
    """
    check_level(level)
    seen = lifetimes.tally().with_events()
    hazard = np.cumsum(seen.events / seen.at_risk)
    deviation = np.sqrt(np.cumsum(seen.events / seen.at_risk**2))
    times = np.exp(norm.ppf((1 + level) / 2) * deviation / hazard)
    return CumulativeHazard(seen.times, seen.at_risk, seen.events, hazard, hazard / times, hazard * times, level)


def _greenwood(seen: Tally) -> Floats:
    """The variance of log survival: ``(n_times,)``, infinite where nobody is left."""
    stayed = seen.at_risk - seen.events
    with np.errstate(divide="ignore"):
        summed: Floats = np.cumsum(seen.events / (seen.at_risk * stayed))
    return summed


def _log_log_band(survival: Floats, variance: Floats, times: float) -> tuple[Floats, Floats]:
    """The band of so many deviations. Where nobody is left, from 0 to what it was before: no curve rises."""
    low, high = np.zeros_like(survival), np.ones_like(survival)
    left = survival > 0
    logs = -np.log(survival[left])
    factor = np.exp(times * np.sqrt(variance[left]) / logs)
    low[left], high[left] = np.exp(-logs * factor), np.exp(-logs / factor)
    if left.size and not left[-1]:
        high[~left] = high[left][-1] if left.any() else 1.0
    return low, high


def _whole_band(survival: Floats, variance: Floats, n: float, level: float) -> tuple[Floats, Floats]:
    """The band of all times at once; NaN at times before and after those it holds for."""
    with np.errstate(invalid="ignore"):
        information = np.where(np.isfinite(variance), n * variance / (1 + n * variance), 1.0)
    inside = (information >= WHOLE_CURVE[0]) & (information <= WHOLE_CURVE[1])
    low, high = np.full_like(survival, np.nan), np.full_like(survival, np.nan)
    if inside.any():
        held = information[inside]
        times = critical_value(float(held[0]), float(held[-1]), level)
        low[inside], high[inside] = _log_log_band(survival[inside], variance[inside], times)
    return low, high
