"""A number that was estimated, with its interval."""

from collections.abc import Callable
from typing import NamedTuple

from scipy.optimize import brentq
from scipy.stats import chi2

_DOUBLINGS = 60


LEVEL = 0.90
"""How much of what a number could be lies between its ends: the central 90 % everywhere, unless somebody asks."""


class Estimate(NamedTuple):
    """A number, and the ends of its central interval, of which one may be infinite."""

    value: float
    low: float
    high: float


def check_level(level: float) -> None:
    """ValueError for a level of intervals that is not above 0 and below 1."""
    if not 0 < level < 1:
        raise ValueError(f"a level above 0 and below 1, not {level}")


def allowed_drop(level: float) -> float:
    """How far below its maximum the log likelihood of one number is within its interval (Wilks 1938)."""
    return float(chi2.ppf(level, 1)) / 2


def crossing(excess: Callable[[float], float], start: float, step: float, within: float = 1e-10) -> float:
    """Where a function that is below 0 at the start comes to 0, first in the direction of the step; else infinite."""
    near = start
    for _ in range(_DOUBLINGS):
        far = near + step
        if excess(far) >= 0:
            return float(brentq(excess, near, far, xtol=within, rtol=1e-12))
        near, step = far, 2 * step
    return float("inf") if step > 0 else float("-inf")
