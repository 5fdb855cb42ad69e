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


def trend(name: str, periods: Sequence[str], *draws: OverShares) -> Trend | None:
    """The trend over periods, `2031-05` or `2031`; None of fewer than four.

    draws: log likelihoods of the jobs of each period, ``(n_periods, n_nodes)``, by the model's own numbers first, which
    say where the level changed; how sure that is, is averaged over all.
    """
    if len(periods) < FEWEST_PERIODS:
        return None
    thinned = [OverShares(each.log_odds[::2], each.values[:, ::2]) for each in draws]
    nodes = thinned[0].log_odds
    prior = log_jeffreys(nodes)
    found = [changes(each.values, prior - logsumexp(prior)) for each in thinned]
    first, chance = found[0], float(np.mean([each.chance for each in found[1:] or found]))
    levels = OverShares(nodes, first.levels).estimates()
    told = []
    for number, cut in enumerate(first.cuts if chance >= NOTABLE else ()):
        low, high = first.between(number)
        told.append(Change(periods[cut - 1], periods[low - 1], periods[high - 1], levels[number], levels[number + 1]))
    return Trend(name, len(periods), chance, tuple(told), yearly(middles(periods), *(thinned[1:] or thinned)))


def middles(periods: Sequence[str]) -> Floats:
    """The middle of every period in years: ``(n_periods,)``."""
    parts = [each.split("-") for each in periods]
    return np.array([int(each[0]) + ((int(each[1]) - 0.5) / 12 if len(each) > 1 else 0.5) for each in parts])
