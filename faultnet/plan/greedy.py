"""What following bits per minute would cost: the likeliest allowed repair, else the test that tells most a minute."""

import numpy as np

from faultnet.engine.information import mutual_information_bits
from faultnet.plan.walk import State, Walk

WORTH_ASKING_BITS = 0.01

TOO_RARE = 1e-4
"""Branches less likely than this are ended by repairs alone."""


def cost_of_bits_per_minute(walk: Walk) -> float:
    """The expected cost of the rule on the problem of this walk, in money.

    A repair past its gate is done, the likeliest one first; where no test tells enough about the kind of fault, one
    goes on with repairs alone, or stops.
    """
    return _cost(walk, walk.start)


def _cost(walk: Walk, state: State) -> float:
    problem, total = walk.problem, state.total
    if total < TOO_RARE:
        return walk.by_repairs(state)[0]
    allowed = walk.allowed(state)
    repairs = [r for r in range(len(problem.repairs)) if allowed[len(problem.tests) + r]]
    past_gate = [r for r in repairs if problem.repairs[r].gate > 0]
    if past_gate:
        best = max(past_gate, key=lambda r: _judged(walk, state, r))
        cured, after = walk.failure(state, best)
        own = problem.repairs[best]
        cost = total * float(own.costs[state.bench]) + cured * own.comeback
        return cost + (_cost(walk, after) if after.total > 0 else 0.0)
    test = _most_bits_a_minute(walk, state, [t for t in range(len(problem.tests)) if allowed[t]])
    if test is None:
        return walk.by_repairs(state)[0]
    spent = total * float(problem.tests[test].costs[state.bench])
    return spent + sum(_cost(walk, after) for _, after in walk.outcomes(state, test))


def _judged(walk: Walk, state: State, repair: int) -> float:
    judged = walk.problem.repairs[repair].judged
    if judged is None:
        return state.total
    return float(state.weights[judged[walk.problem.kinds]].sum())


def _most_bits_a_minute(walk: Walk, state: State, tests: list[int]) -> int | None:
    """The allowed test with most information about the kind of fault a minute, None where none tells enough."""
    problem = walk.problem
    kind_of = np.zeros((problem.n_hypotheses, problem.n_kinds))
    kind_of[np.arange(problem.n_hypotheses), problem.kinds] = state.weights / state.total
    best, most = None, 0.0
    for test in tests:
        own = problem.tests[test]
        bits = mutual_information_bits(own.chances.T @ kind_of)
        a_minute = bits / max(float(own.minutes[state.bench]), 1e-9)
        if bits >= WORTH_ASKING_BITS and a_minute > most:
            best, most = test, a_minute
    return best
