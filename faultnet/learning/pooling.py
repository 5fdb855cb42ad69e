"""How far what single groups show is drawn towards what they have in common: as far as their spread says.

Counts of a group are Dirichlet-multinomial: its chances are drawn from a Dirichlet around the common means, whose
strength is the *pull*. It is averaged over its posterior, so that few groups neither pool wholly nor stand alone.
Labels that nobody is sure of are drawn along with it (data augmentation, Tanner & Wong 1987).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from faultnet.cpt import Floats, Ints

_PULLS: Floats = np.exp(np.linspace(np.log(0.5), np.log(1e5), 100))
FACTORS: Floats = np.exp(np.linspace(-3.0, 3.0, 61))
_LEAST_ADDED = 1e-9
_SWEEPS, _BURN_IN = 800, 200


@dataclass(frozen=True)
class Pull:
    """How many jobs the common means count for beside a group's own, with the central 90 % of its posterior."""

    jobs: float
    low: float
    high: float


def pull_of(counts: Floats, means: Floats) -> Pull:
    """The pull towards common means. counts: of groups, ``(n_groups, n_states)``; means: the same for all or by group.

    Beforehand the groups' spread, which goes with one over the root of the pull, is as likely to be anything (Gelman
    2006); its posterior mean says the pull. One group says nothing of it, and few say little.
    """
    return _pull(_pull_chances(counts, means))


def factor_chances(tables: Sequence[tuple[Floats, Floats]]) -> Floats:
    """The posterior of what to multiply stated counts with, on the grid `FACTORS`: ``(n_factors,)``.

    tables: counts and stated counts of rows with as many states, ``(n_rows, n_states)`` each. Beforehand the factor's
    logarithm is standard normal.
    """
    values = sum((log_marginals(counts, added, FACTORS) for counts, added in tables), -0.5 * np.log(FACTORS) ** 2)
    return _scaled(values)


def log_marginals(counts: Floats, means: Floats, strengths: Floats) -> Floats:
    """Log P(counts in some order | Dirichlets with these means times each strength): ``(n_strengths,)``.

    counts: ``(n_rows, n_states)``; means: the same, or one row for all (Cooper & Herskovits 1992).
    """
    added = np.maximum(strengths[:, None, None] * np.broadcast_to(means, counts.shape), _LEAST_ADDED)
    totals = added.sum(axis=-1)
    by_row = gammaln(totals) - gammaln(totals + counts.sum(axis=-1))
    by_row += (gammaln(added + counts) - gammaln(added)).sum(axis=-1)
    summed: Floats = by_row.sum(axis=1)
    return summed


@dataclass(frozen=True, eq=False)
class GroupDraws:
    """What groups could be like. shares: their means over all draws, and their variances, ``(n_groups, n_modes)``."""

    pull: Pull
    shares: Floats
    variances: Floats


def drawn(labels: Floats, group: Ints, usual: Floats, seed: int = 0) -> GroupDraws:
    """Draws of the shares of groups and of the pull, from labels that nobody is sure of.

    labels: P(mode, or none of them | job) as all jobs say, none last, ``(n_jobs, n_modes + 1)``; group: of each job,
    ``(n_jobs,)``; usual: how often each would be there in each group if it were like all, ``(n_groups, n_modes + 1)``.
    How often it is none of them is left as it is.
    """
    rng = np.random.default_rng(seed)
    n_groups, n_labels = usual.shape
    means = usual[:, :-1] / usual[:, :-1].sum(axis=1, keepdims=True)
    times, pulls = np.ones_like(usual), []
    total, squares = np.zeros_like(means), np.zeros_like(means)
    for sweep in range(_SWEEPS):
        tilted = np.cumsum(labels * times[group], axis=1)
        chosen = (tilted < (rng.random(len(labels)) * tilted[:, -1])[:, None]).sum(axis=1)
        flat = np.bincount(group * n_labels + chosen, minlength=n_groups * n_labels).astype(float)
        counts = flat.reshape(n_groups, n_labels)[:, :-1]
        by_pull = _pull_chances(counts, means)
        pull = float(rng.choice(_PULLS, p=by_pull))
        strength = pull + counts.sum(axis=1, keepdims=True)
        gammas = rng.standard_gamma(np.maximum(pull * means + counts, _LEAST_ADDED)) + _LEAST_ADDED
        times[:, :-1] = gammas / gammas.sum(axis=1, keepdims=True) / np.maximum(means, _LEAST_ADDED)
        if sweep >= _BURN_IN:
            pulls.append(by_pull)
            mean = (pull * means + counts) / strength
            total += mean  # less noisy than what was drawn (Rao & Blackwell)
            squares += mean**2 + mean * (1 - mean) / (1 + strength)
    n = _SWEEPS - _BURN_IN
    return GroupDraws(_pull(np.mean(pulls, axis=0)), total / n, squares / n - (total / n) ** 2)


def each_job(jobs: Floats, most: int, rng: np.random.Generator) -> Ints:
    """The number of what every single job says. jobs: how many say each.

    Of jobs that count for less than 1 so many, drawn at random: added up as fractions they would spread less than jobs
    do. Of more than `most` jobs that many.
    """
    whole = np.floor(jobs).astype(np.intp)
    number = np.repeat(np.arange(len(jobs)), whole + (rng.random(len(jobs)) < jobs - whole))
    return number if len(number) <= most else np.sort(rng.choice(number, most, replace=False))


def _pull_chances(counts: Floats, means: Floats) -> Floats:
    """The posterior of the pulls on the grid."""
    return _scaled(log_marginals(counts, means, _PULLS) - 0.5 * np.log(_PULLS))


def _pull(chances: Floats) -> Pull:
    low, high = np.interp([0.05, 0.95], np.cumsum(chances), _PULLS)
    return Pull(float((chances @ _PULLS**-0.5) ** -2), float(low), float(high))


def _scaled(logs: Floats) -> Floats:
    values = np.exp(logs - logs.max())
    scaled: Floats = values / values.sum()
    return scaled
