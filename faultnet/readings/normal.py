"""The normal distribution function of arrays, without a library that takes longer to import than an answer to give."""

from functools import cache
from math import erf, sqrt

import numpy as np

from faultnet.cpt import Floats

_FARTHEST = 9.0
_STEPS_PER_ONE = 256


def normal_cdf(z: Floats) -> Floats:
    """P(standard normal at most z), to 1e-12: cubic Hermite interpolation in a table whose slopes are known exactly."""
    table, slope = _table()
    found: Floats = (z > 0).astype(float)  # exact but for those that are looked up
    within = np.flatnonzero(np.abs(z) < _FARTHEST)
    place = (z.take(within) + _FARTHEST) * _STEPS_PER_ONE
    left = place.astype(np.intp)
    t = place - left
    low, high = table.take(left), table.take(left + 1)
    rise = high - low
    slope_low, slope_high = slope.take(left) - rise, slope.take(left + 1) - rise
    found.put(within, low + t * (rise + (1 - t) * ((1 - t) * slope_low - t * slope_high)))
    return found


def normal_quantile(chance: Floats) -> Floats:
    """The z that a standard normal lies below with this chance, to 1e-4 within 5 of the middle: enough to draw with."""
    table, _ = _table()
    steps = np.arange(-_FARTHEST * _STEPS_PER_ONE, _FARTHEST * _STEPS_PER_ONE + 1)
    z: Floats = np.interp(chance, table, steps / _STEPS_PER_ONE)
    return z


@cache
def _table() -> tuple[Floats, Floats]:
    """The function at even steps, and its slope a step."""
    z = np.arange(-_FARTHEST * _STEPS_PER_ONE, _FARTHEST * _STEPS_PER_ONE + 1) / _STEPS_PER_ONE
    values = np.array([0.5 * (1 + erf(each / sqrt(2))) for each in z.tolist()])
    return values, np.exp(-0.5 * z**2) / sqrt(2 * np.pi) / _STEPS_PER_ONE
