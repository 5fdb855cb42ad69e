"""Shares: of counts in closed form, else from how likely the jobs are at every share; of groups, partly pooled.

How likely the jobs of a group are is kept over one grid of shares, even in log odds. Counts are a special case, so what
is done with labels and with jobs whose cause nobody is sure of is the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.sparse import csr_matrix
from scipy.special import betaincinv, betaln, expit, logit

from faultnet.cpt import Floats, Ints
from faultnet.statistics.estimate import LEVEL, Estimate

_FARTHEST = 18.0
_STEP = 0.025
_FACTORS: Floats = np.linspace(-28.0, 28.0, 225)
_SAME, _STEEP = 1e-9, 50.0
_NEVER, _ODDS_STEP, _MOST_STEPS, _TINY = 1e-15, 0.02, 20_001, 1e-300

_NODES_PER_SD = 1.2
"""The trapezoid rule is exact to 1e-6 for a bell with this many nodes a standard deviation."""

_FAR_BELOW, _N_FINE = 1e-12, 4_000

_LEAST_PULL, _MOST_PULL = 0.5, 9_000.0
_N_COARSE, _FORGET = 21, 14.0

LEAST_GROUPS = 4
"""Fewer groups than this do not say how much they differ."""


def jeffreys(events: float, of: float, level: float = LEVEL) -> Estimate:
    """A share from a count: mean and central interval of Beta(events + 1/2, of - events + 1/2).

    Jeffreys' prior (1946); with no events the lower end is 0, with nothing else the upper one is 1 (Brown, Cai &
    DasGupta 2001).
    """
    a, b = events + 0.5, of - events + 0.5
    low, high = betaincinv(a, b, [(1 - level) / 2, (1 + level) / 2]).tolist()
    return Estimate(a / (a + b), 0.0 if events == 0 else low, 1.0 if events == of else high)


@dataclass(frozen=True, eq=False)
class OverShares:
    """Something over the shares of a grid. log_odds: of its nodes, ``(n_nodes,)``, evenly apart; values: by group,
    ``(n_groups, n_nodes)``."""

    log_odds: Floats
    values: Floats

    @property
    def shares(self) -> Floats:
        """The shares at the nodes: ``(n_nodes,)``."""
        nodes: Floats = expit(self.log_odds)
        return nodes

    def only(self, groups: Sequence[int]) -> "OverShares":
        """The same of some groups."""
        return OverShares(self.log_odds, self.values[list(groups)])

    def estimates(self, level: float = LEVEL) -> list[Estimate]:
        """Of chances that add to 1 in every group: means and central intervals."""
        return [Estimate(float(own @ self.shares), *self._ends(own, level)) for own in self.values]

    def _ends(self, chances: Floats, level: float) -> tuple[float, float]:
        kept = np.flatnonzero(chances >= _FAR_BELOW * chances.max())
        first, last = max(0, kept[0] - 1), min(len(chances) - 1, kept[-1] + 1)
        up_to = CubicSpline(self.log_odds[first : last + 1], chances[first : last + 1]).antiderivative()
        fine = np.linspace(self.log_odds[first], self.log_odds[last], _N_FINE)
        cumulated = np.maximum.accumulate(up_to(fine))
        low, high = expit(np.interp(np.array([1 - level, 1 + level]) / 2 * cumulated[-1], cumulated, fine)).tolist()
        return low, high

    def middle(self) -> Floats:
        """The mean share of every group: ``(n_groups,)``."""
        means: Floats = self.values @ self.shares
        return means


def grid(most_jobs: float) -> Floats:
    """Log odds fine enough for so many jobs: ``(n_nodes,)``."""
    step = min(_STEP, 2.0 / np.sqrt(max(most_jobs, 1.0)) / _NODES_PER_SD)
    n = int(np.ceil(_FARTHEST / step))
    nodes: Floats = np.arange(-n, n + 1) * step
    return nodes


def of_counts(events: Sequence[float] | Floats, of: Sequence[float] | Floats) -> OverShares:
    """Log likelihoods of counts: of so many jobs of each group so many had it."""
    x, n = np.asarray(events, dtype=float)[:, None], np.asarray(of, dtype=float)[:, None]
    nodes = grid(float(n.max(initial=1.0)))
    return OverShares(nodes, -x * np.log1p(np.exp(-nodes)) - (n - x) * np.log1p(np.exp(nodes)))


def of_doubtful(said: Floats, usual: Floats, jobs: Floats, group: Ints, n_groups: int, nodes: Floats) -> OverShares:
    """Log likelihoods of jobs that nobody is sure of; where all are sure, those of counts.

    said: P(it has it | all that the job says) at some numbers, usual: P(it has it | how the set was brought in) at the
    same, jobs: what each counts for, group: of each, ``(n_jobs,)`` each; nodes: log odds, as of `grid`. What sets that
    have it are like, and what sets are like that do not, is as these numbers say: only how many have it is varied, by
    a factor on the odds.
    """
    said, usual, jobs, group = _alike(said, usual, jobs, group)
    factors = np.exp(_FACTORS)
    summed = csr_matrix((jobs, (group, np.arange(len(jobs)))), (n_groups, len(jobs)))
    there, before = said[:, None], usual[:, None]
    logs = summed @ (np.log((1 - there) + factors * there) - np.log((1 - before) + factors * before))
    totals = np.asarray(summed.sum(axis=1))
    means = summed @ (factors * before / ((1 - before) + factors * before)) / np.maximum(totals, 1e-300)
    found = np.zeros((n_groups, len(nodes)))
    for own, mean, values in zip(found, means, logs, strict=True):
        if mean.max() > 0:
            at = logit(np.clip(mean, 1e-15, 1 - 1e-15))
            kept = np.concatenate([[True], np.diff(np.maximum.accumulate(at)) > _SAME])
            own[:] = _between(at[kept], values[kept], nodes)
    return OverShares(nodes, found)


def _alike(said: Floats, usual: Floats, jobs: Floats, group: Ints) -> tuple[Floats, Floats, Floats, Ints]:
    """Jobs that say nearly the same taken as one, by how far they move the log odds.

    A job between two steps counts for both in part, so that the mean stays: what that costs is 1e-5 nats a job at most,
    and nothing where a job says nothing.
    """
    before = logit(np.clip(usual, _NEVER, 1 - _NEVER))
    moved = (logit(np.clip(said, _NEVER, 1 - _NEVER)) - before) / _ODDS_STEP
    below = np.floor(moved)
    steps, parts = (
        np.concatenate([below, below + 1]),
        np.concatenate([jobs * (below + 1 - moved), jobs * (moved - below)]),
    )
    kinds, usual_of = np.unique(usual, return_inverse=True)
    key = (np.tile(group * len(kinds) + usual_of, 2) * _MOST_STEPS + steps + _MOST_STEPS // 2).astype(np.int64)
    _, first, where = np.unique(key, return_index=True, return_inverse=True)
    alike = first % len(said)
    told = expit(before[alike] + steps[first] * _ODDS_STEP)
    return told, usual[alike], np.bincount(where, parts).astype(float), group[alike]


def _between(at: Floats, values: Floats, nodes: Floats) -> Floats:
    """Smooth values at nodes; beyond the ends, which no factor on the odds leads to, next to impossible."""
    beyond = np.maximum(at[0] - nodes, 0) + np.maximum(nodes - at[-1], 0)
    smooth: Floats = CubicSpline(at, values)(np.clip(nodes, at[0], at[-1])) - _STEEP * beyond
    return smooth


def unpooled(*draws: OverShares) -> OverShares:
    """The posterior of every group by itself, with Jeffreys' prior; chances of the nodes, adding to 1.

    draws: log likelihoods, or several that are as likely, over which the posterior is averaged.
    """
    nodes = draws[0].log_odds
    return OverShares(nodes, np.mean([_scaled(each.values + log_jeffreys(nodes)) for each in draws], axis=0))


def log_jeffreys(log_odds: Floats) -> Floats:
    """Jeffreys' prior over a grid in log odds, up to a constant: ``(n_nodes,)``."""
    logs: Floats = -0.5 * (np.logaddexp(0, log_odds) + np.logaddexp(0, -log_odds))
    return logs


