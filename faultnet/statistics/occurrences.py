"""How often something happens per unit of exposure (hours, sets, jobs): counts that are Poisson, rates that are gamma.

The gamma is the conjugate prior of a Poisson rate; formulas and symbols as in NASA/SP-2009-569, section 4.2.2.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import chi2, gamma, norm

from faultnet.cpt import Floats
from faultnet.errors import TooLittleData, UsageProblem
from faultnet.statistics.estimate import Estimate, check_level

_LOG_SHAPES = (-7.0, 14.0)
"""Where the logarithm of a gamma's shape is looked for: from nearly all at 0 to nearly one value."""

_WIDEST = 700.0
"""A difference of logarithms past this is as good as infinite."""

_NODES, _FAR = 4001, 12.0
"""Points of a posterior that is added up, and how many of its deviations either way."""


@dataclass(frozen=True)
class Gamma:
    """A gamma distribution of a rate: as much as `shape` events in so much `exposure` would say.

    Mean shape / exposure. An exposure of 0 is allowed as a prior that only data make a distribution.
    """

    shape: float
    exposure: float

    def __post_init__(self) -> None:
        if not (0 < self.shape < np.inf and 0 <= self.exposure < np.inf):
            raise UsageProblem(f"a gamma needs a shape above 0 and no negative exposure: {self.shape}, {self.exposure}")

    @property
    def mean(self) -> float:
        return self.shape / self.exposure

    def quantile(self, chance: float) -> float:
        """The rate that the true one is below with this chance."""
        return float(gamma.ppf(chance, self.shape, scale=1 / self.exposure))

    @classmethod
    def from_quantiles(cls, lower: tuple[float, float], upper: tuple[float, float]) -> "Gamma":
        """The gamma with two quantiles, each (chance, rate): NASA/SP-2009-569, Example 10; NIST's 50/95 method.

        A mean time between events t that is exceeded with chance c is the quantile (1 - c, 1/t). `UsageProblem` unless
        both chances and both rates rise.
        """
        (p, low), (q, high) = lower, upper
        if not (0 < p < q < 1 and 0 < low < high < np.inf):
            raise UsageProblem(f"two quantiles must rise, with chances within 0 and 1: {lower}, {upper}")

        def too_wide(log_shape: float) -> float:
            ends = gamma.ppf([p, q], np.exp(log_shape))
            with np.errstate(divide="ignore"):
                return float(np.minimum(np.log(ends[1]) - np.log(ends[0]), _WIDEST) - np.log(high / low))

        shape = _shape(too_wide, *_LOG_SHAPES, f"no gamma has quantiles so {{}}: {lower}, {upper}")
        return cls(shape, float(gamma.ppf(q, shape)) / high)

    @classmethod
    def from_mean(cls, mean: float, chance: float, rate: float) -> "Gamma":
        """The gamma with this mean that is below the rate with this chance: NASA/SP-2009-569, Example 8b.

        Of two such gammas the one that spreads less, the other having nearly all of its chance next to 0. No gamma has
        a quantile past so many times its mean, 5.8 for 95 %: `UsageProblem`, with how many.
        """
        if not (0 < mean < np.inf and 0 < chance < 1 and 0 < rate < np.inf):
            raise UsageProblem(f"a mean and a rate above 0 and a chance within 0 and 1: {mean}, {rate}, {chance}")

        def times(log_shape: float) -> float:
            return float(gamma.ppf(chance, np.exp(log_shape))) / float(np.exp(log_shape))

        widest = minimize_scalar(lambda log_shape: -times(log_shape), bounds=_LOG_SHAPES, method="bounded")
        most, asked = -float(widest.fun), rate / mean
        if asked >= most:
            raise UsageProblem(
                f"no gamma has {chance:.0%} below {asked:.3g} times its mean, at most {most:.3g} times: "
                "state a lower rate, a higher mean, or two quantiles"
            )
        ends = (float(widest.x), _LOG_SHAPES[1]) if asked > 1 else (_LOG_SHAPES[0], float(widest.x))
        sign = 1.0 if asked > 1 else -1.0
        shape = _shape(lambda a: sign * (times(a) - asked), *ends, f"no gamma is so {{}}: {mean}, {chance}, {rate}")
        return cls(shape, shape / mean)


JEFFREYS = Gamma(0.5, 0.0)
"""What says least of a rate: half an event in no exposure (Jeffreys; NASA/SP-2009-569, section 4.2.2.2)."""


@dataclass(frozen=True)
class Rate:
    """Events per unit of exposure: the mean and central interval of a gamma of this shape and exposure."""

    mean: float
    low: float
    high: float
    shape: float
    exposure: float


