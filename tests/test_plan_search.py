"""The search for the cheapest plan against published examples, plain recursion and properties."""

import heapq
from dataclasses import replace
from itertools import permutations
from math import log2

import numpy as np
import pytest
from plan_oracle import least_cost
from plan_problems import awkward, plain

from faultnet.plan.greedy import follow_bits_per_minute
from faultnet.plan.problem import Moves, Problem, simple_repair, simple_test
from faultnet.plan.search import Solved, remembered, search, unsolved
from faultnet.plan.walk import State, Walk

EXACT = 1e-10


def solved(problem: Problem) -> float:
    found = search(problem, closed=EXACT)
    assert found.is_exact
    assert found.lower == pytest.approx(found.upper, abs=1e-9)
    return found.upper


def repairs_only(p: list[float], cures: dict[str, list[int]], costs: list[float]) -> Problem:
    """Single faults, and repairs that cure some of them; stopping is out of the question."""
    n = len(p)
    repairs = tuple(
        simple_repair(name, cured, n, cost) for (name, cured), cost in zip(cures.items(), costs, strict=True)
    )
    return Problem(np.array(p), np.arange(n), np.full((1, n), 1000.0), (), repairs)


# -- published -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("p", "costs", "expected"),
    [
        # order by p/c is optimal for independent single faults: Kadane & Simon 1977, Ann. Statist. 5; Heckerman, Breese
        # & Rommelse 1995, CACM 38(3). The numbers are derived by exhaustive search over all orders.
        ([0.50, 0.30, 0.15, 0.05], [8, 3, 1, 2], 8.05),
        ([0.45, 0.35, 0.15, 0.05], [20, 8, 15, 60], 27.00),
        ([0.20, 0.25, 0.40, 0.05, 0.10], [1, 3, 6, 2, 1], 6.70),
        ([0.30, 0.25, 0.18, 0.27], [1, 1, 1, 1], 2.31),
    ],
)
def test_independent_repairs_go_by_probability_over_cost(p: list[float], costs: list[float], expected: float) -> None:
    problem = repairs_only(p, {f"r{n}": [n] for n in range(len(p))}, costs)
    assert solved(problem) == pytest.approx(expected, abs=1e-9)
    by_order = [
        sum(costs[r] * (1 - sum(p[e] for e in order[:n])) for n, r in enumerate(order))
        for order in permutations(range(len(p)))
    ]
    assert solved(problem) == pytest.approx(min(by_order), abs=1e-9)


def test_overlapping_repairs_are_not_done_greedily() -> None:
    """Jensen & Nielsen 2007, troubleshooting (value from memory, recomputed): greedy p/c 1.50, the best 1.45."""
    cures = {"a1": [0, 1], "a2": [1, 2], "a3": [2, 3]}
    assert solved(repairs_only([0.20, 0.25, 0.40, 0.15], cures, [1, 1, 1])) == pytest.approx(1.45, abs=1e-9)


SHIFT = 200.0
"""Added to every way to end, since costs here are not negative: the least cost rises by as much."""


def wildcatter(test_cost: float, *, with_test: bool = True, perfect: bool = False) -> Problem:
    """Raiffa 1968 as restated in Shenoy 1992, Operations Research 40 (tables from memory, recomputed); in k$."""
    soundings = np.array([[0.6, 0.3, 0.1], [0.3, 0.4, 0.3], [0.1, 0.4, 0.5]])
    test = simple_test("soundings", np.eye(3) if perfect else soundings, test_cost)
    stops = SHIFT - np.array([[-70.0, 50.0, 200.0], [0.0, 0.0, 0.0]])
    return Problem(np.array([0.5, 0.3, 0.2]), np.arange(3), stops, (test,) if with_test else (), ())


def test_the_oil_wildcatter() -> None:
    assert SHIFT - solved(wildcatter(10)) == pytest.approx(22.5, abs=1e-9)
    without = SHIFT - solved(wildcatter(10, with_test=False))
    assert without == pytest.approx(20, abs=1e-9)
    assert SHIFT - solved(wildcatter(0)) - without == pytest.approx(12.5, abs=1e-9), "value of sample information"
    assert SHIFT - solved(wildcatter(0, perfect=True)) - without == pytest.approx(35, abs=1e-9), (
        "of perfect information"
    )
    walk = Walk(search(wildcatter(10), closed=EXACT))
    assert walk.planned(walk.start) == 0, "the soundings come first"
    drills = [walk.planned(after) - 1 == 0 for _, after in walk.outcomes(walk.start, 0)]
    assert drills == [False, True, True], "drill unless there is no structure"


