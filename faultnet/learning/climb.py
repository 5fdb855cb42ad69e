"""Climbing to the best numbers: expectation and maximisation in turn (Dempster, Laird & Rubin 1977), accelerated.

Two plain steps say how fast the numbers converge; a longer step in that direction is tried (SQUAREM, Varadhan & Roland
2008, scheme S3) and taken back where it would lower the aim. The aim never falls.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite

import numpy as np

from faultnet.learning.expect import Expected
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Point, from_logarithms, logarithms

MOST_STEPS = 500
TOLERANCE = 1e-8
_SLACK = 1e-9
"""Rounding of the aim, as a share of itself: falling by less is no falling."""


@dataclass(frozen=True, eq=False)
class Climb:
    """Where a climb ended. values: the aim after every step taken, in nats; but for rounding it never falls. steps: how
    often the expected counts were worked out. converged: whether it ended by itself."""

    point: Point
    expected: Expected
    values: tuple[float, ...]
    steps: int
    converged: bool

    @property
    def value(self) -> float:
        """The aim at the end."""
        return self.values[-1]


@dataclass(eq=False)
class _Climber:
    aim: Aim
    told: Callable[[int, float], object]
    steps: int = 0
    damping: float = 1.0

    def looked_at(self, point: Point) -> "_Stand":
        expected = self.aim.history.expect(point)
        self.steps += 1
        value = self.aim.value(point, expected)
        self.told(self.steps, value)
        return _Stand(point, expected, value if isfinite(value) else -np.inf)

    def plain_step(self, stand: "_Stand") -> "_Stand":
        """One step up, shorter where the whole would fall."""
        while True:
            better = self.looked_at(self.aim.improved(stand.point, stand.expected, self.damping))
            if better.value >= stand.value - _SLACK * abs(stand.value):
                return better
            if self.damping < 1e-3:
                return stand
            self.damping /= 2


@dataclass(frozen=True, eq=False)
class _Stand:
    point: Point
    expected: Expected
    value: float


def climb(
    aim: Aim,
    start: Point,
    *,
    tolerance: float = TOLERANCE,
    most_steps: int = MOST_STEPS,
    accelerated: bool = True,
    told: Callable[[int, float], object] = lambda _steps, _value: None,
) -> Climb:
    """The best numbers near `start`. tolerance: the relative gain of a round below which it ends.

    told: called with the number of steps so far and the aim.
    """
    climber = _Climber(aim, told)
    here = climber.looked_at(start)
    values = [here.value]
    converged = False
    while climber.steps < most_steps and not converged:
        first = climber.plain_step(here)
        second = climber.plain_step(first)
        reached = second
        if accelerated:
            far = _extrapolated(aim, here.point, first.point, second.point)
            if far is not None:
                tried = climber.looked_at(far)
                if tried.value > second.value:
                    reached = tried
        values += [first.value, reached.value]
        gain = reached.value - here.value
        converged = gain <= tolerance * (1 + abs(reached.value))
        here = reached
    here = climber.plain_step(here)  # what was extrapolated may leave numbers that no job tells a little off
    values.append(here.value)
    return Climb(here.point, here.expected, tuple(values), climber.steps, converged)


def _extrapolated(aim: Aim, zero: Point, one: Point, two: Point) -> Point | None:
    """Where two steps in a row point to; None where there is no way left."""
    a, b, c = (logarithms(point) for point in (zero, one, two))
    step, bend = b - a, (c - b) - (b - a)
    length, curve = float(np.linalg.norm(step)), float(np.linalg.norm(bend))
    if curve < 1e-14 * (1 + length) or length < 1e-14:
        return None
    stretch = min(-length / curve, -1.0)
    if stretch == -1.0:
        return None
    return from_logarithms(aim.frame, a - 2 * stretch * step + stretch**2 * bend, two)