def gamma_rate(events: float, exposure: float, prior: Gamma = JEFFREYS, level: float = 0.9) -> Rate:
    """The rate after so many events in so much exposure, and before them what the prior says.

    The posterior is a gamma of prior.shape + events and prior.exposure + exposure. `TooLittleData` if that exposure is
    0; ValueError for negative numbers.
    """
    check_level(level)
    check_counts(np.array([events]), np.array([exposure]))
    if not prior.exposure + exposure > 0:
        raise TooLittleData("no exposure, so no rate: count the hours or sets watched, or give a prior with exposure")
    after = Gamma(prior.shape + events, prior.exposure + exposure)
    low, high = after.quantile((1 - level) / 2), after.quantile((1 + level) / 2)
    return Rate(after.mean, low, high, after.shape, after.exposure)


def mtbf_limits(failures: int, time: float, level: float = 0.9) -> Estimate:
    """The mean time between failures of a test that ended after a set time, with its confidence limits.

    By chi-square, with 2 (failures + 1) degrees of freedom below and 2 failures above (NIST/SEMATECH e-Handbook
    8.4.5.1). Without a failure the time itself is no estimate but infinite, and so is the upper limit.
    """
    check_level(level)
    check_counts(np.array([failures]), np.array([time]))
    low = 2 * time / float(chi2.ppf((1 + level) / 2, 2 * (failures + 1)))
    if failures == 0:
        return Estimate(float("inf"), low, float("inf"))
    return Estimate(time / failures, low, 2 * time / float(chi2.ppf((1 - level) / 2, 2 * failures)))


def lognormal_rate(events: float, exposure: float, median: float, error_factor: float, level: float = 0.9) -> Estimate:
    """The rate whose prior is lognormal, as handbooks of parts give it: mean and central interval of the posterior.

    error_factor: the 95 % quantile over the median. By adding up the posterior over 4,001 rates, evenly spaced in the
    logarithm (NASA/SP-2009-569, Example 4). `UsageProblem` unless the median is above 0 and the factor above 1.
    """
    check_level(level)
    check_counts(np.array([events]), np.array([exposure]))
    if not (0 < median < np.inf and 1 < error_factor < np.inf):
        raise UsageProblem(f"a median above 0 and an error factor above 1: {median}, {error_factor}")
    spread = np.log(error_factor) / norm.ppf(0.95)
    deviations = _around_the_top(events, median * exposure, spread)
    rates = median * np.exp(spread * deviations)
    logs = events * spread * deviations - exposure * rates - deviations**2 / 2
    chances = np.exp(logs - logs.max())
    chances /= chances.sum()
    below = np.cumsum(chances) - chances / 2
    low, high = np.exp(np.interp([(1 - level) / 2, (1 + level) / 2], below, np.log(rates)))
    return Estimate(float(chances @ rates), float(low), float(high))


def check_counts(events: Floats, exposure: Floats) -> None:
    """ValueError unless events and exposure are as many, none negative, and no event without exposure."""
    if events.shape != exposure.shape:
        raise ValueError(f"events and exposure must be as many: {events.shape}, {exposure.shape}")
    for name, values in (("events", events), ("exposure", exposure)):
        if not np.all(np.isfinite(values) & (values >= 0)):
            raise ValueError(f"{name} must be numbers, none of them negative")
    if np.any((events > 0) & (exposure == 0)):
        raise ValueError("events without exposure: count what was watched when they came")


def _around_the_top(events: float, expected: float, spread: float) -> Floats:
    """Deviations of a lognormal prior that hold nearly all of the posterior: ``(4001,)``; expected: at its median."""

    def falling(deviation: float) -> float:
        return float(spread * (events - expected * np.exp(np.minimum(spread * deviation, _WIDEST))) - deviation)

    reach = abs(falling(0.0)) + 1
    top = float(brentq(falling, -reach, reach))
    sharpness = 1 + spread**2 * expected * np.exp(spread * top)
    wide = _FAR / np.sqrt(sharpness)
    return np.linspace(top - wide, top + wide, _NODES)


def _shape(excess: Callable[[float], float], low: float, high: float, otherwise: str) -> float:
    """The shape where an excess that falls with its logarithm is 0; `UsageProblem` where there is none."""
    if excess(low) <= 0 or excess(high) >= 0:
        raise UsageProblem(otherwise.format("far apart" if excess(low) <= 0 else "near together"))
    return float(np.exp(brentq(excess, low, high, xtol=1e-13, rtol=1e-13)))
