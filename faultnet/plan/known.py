"""What each kind of fault would cost if one knew it: the bound of perfect information, for every bench and past."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from faultnet.cpt import Floats
from faultnet.plan.problem import WORKS, PlanRepair, Problem

MOST_KNOWN = 2**25
"""Entries of the table of known costs; a problem that needs more is refused."""


@dataclass(frozen=True, eq=False)
class Fate:
    """What a repair makes of kinds. stays: P(kind after | kind before) ``(n_kinds, n_kinds)``; cured ``(n_kinds,)``."""

    stays: Floats
    cured: Floats


def fate_of_kinds(problem: Problem, repair: PlanRepair) -> Fate:
    """What a repair makes of kinds. ValueError where hypotheses of one kind fare differently."""
    stays, cured = np.zeros((problem.n_hypotheses, problem.n_kinds)), np.zeros(problem.n_hypotheses)
    moves = repair.moves
    left = moves.end != WORKS
    np.add.at(stays, (moves.origin[left], problem.kinds[moves.end[left]]), moves.chance[left])
    np.add.at(cured, moves.origin[~left], moves.chance[~left])
    one = np.zeros(problem.n_kinds, dtype=np.intp)
    one[problem.kinds] = np.arange(problem.n_hypotheses)
    if not (np.allclose(stays, stays[one][problem.kinds]) and np.allclose(cured, cured[one][problem.kinds])):
        raise ValueError(f"{repair.id} does not treat all hypotheses of one kind alike")
    return Fate(stays[one], cured[one])


def known_costs(problem: Problem, fates: Sequence[Fate]) -> Floats:
    """``(n_benches, 2**n_repairs, n_kinds, n_repairs)``: see `Tables.known`; inf for a repair that is done.

    From all repairs done back to none.
    """
    n_repairs, n_kinds, n_benches = len(problem.repairs), problem.n_kinds, problem.n_benches
    if n_benches * 2**n_repairs * n_kinds * max(n_repairs, 1) > MOST_KNOWN:
        raise ValueError(
            f"{n_repairs} repairs of {n_kinds} kinds of faults at {n_benches} benches are too many to plan"
        )
    known = np.full((n_benches, 2**n_repairs, n_kinds, n_repairs), inf)
    least = np.empty((n_benches, 2**n_repairs, n_kinds))
    stop = problem.stops.min(axis=0)
    for done in range(2**n_repairs - 1, -1, -1):
        for number, (repair, fate) in enumerate(zip(problem.repairs, fates, strict=True)):
            if not done >> number & 1:
                later = least[repair.leaves, done | 1 << number] @ fate.stays.T  # (n_benches, n_kinds)
                known[:, done, :, number] = repair.costs[:, None] + repair.survives * (
                    fate.cured * repair.comeback + later
                )
        least[:, done] = _with_bench_changes(problem, np.minimum(stop, known[:, done].min(axis=2, initial=inf)))
    return known


def known_from(problem: Problem, known: Floats) -> Floats:
    """The same, with tests made first: what their set-ups cost at least, on the way to the best bench for the repair.

    What a test costs beyond its least price is its set-up; what it tells is paid for elsewhere.
    """
    setups = np.full((len(known), len(known)), inf)
    np.fill_diagonal(setups, 0.0)
    for test in problem.tests:
        for bench in np.flatnonzero(np.isfinite(test.costs)).tolist():
            there = test.leaves[bench]
            setups[bench, there] = min(setups[bench, there], test.costs[bench] - test.costs.min())
    for via in range(len(known)):  # Floyd 1962, Warshall 1962
        setups = np.minimum(setups, setups[:, via, None] + setups[None, via])
    best = np.full_like(known, inf)
    for bench in range(len(known)):
        best = np.minimum(best, setups[:, bench, None, None, None] + known[bench])
    return best


def _with_bench_changes(problem: Problem, least: Floats) -> Floats:
    """The least costs ``(n_benches, n_kinds)`` where a test may be made only for the bench that it leaves.

    Without it, a test that prepares a repair for less than the repair itself would break the bound.
    """
    for _ in range(len(least) - 1):
        before = least
        for test in problem.tests:
            least = np.minimum(least, test.costs[:, None] + least[test.leaves])
        if np.array_equal(before, least):
            break
    return least