def sequencing(priors: list[float]) -> Problem:
    """Balakrishnan & Semmelbauer 1999, Decision Support Systems, Table 1: five defects, four tests, each named at 1."""
    signatures = np.array([[0, 0, 0, 0], [0, 0, 0, 1], [0, 0, 1, 1], [0, 1, 1, 1], [1, 1, 1, 1]])
    tests = tuple(
        simple_test(f"t{n}", np.column_stack([1 - column, column]), 1.0) for n, column in enumerate(signatures.T)
    )
    return Problem(np.array(priors), np.arange(5), 1000.0 * (1 - np.eye(5)), tests, ())


def huffman(p: np.ndarray) -> float:
    """The expected length of Huffman's code: no way to ask yes-or-no questions needs fewer (Zimmerman 1959)."""
    heap, total = list(map(float, p)), 0.0
    heapq.heapify(heap)
    while len(heap) > 1:
        both = heapq.heappop(heap) + heapq.heappop(heap)
        total += both
        heapq.heappush(heap, both)
    return total


def test_expected_number_of_tests() -> None:
    """The optima are derived by dynamic programming; the second shows that Huffman's bound need not be reached."""
    assert solved(sequencing([0.2] * 5)) == pytest.approx(2.4, abs=1e-9)
    assert solved(sequencing([0.1, 0.1, 0.6, 0.1, 0.1])) == pytest.approx(2.2, abs=1e-9)
    assert huffman(np.full(5, 0.2)) == pytest.approx(2.4)
    assert huffman(np.array([0.1, 0.1, 0.6, 0.1, 0.1])) == pytest.approx(1.8)
    # MacKay 2003, chapter 5: {.25 .25 .2 .15 .15} has expected length 2.30 (value from memory, recomputed)
    assert huffman(np.array([0.25, 0.25, 0.2, 0.15, 0.15])) == pytest.approx(2.30)


