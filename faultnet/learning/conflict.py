"""Where jobs contradict a model's own numbers, which averaging would hide: prior predictive checks (Box 1980)."""

from math import exp, lgamma

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.chances import Chances

LEAST_JOBS = 10
SURPRISING = 0.01
"""A number is in conflict with the jobs where counts at least as odd as theirs were less likely than this."""


def surprise(before: Chances, after: Chances) -> float | None:
    """How likely counts of one state at least as odd as the jobs' were, by the number before; the oddest state counts.

    Each state by itself is beta-binomial, with the number's strength; times the number of states (Bonferroni), at most
    1. None with fewer than 10 jobs. Expected counts are rounded.
    """
    n = round(after.jobs)
    if n < LEAST_JOBS or before.strength_jobs <= 0:
        return None
    counts = (np.array(after.means) * after.strength_jobs) - np.array(before.means) * before.strength_jobs
    tails = [
        _two_sided(
            round(float(np.clip(count, 0, n))), n, mean * before.strength_jobs, (1 - mean) * before.strength_jobs
        )
        for count, mean in zip(counts, before.means, strict=True)
        if 0 < mean < 1
    ]
    return min(1.0, len(tails) * min(tails)) if tails else None


def _two_sided(count: int, n: int, a: float, b: float) -> float:
    """Twice the smaller tail."""
    return min(1.0, 2 * min(at_least(count, n, a, b), at_most(count, n, a, b)))


def at_least(count: int, n: int, a: float, b: float) -> float:
    """P(at least so many of n), beta-binomial: a Beta(a, b) chance for each."""
    return float(_chances(n, a, b)[count:].sum())


def at_most(count: int, n: int, a: float, b: float) -> float:
    """P(at most so many of n)."""
    return float(_chances(n, a, b)[: count + 1].sum())


def _chances(n: int, a: float, b: float) -> Floats:
    """P(k of n) for every k, beta-binomial: ``(n + 1,)``."""
    constant = lgamma(n + 1) - lgamma(a) - lgamma(b) + lgamma(a + b) - lgamma(n + a + b)
    logs = [constant - lgamma(k + 1) - lgamma(n - k + 1) + lgamma(k + a) + lgamma(n - k + b) for k in range(n + 1)]
    return np.array([exp(each) for each in logs])


def log_marginal(counts: Floats, added: Floats) -> float:
    """Log P(these counts in some order | Dirichlet with these added counts), rows summed (Cooper & Herskovits 1992).

    counts, added: ``(n_rows, n_states)``, in nats.
    """
    total = 0.0
    for n, a in zip(counts, added, strict=True):
        total += lgamma(a.sum()) - lgamma(a.sum() + n.sum())
        total += sum(lgamma(x + y) - lgamma(y) for x, y in zip(n, a, strict=True))
    return total
