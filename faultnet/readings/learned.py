"""What a shop's list of voltages says of the next set with the same panel or board.

Voltages of one code are taken as log-normal about a nominal of their own: the logarithm is normal with unknown mean and
variance, under the conjugate normal-inverse-gamma prior, so that the logarithm of the next one is Student t (Gelman et
al., Bayesian Data Analysis, 3rd ed., section 3.3; Murphy 2007, Conjugate Bayesian analysis of the Gaussian
distribution, sections 6 and 6.4; formulas from memory, checked in tests by integration).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

from faultnet.readings.nominal import Nominal, Spread

LOW_VOLTS, HIGH_VOLTS = 24.0, 200.0
"""Between these the nominal of a panel nobody has measured lies, log-uniform (common practice, no source)."""

LIMIT_LOW, LIMIT_HIGH = 1.05, 1.35
"""The over-voltage limit of a driver as a ratio to the nominal (common practice, no source)."""

ONE_READING_SD = 0.03
"""How far one reading, label or data sheet is from the nominal of its panel, as a share of it (reasoned)."""

ONE_READING_JOBS = 4.0
"""How many readings that figure is worth against what the list itself shows (reasoned)."""


@dataclass(frozen=True)
class NormalInverseGamma:
    """A belief about a normal distribution: its variance is inverse gamma, its mean normal given the variance.

    mean: the expected mean. kappa: how many readings that is worth. alpha, beta: shape and scale of the variance.
    """

    mean: float
    kappa: float
    alpha: float
    beta: float

    @classmethod
    def of_log_volts(cls, low_volts: float, high_volts: float) -> "NormalInverseGamma":
        """The prior for the logarithm of a voltage: as wide as log-uniform between two ends, in mean and variance."""
        range_sd = log(high_volts / low_volts) / sqrt(12)
        return cls(
            mean=log(low_volts * high_volts) / 2,
            kappa=(ONE_READING_SD / range_sd) ** 2,
            alpha=ONE_READING_JOBS / 2,
            beta=ONE_READING_JOBS / 2 * ONE_READING_SD**2,
        )

    def after(self, values: Sequence[float]) -> "NormalInverseGamma":
        """The belief after some values, in any order or number of portions."""
        if not values:
            return self
        n = len(values)
        average = sum(values) / n
        scatter = sum((value - average) ** 2 for value in values)
        kappa = self.kappa + n
        return NormalInverseGamma(
            mean=(self.kappa * self.mean + n * average) / kappa,
            kappa=kappa,
            alpha=self.alpha + n / 2,
            beta=self.beta + scatter / 2 + self.kappa * n * (average - self.mean) ** 2 / (2 * kappa),
        )

    @property
    def next_one(self) -> tuple[float, float, float]:
        """Centre, scale and degrees of freedom of the Student t that the next value has."""
        return self.mean, sqrt(self.beta * (self.kappa + 1) / (self.alpha * self.kappa)), 2 * self.alpha


def learned_spread(volts: Sequence[float], low_volts: float, high_volts: float) -> Spread:
    """The voltage of the next set, after these voltages of others, each counting as one reading whatever its source.

    low_volts, high_volts: where such voltages lie; without readings that range is all there is.
    """
    belief = NormalInverseGamma.of_log_volts(low_volts, high_volts).after([log(each) for each in volts])
    centre, scale, dof = belief.next_one
    return Spread(exp(centre), scale, dof)


def learned_nominal(loaded: Iterable[float], unplugged: Iterable[float]) -> Nominal | None:
    """What a list says of a set: loaded and unplugged volts of others with the same code. None: it says nothing."""
    loaded, unplugged = tuple(loaded), tuple(unplugged)
    if not loaded and not unplugged:
        return None
    limit = (LOW_VOLTS * LIMIT_LOW, HIGH_VOLTS * LIMIT_HIGH)
    return Nominal(
        loaded=learned_spread(loaded, LOW_VOLTS, HIGH_VOLTS) if loaded else None,
        source="list",
        unplugged=learned_spread(unplugged, *limit) if unplugged else None,
        readings=len(loaded),
        unplugged_readings=len(unplugged),
    )
