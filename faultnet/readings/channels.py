"""Separate channels of one set read together: all alike, or some of them at another level.

The channels share the set's nominal and its common deviation from it, so their spread counts even when the nominal is
unknown. Which of them are odd is not known: every choice of so many is as likely, summed without listing them.
"""

from collections.abc import Mapping
from math import comb

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.volts import ReadingModel
from faultnet.readings.density import Taken, with_outliers


def channels_density(reading: ReadingModel, state: str, at: Mapping[str, str], taken: Taken) -> Floats:
    """Density of the readings of all channels in a state, at every node of the grid: ``(n,)``, in 1/V each.

    A pattern that needs more odd channels than were read counts as if those read were all there are.
    """
    pattern, n_channels = reading.patterns[state], len(taken.volts)
    of_level = {
        name: with_outliers(reading, taken.level(reading.level(name, taken.hold, at).mixture, reading.channel_sd))
        for name in dict.fromkeys((pattern.rest, *pattern.odd))
    }
    rest = of_level[pattern.rest]
    if not pattern.odd:
        alike: Floats = rest.prod(axis=0)
        return alike
    odd = np.mean([of_level[name] for name in pattern.odd], axis=0)
    by_count = odd_counts(rest, odd)
    counts = range(min(pattern.at_least, n_channels), min(pattern.at_most, n_channels) + 1)
    mixed: Floats = np.mean([by_count[k] / comb(n_channels, k) for k in counts], axis=0)
    return mixed


def odd_counts(rest: Floats, odd: Floats) -> list[Floats]:
    """For k = 0 to all: sum over every choice of k channels of the product of their `odd` and of the others' `rest`.

    rest, odd: ``(n_channels, n)``; each sum ``(n,)``.
    """
    sums = [np.ones_like(rest[0])]
    for normal, other in zip(rest, odd, strict=True):
        longer = [*sums, np.zeros_like(sums[0])]
        sums = [normal * longer[k] + (other * sums[k - 1] if k else 0.0) for k in range(len(longer))]
    return sums
