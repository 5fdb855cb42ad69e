"""Whether what is counted month by month changed: at once, and when; or steadily, and how fast.

Both start from how likely the jobs of each period are at every level, over one grid of levels.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.special import gammaln, logsumexp

from faultnet.cpt import Floats
from faultnet.statistics.estimate import LEVEL, Estimate
from faultnet.statistics.shares import OverShares, where_it_matters

ANY_CHANGE = 0.1
"""How likely it is beforehand that a series has changed at all (reasoned: one in ten)."""

MOST_CHANGES = 4
FEWEST_PERIODS = 4

_FASTEST = 4.0
_N_SLOPES = 41


@dataclass(frozen=True, eq=False)
class Changes:
    """What a series says of changes. chance: that there was any; after: of each period but the last, the chance that
    the level changed after it, ``(n_periods - 1,)``. cuts: the likeliest places of the likeliest number of changes,
    each by the periods before it; places: the chances of each one's place given that number, ``(n_cuts, n_periods -
    1)``. levels: the posterior over the grid between them, ``(n_cuts + 1, n_nodes)``.
    """

    chance: float
    after: Floats
    cuts: tuple[int, ...]
    places: Floats
    levels: Floats

    def between(self, number: int, level: float = LEVEL) -> tuple[int, int]:
        """The central interval of how many periods came before the change of this number, from 0."""
        up_to = np.cumsum(self.places[number])
        first, last = (1 + int(np.searchsorted(up_to, tail)) for tail in ((1 - level) / 2, (1 + level) / 2))
        return first, last


def changes(logs: Floats, log_prior: Floats, any_change: float = ANY_CHANGE) -> Changes:
    """Exact posterior of up to four changes of level (Fearnhead 2006, *Statistics and Computing* 16, 203-213).

    logs: log likelihood of every period at every level, ``(n_periods, n_nodes)``; log_prior: of a level, over the
    nodes, ``(n_nodes,)``. Every level is drawn from it anew. There is no change with 1 - any_change; one more is half
    as likely each time, and all places are alike.
    """
    n = len(logs)
    most = min(MOST_CHANGES, n - 1)
    stretches = _stretches(logs, log_prior)
    up_to, from_ = _ways(stretches, most), _ways(stretches[::-1, ::-1].T, most)[:, ::-1]
    counts = np.arange(most + 1)
    halves = 0.5 ** counts[1:]
    before = np.log(np.concatenate([[1 - any_change], any_change * halves / max(halves.sum(), 1e-300)]))
    before = before - (gammaln(n) - gammaln(counts + 1) - gammaln(n - counts))
    by_count = before + up_to[:, n]
    total = logsumexp(by_count)
    places = [
        np.array([_posterior(up_to[earlier, 1:n] + from_[k - 1 - earlier, 1:n]) for earlier in range(k)]).reshape(
            k, n - 1
        )
        for k in counts.tolist()
    ]
    after = np.sum([np.exp(own - total) * each.sum(axis=0) for own, each in zip(by_count, places, strict=True)], axis=0)
    likeliest = int(np.argmax(by_count))
    cuts = _likeliest(stretches, likeliest)
    edges = (0, *cuts, n)
    levels = np.stack([_posterior(logs[a:b].sum(axis=0) + log_prior) for a, b in pairwise(edges)])
    return Changes(float(1 - np.exp(by_count[0] - total)), after, cuts, places[likeliest], levels)


def _stretches(logs: Floats, log_prior: Floats) -> Floats:
    """Log marginal likelihood of the periods from one to before another at one level: ``(n + 1, n + 1)``."""
    n = len(logs)
    cumulated = np.concatenate([np.zeros((1, logs.shape[1])), np.cumsum(logs, axis=0)])
    found = np.full((n + 1, n + 1), -np.inf)
    for first in range(n):
        found[first, first + 1 :] = logsumexp(cumulated[first + 1 :] - cumulated[first] + log_prior, axis=1)
    return found


def _ways(stretches: Floats, most: int) -> Floats:
    """Log sum over all ways to part the first periods by so many changes: ``(most + 1, n + 1)``."""
    found = np.full((most + 1, len(stretches)), -np.inf)
    found[0] = stretches[0]
    for k in range(1, most + 1):
        found[k] = logsumexp(found[k - 1][:, None] + stretches, axis=0)
    return found


def _likeliest(stretches: Floats, n_changes: int) -> tuple[int, ...]:
    """The likeliest places of so many changes."""
    best, came_from = stretches[0], []
    for _ in range(n_changes):
        ways = best[:, None] + stretches
        came_from.append(np.argmax(ways, axis=0))
        best = ways.max(axis=0)
    cuts, end = [], len(stretches) - 1
    for from_ in reversed(came_from):
        end = int(from_[end])
        cuts.append(end)
    return tuple(reversed(cuts))


def _posterior(logs: Floats) -> Floats:
    chances: Floats = np.exp(logs - logsumexp(logs))
    return chances


def yearly(years: Floats, *draws: OverShares) -> Estimate:
    """The factor on the odds of a share with every year, if it moves steadily: mean (of logarithms) and interval.

    years: the middle of every period, ``(n_periods,)``; draws: log likelihoods of the periods, or several that are as
    likely. Level and slope are averaged over a grid; beforehand both are as likely to be anything, in log odds.
    """
    since = years - years.mean()
    slopes = np.linspace(-_FASTEST, _FASTEST, _N_SLOPES)
    wide = np.mean([_of_slopes(slopes, since, each) for each in draws], axis=0)
    slopes = where_it_matters(wide, slopes, _N_SLOPES)
    chances = np.mean([_of_slopes(slopes, since, each) for each in draws], axis=0)
    up_to = np.cumsum(chances) - 0.5 * chances
    low, high = np.interp([(1 - LEVEL) / 2, (1 + LEVEL) / 2], up_to, slopes).tolist()
    return Estimate(*(float(np.exp(each)) for each in (chances @ slopes, low, high)))


def _of_slopes(slopes: Floats, since: Floats, likelihoods: OverShares) -> Floats:
    """Chances of slopes, the level averaged over."""
    nodes = likelihoods.log_odds
    logs = np.zeros((len(slopes), len(nodes)))
    for own, at in zip(likelihoods.values, since.tolist(), strict=True):
        for number, slope in enumerate(slopes.tolist()):
            logs[number] += np.interp(nodes + slope * at, nodes, own)
    return _posterior(logsumexp(logs, axis=1))
