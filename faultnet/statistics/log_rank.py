"""Whether groups of units have their events at the same rate: the log-rank test (Mantel 1966, Peto & Peto 1972)."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from faultnet.cpt import Floats
from faultnet.errors import TooLittleData
from faultnet.statistics.lifetimes import Lifetimes


@dataclass(frozen=True, eq=False)
class LogRank:
    """The test's answer: p is how likely groups that differ no more than by chance look as different as these.

    events, expected: what came in each group, and what would have at the rate of all together, ``(n_groups,)``.
    """

    chi2: float
    degrees: int
    p: float
    events: Floats
    expected: Floats


def log_rank(groups: Sequence[Lifetimes]) -> LogRank:
    """Whether all groups have one rate over time, of two groups or more, rows with their weights as counts of units.

    A group that was never watched when an event came says nothing and takes no degree of freedom. `TooLittleData`
    where fewer than two were.
    """
    events, at_risk = _by_group(groups)
    n, d = at_risk.sum(axis=0), events.sum(axis=0)
    shares = at_risk / n
    expected = shares @ d
    degrees = int((expected > 0).sum()) - 1
    if degrees < 1:
        raise TooLittleData("no event came while two groups were watched; compare groups with events, or watch longer")
    # Hypergeometric at each time; one unit alone leaves nothing to chance.
    spread = np.where(n > 1, d * (n - d) / np.maximum(n - 1, 1e-300), 0.0)
    covariance = np.diag(shares @ spread) - (shares * spread) @ shares.T
    excess = events.sum(axis=1) - expected
    value = max(0.0, float(excess @ np.linalg.pinv(covariance, rcond=1e-10, hermitian=True) @ excess))
    return LogRank(value, degrees, float(chi2.sf(value, degrees)), events.sum(axis=1), expected)


def _by_group(groups: Sequence[Lifetimes]) -> tuple[Floats, Floats]:
    """Events, and units at risk, of each group at each time at which any had an event: ``(n_groups, n_times)``."""
    if len(groups) < 2:
        raise TooLittleData("a comparison needs at least two groups")
    tallies = [group.tally() for group in groups]
    times = np.unique(np.concatenate([tally.with_events().times for tally in tallies]))
    events, at_risk = np.zeros((2, len(groups), len(times)))
    for number, tally in enumerate(tallies):
        at_risk[number] = np.append(tally.at_risk, 0.0)[np.searchsorted(tally.times, times)]
        own = tally.with_events()
        events[number, np.searchsorted(times, own.times)] = own.events
    return events, at_risk
