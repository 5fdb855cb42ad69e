"""Plain recursion over every plan of a small problem: no bounds, no memory, nothing from the search."""

from math import inf

import numpy as np

from faultnet.cpt import Floats
from faultnet.plan.problem import WORKS, PlanRepair, PlanTest, Problem


def least_cost(problem: Problem) -> float:
    """The least expected cost of any plan, in money; weights are taken to add to 1."""
    return _Recursion(problem).cost(problem.weights / problem.weights.sum(), {}, frozenset(), 0, problem.no_power)


class _Recursion:
    def __init__(self, problem: Problem) -> None:
        self.problem = problem

    def cost(self, weights: Floats, seen: dict[int, int], done: frozenset[int], bench: int, no_power: bool) -> float:
        problem = self.problem
        if weights.sum() <= 0:
            return 0.0
        best = min(float(weights @ stop[problem.kinds]) for stop in problem.stops)
        for number, test in enumerate(problem.tests):
            if number not in seen and self.may_test(test, seen, bench, no_power):
                total = float(weights.sum()) * test.costs[bench]
                for outcome in range(test.chances.shape[1]):
                    forbidden = no_power or bool(test.forbids_power[outcome])
                    then = weights * test.chances[:, outcome]
                    total += self.cost(then, {**seen, number: outcome}, done, int(test.leaves[bench]), forbidden)
                best = min(best, total)
        for number, repair in enumerate(problem.repairs):
            if number not in done and self.may_repair(repair, weights, seen, bench):
                cured, left = self.failed(repair, weights)
                total = float(weights.sum()) * repair.costs[bench] + cured * repair.comeback
                total += self.cost(left, seen, done | {number}, int(repair.leaves[bench]), False)
                best = min(best, total)
        return best

    def failed(self, repair: PlanRepair, weights: Floats) -> tuple[float, Floats]:
        cured, left = 0.0, np.zeros_like(weights)
        for origin, end, chance in zip(repair.moves.origin, repair.moves.end, repair.moves.chance, strict=True):
            moved = repair.survives * chance * weights[origin]
            if end == WORKS:
                cured += moved
            else:
                left[end] += moved
        return cured, left

    def may_test(self, test: PlanTest, seen: dict[int, int], bench: int, no_power: bool) -> bool:
        if test.costs[bench] == inf or (no_power and test.powered[bench]):
            return False
        return self.problem.free or all(group & set(seen) for group in test.after)

    def may_repair(self, repair: PlanRepair, weights: Floats, seen: dict[int, int], bench: int) -> bool:
        if repair.costs[bench] == inf:
            return False
        if self.problem.free:
            return True
        if not all(group & set(seen) for group in repair.after):
            return False
        if not all(group & set(seen.items()) for group in repair.proved_by):
            return False
        judged = np.ones(self.problem.n_kinds, dtype=bool) if repair.judged is None else repair.judged
        return bool(weights[judged[self.problem.kinds]].sum() >= repair.gate * weights.sum())