@dataclass(frozen=True, eq=False)
class PooledShares:
    """Groups drawn towards what they have in common. of_groups: the posterior of each; common: that of their mean.

    pull_jobs: for how many jobs the common share counts beside a group's own, with the central 90 %.
    """

    of_groups: OverShares
    common: Estimate
    pull_jobs: Estimate
    alpha: float
    beta: float


def pooled(*draws: OverShares, n_nodes: int = 25) -> PooledShares:
    """The posterior of groups whose shares are Beta around a common mean, which are both averaged over.

    draws: log likelihoods, or several that are as likely. Beforehand the mean is as likely to be anything, and so is
    the spread between groups, one over the root of the pull: the density (a + b)^(-5/2) of Gelman et al., *Bayesian
    Data Analysis*, section 5.3. n_nodes: of the mean and of the pull each. alpha, beta: posterior means of the Beta's
    parameters. Fewer than four groups say little of the pull.
    """
    nodes = draws[0].log_odds
    scaled = [np.exp(each.values - each.values.max(axis=1, keepdims=True)) for each in draws]
    wide = _Around.of(np.linspace(-9.0, 9.0, 37), np.log(np.geomspace(_LEAST_PULL, _MOST_PULL, _N_COARSE)), nodes)
    rough = np.mean([wide.posterior(each @ wide.chances.T) for each in scaled], axis=0)
    means = where_it_matters(rough.sum(axis=1), wide.means, n_nodes)
    pulls = where_it_matters(rough.sum(axis=0), wide.pulls, n_nodes)
    around = _Around.of(means, pulls, nodes)
    own, chances = np.zeros_like(scaled[0]), np.zeros((n_nodes, n_nodes))
    for each in scaled:
        marginals = each @ around.chances.T
        found = around.posterior(marginals)
        by_group = each * (found.reshape(-1) / np.maximum(marginals, _TINY) @ around.chances)
        own += by_group / by_group.sum(axis=1, keepdims=True) / len(draws)
        chances += found / len(draws)
    mean, pull = expit(means), np.exp(pulls)
    of_pull = chances.sum(axis=0)
    return PooledShares(
        OverShares(nodes, own),
        _estimate(chances.sum(axis=1), mean),
        Estimate(float(of_pull @ pull**-0.5) ** -2, *_estimate(of_pull, pull)[1:]),
        float(mean @ chances @ pull),
        float((1 - mean) @ chances @ pull),
    )


