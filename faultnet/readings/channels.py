"""Separate channels of one set read together: all alike, or some of them at another level.

The channels share the set's nominal and its common deviation from it, so their spread counts even when the nominal is
unknown. Which of them are odd is not known: every choice of so many is as likely, summed without listing them.
"""

from collections.abc import Sequence
from math import comb

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.volts import ReadingModel
from faultnet.readings.density import Taken, level_density, with_outliers


def channels_density(reading: ReadingModel, state: str, volts: Sequence[float], taken: Taken) -> Floats:
    """Density of the readings of all channels in a state, at every node of the grid: ``(n,)``, in 1/V each.

    A pattern that needs more odd channels than were read counts as if those read were all there are.
    """
    pattern = reading.patterns[state]
    of_level = {
        name: list(_channels(reading, name, np.array(volts)[:, None], taken))
        for name in dict.fromkeys((pattern.rest, *pattern.odd))
    }
    rest = of_level[pattern.rest]
    if not pattern.odd:
        alike: Floats = np.prod(rest, axis=0)
        return alike
    odd = [np.mean([of_level[name][channel] for name in pattern.odd], axis=0) for channel in range(len(volts))]
    by_count = odd_counts(rest, odd)
    counts = range(min(pattern.at_least, len(volts)), min(pattern.at_most, len(volts)) + 1)
    mixed: Floats = np.mean([by_count[k] / comb(len(volts), k) for k in counts], axis=0)
    return mixed


def odd_counts(rest: Sequence[Floats], odd: Sequence[Floats]) -> list[Floats]:
    """For k = 0 to all: sum over every choice of k channels of the product of their `odd` and of the others' `rest`."""
    sums = [np.ones_like(rest[0])]
    for normal, other in zip(rest, odd, strict=True):
        longer = [*sums, np.zeros_like(sums[0])]
        sums = [normal * longer[k] + (other * sums[k - 1] if k else 0.0) for k in range(len(longer))]
    return sums


def _channels(reading: ReadingModel, name: str, volts: Floats, taken: Taken) -> Floats:
    """Density of each channel at a level: ``(n_channels, n)``."""
    level = reading.level(name, taken.hold, taken.at)
    return with_outliers(reading, level_density(level, volts, taken, reading.channel_sd))
