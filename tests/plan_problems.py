"""Random planning problems: with every kind of trouble, and plain ones as large as wanted."""

from math import inf

import numpy as np

from faultnet.plan.problem import WORKS, Moves, PlanRepair, PlanTest, Problem, simple_repair, simple_test


def plain(rng: np.random.Generator, n_tests: int, n_faults: int, *, noise: float = 0.15) -> Problem:
    """Two-outcome tests, each wrong now and then, and a repair for each of the single faults; no set-ups."""
    tests = []
    for number in range(n_tests):
        points_to = rng.random(n_faults) < 0.5
        wrong = rng.uniform(0.0, noise, n_faults)
        positive = np.where(points_to, 1 - wrong, wrong)
        tests.append(simple_test(f"t{number}", np.column_stack([positive, 1 - positive]), rng.uniform(1, 6)))
    repairs = [
        simple_repair(f"r{n}", [n], n_faults, rng.uniform(10, 60), rng.uniform(0.85, 0.98)) for n in range(n_faults)
    ]
    weights = rng.dirichlet(np.full(n_faults, 1.0))
    return Problem(weights, np.arange(n_faults), np.full((1, n_faults), 150.0), tuple(tests), tuple(repairs))


def awkward(rng: np.random.Generator, n_tests: int = 3, n_repairs: int = 3, *, free: bool = False) -> Problem:
    """Two hypotheses of each kind (a hidden condition), a kind with two faults, benches, order, gates, proofs, harm."""
    n_kinds, n_benches = n_repairs + 1, 3
    kinds = np.repeat(np.arange(n_kinds), 2)
    n = len(kinds)
    tests = [_awkward_test(rng, f"t{t}", t, n, n_benches) for t in range(n_tests)]
    repairs = [_awkward_repair(rng, r, n_kinds, n_tests, tests, n_benches) for r in range(n_repairs)]
    stops = np.stack([np.full(n_kinds, 120.0), rng.uniform(60, 200, n_kinds)])
    return Problem(rng.dirichlet(np.ones(n)), kinds, stops, tuple(tests), tuple(repairs), free)


def _awkward_test(rng: np.random.Generator, id_: str, number: int, n: int, n_benches: int) -> PlanTest:
    n_outcomes = int(rng.integers(2, 4))
    costs = rng.uniform(1, 15, n_benches)
    if rng.random() < 0.3:
        costs[rng.integers(n_benches)] = inf
    after = (frozenset([int(rng.integers(number))]),) if number and rng.random() < 0.4 else ()
    return PlanTest(
        id=id_,
        chances=rng.dirichlet(np.full(n_outcomes, 0.4), n),
        costs=costs,
        minutes=costs,
        leaves=rng.integers(0, n_benches, n_benches),
        powered=rng.random(n_benches) < 0.5,
        forbids_power=rng.random(n_outcomes) < 0.2,
        after=after,
    )


def _awkward_repair(
    rng: np.random.Generator, number: int, n_kinds: int, n_tests: int, tests: list[PlanTest], n_benches: int
) -> PlanRepair:
    """Repair `number` cures kind `number`; of the last kind, with the faults of the first two, it leaves the other."""
    success, last, rows = rng.uniform(0.7, 1.0), n_kinds - 1, []
    for h in range(2 * n_kinds):
        kind, condition = divmod(h, 2)
        if kind == number:
            rows += [(h, WORKS, success), (h, h, 1 - success)]
        elif kind == last and number < 2:
            rows += [(h, 2 * (1 - number) + condition, success), (h, h, 1 - success)]
        else:
            rows += [(h, h, 1.0)]
    origin, end, chance = (np.array(column) for column in zip(*rows, strict=True))
    proof = frozenset((t, o) for t in range(n_tests) for o in range(tests[t].chances.shape[1]) if rng.random() < 0.5)
    judged = np.zeros(n_kinds, dtype=bool)
    judged[[number, last] if number < 2 else [number]] = True
    return PlanRepair(
        id=f"r{number}",
        moves=Moves(origin, end, chance),
        costs=rng.uniform(10, 50, n_benches),
        leaves=np.zeros(n_benches, dtype=np.intp),
        survives=float(rng.uniform(0.9, 1.0)),
        comeback=float(rng.uniform(0, 8)),
        after=(frozenset(rng.integers(0, n_tests, 2).tolist()),) if rng.random() < 0.5 else (),
        proved_by=(proof,) if proof and rng.random() < 0.5 else (),
        gate=float(rng.choice([0.0, 0.4, 0.8])),
        judged=judged,
    )
