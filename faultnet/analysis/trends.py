"""Whether shares change from month to month: all at once, or steadily."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from faultnet.cpt import Floats
from faultnet.statistics.changes import FEWEST_PERIODS, changes, yearly
from faultnet.statistics.estimate import Estimate
from faultnet.statistics.shares import OverShares, log_jeffreys

NOTABLE = 0.5
"""A change is told from this chance on: as likely as not, though one in ten series was thought to change."""


@dataclass(frozen=True)
class Change:
    """A change of level: after this period, or in 90 % after one from `first` to `last`; the levels around it."""

    after: str
    first: str
    last: str
    before_it: Estimate
    after_it: Estimate


@dataclass(frozen=True)
class Trend:
    """What a series of periods says of a share. name: of what; n_periods: with jobs. chance: that it changed at all.

    changes: the likeliest ones, if a change is likelier than none. yearly: the factor on the odds with every year.
    """

    name: str
    n_periods: int
    chance: float
    changes: tuple[Change, ...]
    yearly: Estimate


def trend(name: str, periods: Sequence[str], likelihoods: OverShares) -> Trend | None:
    """The trend over periods, `2031-05` or `2031`; None of fewer than four.

    likelihoods: of the jobs of each period, ``(n_periods, n_nodes)``.
    """
    if len(periods) < FEWEST_PERIODS:
        return None
    nodes = likelihoods.log_odds
    prior = log_jeffreys(nodes)
    found = changes(likelihoods.values, prior - logsumexp(prior))
    told = []
    levels = OverShares(nodes, found.levels).estimates()
    for number, cut in enumerate(found.cuts):
        first, last = found.between(cut)
        told.append(Change(periods[cut - 1], periods[first - 1], periods[last - 1], levels[number], levels[number + 1]))
    is_notable = found.chance >= NOTABLE
    return Trend(
        name, len(periods), found.chance, tuple(told) if is_notable else (), yearly(likelihoods, middles(periods))
    )


def middles(periods: Sequence[str]) -> Floats:
    """The middle of every period in years: ``(n_periods,)``."""
    parts = [each.split("-") for each in periods]
    return np.array([int(each[0]) + ((int(each[1]) - 0.5) / 12 if len(each) > 1 else 0.5) for each in parts])
