"""Units of which a share can fail at all, by a Weibull distribution, and the rest never will (Meeker 1987).

Most televisions never show a given fault: one distribution for all would stretch its tail over them.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, logit

from faultnet.cpt import Floats
from faultnet.statistics.estimate import Estimate, allowed_drop, check_level, crossing
from faultnet.statistics.lifetimes import Lifetimes
from faultnet.statistics.weibull import Sample

_BOUNDS = ((-7.0, 7.0), (-200.0, 200.0), (-30.0, 20.0))
"""Of the logarithms of shape and of scale over the longest time, and of the logit of the share."""

_CLIMB: dict[str, Any] = {"method": "L-BFGS-B", "options": {"ftol": 1e-13, "gtol": 1e-8, "maxiter": 500}}

_STEP, _WITHIN = 0.3, 1e-6
"""How far from the best number an end is first looked for, and how closely it is found; both of logarithms."""

_ALL = 15.0
"""A share with a logit past this is all of the units."""


@dataclass(frozen=True)
class LimitedFailures:
    """A fitted model. share: of units that can fail at all; shape and scale: of their Weibull distribution.

    The scale is in the unit of the times; intervals at this level. A share whose interval ends at 1 says that the data
    do not show that any unit is safe.
    """

    share: Estimate
    shape: Estimate
    scale: Estimate
    log_likelihood: float
    level: float
    n: float
    n_events: float

    @property
    def aic(self) -> float:
        """Akaike's criterion, of three numbers fitted, to lay beside that of `Weibull` (Akaike 1974)."""
        return 6 - 2 * self.log_likelihood

    def survival(self, times: Floats) -> Floats:
        """The share of units without an event after these times: same shape; never below what cannot fail."""
        shares: Floats = 1 + self.share.value * np.expm1(-((times / self.scale.value) ** self.shape.value))
        return shares


def fit_limited_failures(lifetimes: Lifetimes, level: float = 0.9) -> LimitedFailures:
    """The likeliest share that can fail, shape and scale (Meeker 1987), each with its profile likelihood's interval.

    `TooLittleData` for events at fewer than three times; `UsageProblem` for an event at time 0.
    """
    check_level(level)
    sample = Sample.of(lifetimes, least=3)
    fit = _Fit(sample, _starts(sample))
    best = fit.best(None, 0.0)
    near = _Fit(sample, [best, fit.starts[-1]])
    ends = [_ends(near, best, number, allowed_drop(level)) for number in range(3)]
    shape, scale, share = (np.exp([best[0], *ends[0]]), np.exp([best[1], *ends[1]]), _share(best[2], *ends[2]))
    return LimitedFailures(
        Estimate(*share),
        Estimate(*shape.tolist()),
        Estimate(*(sample.longest * scale).tolist()),
        fit.log_likelihood(best) - sample.r * float(np.log(sample.longest)),
        level,
        lifetimes.n,
        lifetimes.n_events,
    )


def _starts(sample: Sample) -> list[Floats]:
    """Where to climb from: all units can fail, or few more than did."""
    k = sample.likeliest_shape()
    failed = Sample(sample.x, sample.events, np.zeros_like(sample.events), sample.longest)
    own = failed.likeliest_shape()
    share = sample.r / sample.units.sum()
    few = [np.log(own), failed.log_scale(own), logit(share * (2 - share)) if share < 1 else _BOUNDS[2][1]]
    all_ = [np.log(k), sample.log_scale(k), _BOUNDS[2][1]]
    return [np.clip(start, *np.array(_BOUNDS).T) for start in (few, [*all_[:2], 1.0], all_)]


@dataclass(frozen=True, eq=False)
class _Fit:
    """The likelihood of (log shape, log scale over the longest time, logit of the share), and its maxima."""

    sample: Sample
    starts: list[Floats]

    def best(self, fixed: int | None, value: float) -> Floats:
        """The likeliest numbers, ``(3,)``, one of them fixed at this value, or none."""
        bounds = [(value, value) if n == fixed else bound for n, bound in enumerate(_BOUNDS)]
        found = [
            minimize(self._loss, np.clip(start, *np.array(bounds).T), jac=True, bounds=bounds, **_CLIMB)
            for start in self.starts
        ]
        best: Floats = min(found, key=lambda each: float(each.fun)).x
        return best

    def log_likelihood(self, numbers: Floats) -> float:
        """With the longest time as the unit."""
        return -self._loss(numbers)[0] * self.sample.r

    def _loss(self, numbers: Floats) -> tuple[float, Floats]:
        """Minus the log likelihood for each event, and its gradient."""
        x, events, censored = self.sample.x, self.sample.events, self.sample.censored
        k, p = np.exp(numbers[0]), expit(numbers[2])
        u = np.minimum(k * (x - numbers[1]), 500.0)
        z = np.exp(u)
        failing = -np.expm1(-z)
        safe = np.maximum(expit(-numbers[2]) + p * np.exp(-z), 1e-300)
        value = events @ (np.log(p) + numbers[0] + u - x - z) + censored @ np.log(safe)
        hazard = censored * p * z * np.exp(-z) / safe
        by_scale = -k * (events @ (1 - z)) + k * hazard.sum()
        by_shape = events @ (1 + u * (1 - z)) - hazard @ u
        by_share = expit(-numbers[2]) * (events.sum() - censored @ (p * failing / safe))
        return -float(value) / self.sample.r, -np.array([by_shape, by_scale, by_share]) / self.sample.r


def _ends(fit: _Fit, best: Floats, number: int, drop: float) -> tuple[float, float]:
    """Where the profile likelihood of one number has dropped by so much, below and above."""
    least = fit.log_likelihood(best) - drop

    def short(value: float) -> float:
        return least - fit.log_likelihood(fit.best(number, float(np.clip(value, *_BOUNDS[number]))))

    own = float(best[number])
    low = crossing(short, own, -_STEP, _WITHIN)
    if number == 2 and short(_BOUNDS[2][1]) <= 0:  # it may be all of them
        return low, float("inf")
    return low, crossing(short, own, _STEP, _WITHIN)


def _share(value: float, low: float, high: float) -> list[float]:
    """Shares from their logits."""
    return [1.0 if each > _ALL else float(expit(each)) for each in (value, low, high)]
