"""Separate channels of one set read together: all alike, or some of them at another level.

The channels share the set's nominal and its common deviation from it, so their spread counts even when the nominal is
unknown. Which of them are odd is not known: every choice of so many is as likely, summed without listing them.
"""

from collections.abc import Mapping, Sequence
from math import comb

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.volts import Pattern, ReadingModel
from faultnet.readings.density import Taken, with_outliers


def channels_densities(
    reading: ReadingModel, states: Sequence[str], at: Mapping[str, str], taken: Taken, n_channels: int
) -> list[Floats]:
    """Densities of readings of all channels in each state, at every node of the grid: ``(n_readings, n)``, in 1/V each.

    taken: the volts of all first channels, then those of all second ones, and so on: ``(n_channels * n_readings, 1)``.
    """
    patterns = [reading.patterns[state] for state in states]
    names = dict.fromkeys(name for pattern in patterns for name in (pattern.rest, *pattern.odd))
    of_level = {name: _by_channel(reading, name, at, taken, n_channels) for name in names}
    by_count: dict[tuple[str, tuple[str, ...]], list[Floats]] = {}
    densities = []
    for pattern in patterns:
        key = (pattern.rest, pattern.odd)
        if key not in by_count:
            most = max(p.at_most for p in patterns if (p.rest, p.odd) == key)
            by_count[key] = odd_counts(of_level[pattern.rest], _odd(pattern, of_level), most)
        densities.append(_mixed(pattern, by_count[key], n_channels))
    return densities


def odd_numbers(pattern: Pattern, n_channels: int) -> range:
    """How many of so many channels may be odd, each number as likely.

    A pattern that needs more odd channels than were read counts as if those read were all there are.
    """
    return range(min(pattern.at_least, n_channels), min(pattern.at_most, n_channels) + 1)


def odd_counts(rest: Floats, odd: Floats, at_most: int | None = None) -> list[Floats]:
    """For k = 0 to all: sum over every choice of k channels of the product of their `odd` and of the others' `rest`.

    rest, odd: ``(n_channels, ...)``; each sum ``(...)``. at_most: the largest k wanted, if not all.
    """
    most = len(rest) if at_most is None else at_most
    sums = [np.ones_like(rest[0])]
    for normal, other in zip(rest, odd, strict=True):
        longer = [normal * each for each in sums]
        for k, each in enumerate(sums[:most], start=1):
            if k < len(longer):
                longer[k] += other * each
            else:
                longer.append(other * each)
        sums = longer
    return sums


def _by_channel(reading: ReadingModel, name: str, at: Mapping[str, str], taken: Taken, n_channels: int) -> Floats:
    """Density of each channel at a level, outliers mixed in: ``(n_channels, n_readings, n)``."""
    mixture = reading.level(name, taken.hold, at).mixture
    density = with_outliers(reading, taken.level(mixture, reading.channel_sd))
    by_channel: Floats = density.reshape(n_channels, -1, density.shape[1])
    return by_channel


def _odd(pattern: Pattern, of_level: Mapping[str, Floats]) -> Floats:
    """Density of an odd channel: at any of its levels, each as likely. Where none is odd, as the others."""
    levels = [of_level[name] for name in pattern.odd or (pattern.rest,)]
    return levels[0] if len(levels) == 1 else sum(levels[1:], levels[0]) / len(levels)


def _mixed(pattern: Pattern, by_count: Sequence[Floats], n_channels: int) -> Floats:
    """The mean over the numbers that may be odd, and over which are."""
    numbers = odd_numbers(pattern, n_channels)
    choices = [by_count[k] / comb(n_channels, k) for k in numbers]
    return choices[0] if len(choices) == 1 else sum(choices[1:], choices[0]) / len(choices)