@pytest.mark.parametrize("seed", range(12))
def test_no_plan_names_faults_in_fewer_tests_than_huffman_s_code(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = 6
    while True:
        columns = rng.integers(0, 2, (n, 8))
        if len(np.unique(columns, axis=0)) == n:
            break
    tests = tuple(simple_test(f"t{t}", np.column_stack([1 - c, c]), 1.0) for t, c in enumerate(columns.T))
    priors = rng.dirichlet(np.ones(n))
    least = solved(Problem(priors, np.arange(n), 1000.0 * (1 - np.eye(n)), tests, ()))
    entropy = -float(priors @ np.log2(priors))
    assert least >= huffman(priors) - 1e-9 >= entropy - 1e-9
    assert least <= log2(256) + 1e-9


# -- against plain recursion -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(60))
def test_the_search_finds_what_plain_recursion_finds(seed: int) -> None:
    """Set-ups, order, proofs, gates, harm, failed repairs, two faults, hidden conditions, power forbidden."""
    problem = awkward(np.random.default_rng(seed), free=seed % 3 == 0)
    assert solved(problem) == pytest.approx(least_cost(problem), abs=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_bounds_hold_whenever_the_search_is_stopped(seed: int) -> None:
    problem = awkward(np.random.default_rng(seed), 3, 3)
    least = least_cost(problem)
    rounds = iter(range(seed % 4))
    found = search(problem, lambda: next(rounds, None) is not None, closed=EXACT)
    assert found.lower <= least + 1e-9
    assert found.upper >= least - 1e-9


@pytest.mark.parametrize("seed", range(20))
def test_the_plan_that_is_read_costs_what_the_search_says(seed: int) -> None:
    found = search(awkward(np.random.default_rng(seed), free=seed % 2 == 0), closed=EXACT)
    assert cost_of_plan(found) == pytest.approx(found.upper, abs=1e-9)


def cost_of_plan(found: Solved) -> float:
    walk = Walk(found)
    problem, n_tests = found.problem, len(found.problem.tests)

    def cost(state: State) -> float:
        action = walk.planned(state)
        if action < n_tests:
            own = state.total * float(problem.tests[action].costs[state.bench])
            return own + sum(cost(after) for _, after in walk.outcomes(state, action))
        if action < n_tests + len(problem.repairs):
            repair = problem.repairs[action - n_tests]
            cured, after = walk.failure(state, action - n_tests)
            own = state.total * float(repair.costs[state.bench]) + cured * repair.comeback
            return own + (cost(after) if after.total > 0 else 0.0)
        return float(problem.stops[action - n_tests - len(problem.repairs)][problem.kinds] @ state.weights)

    return cost(walk.start)


# -- properties ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(15))
def test_more_to_choose_from_never_costs_more(seed: int) -> None:
    problem = awkward(np.random.default_rng(seed))
    whole = solved(replace(problem, free=True))
    assert whole <= solved(problem) + 1e-9, "gates and order only add to the cost"
    without_tests = solved(replace(problem, tests=(), free=True))
    assert whole <= without_tests + 1e-9
    assert without_tests <= min(float(stop[problem.kinds] @ problem.weights) for stop in problem.stops) + 1e-9


@pytest.mark.parametrize("seed", range(8))
def test_a_test_that_tells_nothing_changes_nothing(seed: int) -> None:
    rng = np.random.default_rng(seed)
    problem = plain(rng, 3, 4)
    useless = simple_test("useless", np.tile(rng.dirichlet([1, 1]), (4, 1)), 0.5)
    assert solved(replace(problem, tests=(*problem.tests, useless))) == pytest.approx(solved(problem), abs=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_costs_in_another_currency_give_the_same_plan(seed: int) -> None:
    problem = plain(np.random.default_rng(seed), 3, 4)
    dearer = replace(
        problem,
        stops=3 * problem.stops,
        tests=tuple(replace(t, costs=3 * t.costs) for t in problem.tests),
        repairs=tuple(replace(r, costs=3 * r.costs, comeback=3 * r.comeback) for r in problem.repairs),
    )
    assert solved(dearer) == pytest.approx(3 * solved(problem), abs=1e-8)


def test_a_negative_cost_or_a_leaking_repair_is_refused() -> None:
    problem = plain(np.random.default_rng(0), 2, 3)
    with pytest.raises(ValueError, match="not negative"):
        replace(problem, stops=problem.stops - 1000)
    leaking = replace(problem.repairs[0], moves=Moves(np.array([0, 1]), np.array([0, 1]), np.array([1.0, 1.0])))
    with pytest.raises(ValueError, match="does not add to 1"):
        replace(problem, repairs=(leaking,))


# -- greedy ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("chunk", [*range(4), *(pytest.param(n, marks=pytest.mark.slow) for n in range(4, 8))])
def test_never_above_bits_per_minute_and_on_average_below(chunk: int) -> None:
    """8 x 25 instances of 8 to 10 two-outcome tests and 8 to 12 faults, each within 4 % of the least; half by hand."""
    ratios = []
    for seed in range(25 * chunk, 25 * (chunk + 1)):
        rng = np.random.default_rng(seed)
        problem = plain(rng, int(rng.integers(8, 11)), int(rng.integers(8, 13)), noise=0.05)
        kinds = np.arange(problem.n_kinds)
        repairs = tuple(replace(repair, gate=0.6, judged=kinds == n) for n, repair in enumerate(problem.repairs))
        gated = replace(problem, repairs=repairs)
        by_bits = follow_bits_per_minute(Walk(unsolved(gated)))
        found = search(gated, plans=remembered(by_bits.at), closed=0.04 * by_bits.cost)
        assert found.upper <= by_bits.cost + 1e-9
        assert found.is_exact, "closed to within 4 %"
        ratios.append(by_bits.cost / found.upper)
    print(f"bits per minute costs {np.mean(ratios):.3f} of the plan on average, {np.max(ratios):.3f} at most")
    assert 1.005 < np.mean(ratios) < 1.3
