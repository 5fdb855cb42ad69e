"""What following bits per minute would cost: the likeliest allowed repair, else the test that tells most a minute."""

import numpy as np

from faultnet.engine.information import mutual_information_bits
from faultnet.plan.walk import Followed, State, Walk

WORTH_ASKING_BITS = 0.01

TOO_RARE = 1e-4
"""Branches less likely than this are ended by repairs alone."""


def follow_bits_per_minute(walk: Walk) -> Followed:
    """The rule followed on the problem of this walk: what it costs, and what it does at every node.

    A repair past its gate is done, the likeliest one first; where no test tells enough about the kind of fault, one
    goes on with repairs alone, or stops.
    """
    followed = Followed()
    followed.cost = _cost(walk, walk.start, followed)
    return followed


def _cost(walk: Walk, state: State, followed: Followed) -> float:
    if state.total < TOO_RARE:
        return walk.by_repairs(state)[0]
    action = _action(walk, state)
    if action is None:
        cost, action = walk.by_repairs(state)
    elif action < len(walk.problem.tests):
        spent = state.total * float(walk.problem.tests[action].costs[state.bench])
        cost = spent + sum(_cost(walk, after, followed) for _, after in walk.outcomes(state, action))
    else:
        repair = action - len(walk.problem.tests)
        own, (cured, after) = walk.problem.repairs[repair], walk.failure(state, repair)
        cost = state.total * float(own.costs[state.bench]) + cured * own.comeback
        cost += _cost(walk, after, followed) if after.total > 0 else 0.0
    followed.at[walk.node(state)] = cost, action
    return cost


def _action(walk: Walk, state: State) -> int | None:
    """The rule's action by number; None where only repairs without a gate, or stopping, are left."""
    problem, allowed = walk.problem, walk.allowed(state)
    n_tests = len(problem.tests)
    past_gate = [r for r, repair in enumerate(problem.repairs) if allowed[n_tests + r] and repair.gate > 0]
    if past_gate:
        return n_tests + max(past_gate, key=lambda repair: _judged(walk, state, repair))
    return _most_bits_a_minute(walk, state, [test for test in range(n_tests) if allowed[test]])


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
