"""What a meter adds to a voltage: its error, and what it misses of a short pulse.

Accuracy is written as meters state it, +-(percent of reading + counts), and counts as rectangular (JCGM 100:2008, GUM,
4.3.7). How long a driver's start pulse lasts before it trips is reasoned: log-normal, median 0.4 s.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import erf, exp, log, sqrt

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats

PULSE_MEDIAN_SECONDS = 0.4
PULSE_LOG_SD = 0.8
FULL_SHARE = 0.9
"""A pulse read at this share of its height or more counts as read in full."""


@dataclass(frozen=True)
class Meter:
    """A meter by its data sheet.

    percent, counts: accuracy +-(percent of reading + counts of the last digit). display_counts: the largest number it
    shows, 2000 or 6000, which with the range gives the last digit. updates_per_second: how often it shows a new value,
    each an average since the last; max hold keeps the greatest. range_digit_volts: the last digit where one range is
    used for everything, else None.
    """

    percent: float = 0.8
    counts: float = 3.0
    display_counts: int = 2000
    updates_per_second: float = 3.0
    range_digit_volts: float | None = None

    def digit_volts(self, volts: npt.ArrayLike) -> Floats:
        """The last digit in the most sensitive range that shows these volts, ranges being powers of ten apart.

        Not below a millivolt: no smaller range is used at an LED plug.
        """
        read = np.asarray(volts, dtype=float)
        if self.range_digit_volts is not None:
            return np.full_like(read, self.range_digit_volts)
        ranges = np.ceil(np.log10(np.maximum(read, 1e-6) / self.display_counts) + 1e-12)
        digit: Floats = 10.0 ** np.maximum(ranges, -3)
        return digit

    def limit_volts(self, volts: npt.ArrayLike) -> Floats:
        """The half-width of the error that the data sheet allows."""
        limit: Floats = self.percent / 100 * np.asarray(volts, dtype=float) + self.counts * self.digit_volts(volts)
        return limit

    def sd_volts(self, volts: npt.ArrayLike) -> Floats:
        """Standard uncertainty of a reading: accuracy and the last digit, each rectangular, in quadrature."""
        return np.sqrt(self.limit_volts(volts) ** 2 / 3 + self.digit_volts(volts) ** 2 / 12)

    @property
    def pulse_missed(self) -> float:
        """Chance that no update falls into a start pulse: E[max(0, 1 - x)] for a pulse of x windows."""
        return self._shortfall(1.0, 1.0)

    @property
    def pulse_shortened(self) -> float:
        """Chance that max hold shows less than `FULL_SHARE` of a start pulse, missing it included.

        Updates average over back-to-back windows. One of them holds at least a share f of a pulse of x windows with
        chance 0 below x = f, and from there x + 1 - 2 f, at most 1.
        """
        f = FULL_SHARE
        return self._chance(f) + self._shortfall(2 * f, 2 * f) - self._shortfall(2 * f, f)

    def _chance(self, windows: float) -> float:
        """P(a pulse lasts at most so many windows); their number is log-normal."""
        return _normal_cdf(self._standard(windows))

    def _shortfall(self, whole: float, up_to: float) -> float:
        """E[whole - windows; at most `up_to` of them]."""
        mean = PULSE_MEDIAN_SECONDS * self.updates_per_second * exp(PULSE_LOG_SD**2 / 2)
        return whole * self._chance(up_to) - mean * _normal_cdf(self._standard(up_to) - PULSE_LOG_SD)

    def _standard(self, windows: float) -> float:
        return log(windows / (PULSE_MEDIAN_SECONDS * self.updates_per_second)) / PULSE_LOG_SD


def _normal_cdf(z: float) -> float:
    return 0.5 * (1 + erf(z / sqrt(2)))


METERS: Mapping[str, Meter] = {
    "slow": Meter(percent=0.8, counts=5, display_counts=2000, updates_per_second=2.5),
    "plain": Meter(percent=0.8, counts=3, display_counts=2000, updates_per_second=3.0),
    "good": Meter(percent=0.5, counts=2, display_counts=6000, updates_per_second=4.0),
    "quick": Meter(percent=0.3, counts=2, display_counts=6000, updates_per_second=10.0),
    "peak": Meter(percent=0.5, counts=10, display_counts=6000, updates_per_second=1000.0),
}
"""Classes of meters by counts and speed (common practice, no source); `peak` has a hold for pulses of a millisecond."""