@dataclass(frozen=True, eq=False)
class _Around:
    """Beta densities around means with pulls. chances: of the nodes by each, ``(n_means * n_pulls, n_nodes)``."""

    means: Floats
    pulls: Floats
    chances: Floats

    @classmethod
    def of(cls, means: Floats, pulls: Floats, log_odds: Floats) -> "_Around":
        """means: in log odds; pulls: in logarithms."""
        a = (expit(means)[:, None] * np.exp(pulls)).reshape(-1, 1)
        b = (expit(-means)[:, None] * np.exp(pulls)).reshape(-1, 1)
        up, down = -np.logaddexp(0, -log_odds), -np.logaddexp(0, log_odds)
        step = log_odds[1] - log_odds[0]
        return cls(means, pulls, step * np.exp(a * up + b * down - betaln(a, b)))

    def posterior(self, marginals: Floats) -> Floats:
        """Chances of means and pulls by the marginal likelihoods of groups: ``(n_means, n_pulls)``, adding to 1."""
        logs = np.log(np.maximum(marginals, _TINY)).sum(axis=0).reshape(len(self.means), len(self.pulls))
        flat_mean = -np.logaddexp(0, self.means) - np.logaddexp(0, -self.means)
        logs = logs + flat_mean[:, None] - 0.5 * self.pulls
        values = np.exp(logs - logs.max())
        chances: Floats = values / values.sum()
        return chances


def where_it_matters(chances: Floats, nodes: Floats, n: int) -> Floats:
    """Evenly spaced nodes over where chances are not negligible."""
    kept = np.flatnonzero(chances >= chances.max() * np.exp(-_FORGET))
    first, last = max(0, kept[0] - 1), min(len(nodes) - 1, kept[-1] + 1)
    spaced: Floats = np.linspace(nodes[first], nodes[last], n)
    return spaced


def _estimate(chances: Floats, values: Floats) -> Estimate:
    """Mean and central interval of values with these chances, in ascending order."""
    up_to = np.cumsum(chances) - 0.5 * chances
    low, high = np.interp([(1 - LEVEL) / 2, (1 + LEVEL) / 2], up_to, values).tolist()
    return Estimate(float(chances @ values), low, high)


def _scaled(logs: Floats) -> Floats:
    """Rows of logarithms as chances that add to 1."""
    values = np.exp(logs - logs.max(axis=1, keepdims=True))
    scaled: Floats = values / values.sum(axis=1, keepdims=True)
    return scaled
