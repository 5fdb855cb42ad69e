"""Where jobs contradict a model's own numbers, which averaging would hide: prior predictive checks (Box 1980)."""

import numpy as np
from scipy.special import betaln, gammaln

from faultnet.cpt import Floats
from faultnet.model.chances import Chances

LEAST_JOBS = 10
_NOT_COUNTED = ("condition", "collateral", "second_fault_share")
"""Kinds of numbers that jobs tell only together with others."""

SURPRISING = 0.01
"""A number is in conflict with the jobs where counts at least as odd as theirs were less likely than this."""


def surprise(before: Chances, after: Chances) -> float | None:
    """How likely counts of one state at least as odd as the jobs' were, by the number before; the oddest state counts.

    Each state by itself is beta-binomial, with the number's strength; times the number of states (Bonferroni), at most
    1. Jobs that leave a number open count for less, as the strength afterwards says; with fewer than 10, None.
    """
    told, strength = after.strength_jobs - before.strength_jobs, before.strength_jobs
    n = round(told if after.kind in _NOT_COUNTED else min(told, after.jobs))
    if n < LEAST_JOBS or strength <= 0:
        return None
    behind = float(n) if after.kind in _NOT_COUNTED else after.jobs
    stated = np.array(before.means)
    own = np.clip((np.array(after.means) * (strength + behind) - stated * strength) / behind, 0.0, 1.0)
    tails = [
        _two_sided(round(n * share), n, mean * strength, (1 - mean) * strength)
        for share, mean in zip(own.tolist(), stated.tolist(), strict=True)
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
    k = np.arange(n + 1)
    logs = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1) + betaln(k + a, n - k + b) - betaln(a, b)
    chances: Floats = np.exp(logs)
    return chances
