"""Bounds of a node: what may be done there, at least what it costs, and what it costs at most by repairs alone."""

from typing import Any

import numpy as np

from faultnet.plan.compiled import inner

_ONE = np.uint64(1)


# -- what may be done ------------------------------------------------------------------------------------------------


@inner()
def may_test(t: Any, test: Any, made: Any, bench: Any, no_power: Any) -> Any:
    """Whether a test may be made now."""
    at = t.tests_at[test, bench]
    if (made >> np.uint64(test)) & _ONE or at.cost == np.inf or (no_power and at.powered):
        return False
    met = True
    for g in range(t.tests[test].group, t.tests[test].group_end):
        met = met and t.groups[g] & made != 0
    return met


@inner()
def cheapest_test(t: Any, made: Any, bench: Any, no_power: Any) -> Any:
    """The least cost, set-up apart, of a test that may be made now; inf when there is none."""
    cheapest = np.inf
    for test in range(len(t.tests)):
        if t.tests[test].least < cheapest and may_test(t, test, made, bench, no_power):
            cheapest = t.tests[test].least
    return cheapest


@inner()
def all_tests_made(t: Any, made: Any) -> Any:
    """Whether no test can be made any more, whatever is done first."""
    for test in range(len(t.tests)):
        if not (made >> np.uint64(test)) & _ONE and t.tests[test].bit_price < np.inf:
            return False
    return True


@inner()
def find_ready(t: Any, made: Any, done: Any, seen: Any, ready: Any) -> None:
    """Fill in which repairs are not done and have their order and proofs met; their gates hang on the weights."""
    for repair in range(len(ready)):
        own = t.repairs[repair]
        met = not (done >> repair) & 1
        for g in range(own.group, own.group_end):
            met = met and t.groups[g] & made != 0
        for p in range(own.proof, own.proof_end):
            proved = False
            for test in range(len(seen)):
                proved = proved or (seen[test] >= 0 and t.proofs[p, seen[test]])
            met = met and proved
        ready[repair] = met


@inner(inline="always")
def gate_met(gate: Any, judged: Any, mass: Any, total: Any) -> Any:
    """Whether one of the judged kinds is likely enough."""
    sure = 0.0
    for k in range(len(mass)):
        if judged[k]:
            sure += mass[k]
    return sure >= gate * total


# -- what is left after a repair -------------------------------------------------------------------------------------


@inner()
def fail(moves: Any, own: Any, weights: Any, new: Any) -> Any:
    """The weights of hypotheses after a repair that did no harm and did not help; returns the weight it cured."""
    new[:] = 0.0
    cured = 0.0
    for m in range(own.move, own.move_end):
        moved = own.survives * moves[m].chance * weights[moves[m].origin]
        if moves[m].end < 0:
            cured += moved
        else:
            new[moves[m].end] += moved
    return cured


@inner(inline="always")
def fail_kinds(kind_moves: Any, first: Any, end: Any, survives: Any, mass: Any, new: Any) -> Any:
    """The same for the sums over kinds; returns what is left."""
    new[:] = 0.0
    left = 0.0
    for m in range(first, end):
        moved = survives * kind_moves[m].chance * mass[kind_moves[m].origin]
        new[kind_moves[m].end] += moved
        left += moved
    return left


# -- bounds ----------------------------------------------------------------------------------------------------------


@inner(inline="always")
def best_stop(stops: Any, mass: Any) -> Any:
    """What the best way to stop costs, and which it is."""
    best, which = np.inf, 0
    for end in range(stops.shape[0]):
        value = 0.0
        for k in range(len(mass)):
            value += mass[k] * stops[end, k]
        if value < best:
            best, which = value, end
    return best, which


@inner()
def cost_if_known(t: Any, made: Any, done: Any, bench: Any, easy: Any) -> None:
    """Fill in for each kind the least cost of going on if it were known once tests are made, tolls paid."""
    for k in range(len(easy)):
        easy[k] = np.inf
        for end in range(t.stops.shape[0]):
            easy[k] = min(easy[k], t.stops[end, k])
    for repair in range(len(t.repairs)):
        if (done >> repair) & 1:
            continue
        toll = 0.0
        for g in range(t.repairs[repair].toll, t.repairs[repair].toll_end):
            if t.tolls[g].tests & made == 0:
                toll += t.tolls[g].price
        for k in range(len(easy)):
            easy[k] = min(easy[k], toll + t.known_after_tests[bench, done, k, repair])


@inner()
def lower_bound(
    stops: Any, repairs: Any, judged: Any, known: Any, mass: Any, total: Any, ready: Any, cheapest: Any, easy: Any
) -> Any:
    """Nothing costs less than: stopping, a repair now and all known after it, or a test and all known after it.

    known: of this bench and these repairs done, ``(n_kinds, n_repairs)``.
    """
    lower, _ = best_stop(stops, mass)
    for repair in range(len(ready)):
        if ready[repair] and gate_met(repairs[repair].gate, judged[repair], mass, total):
            value = 0.0
            for k in range(len(mass)):
                if mass[k] > 0:
                    value += mass[k] * known[k, repair]
            lower = min(lower, value)
    if cheapest < np.inf:
        value = total * cheapest
        for k in range(len(mass)):
            value += mass[k] * easy[k]
        lower = min(lower, value)
    return lower


@inner()
def straight(t: Any, mass: Any, total: Any, done: Any, bench: Any, ready: Any, spare: Any) -> Any:
    """What it costs to stop or to go on with repairs alone, each time the best one that stops after it.

    Returns the cost and the first action. spare: room ``(3, n_kinds)``.
    """
    n_tests, n_repairs = len(t.tests), len(t.repairs)
    now, left, kept = spare[0], spare[1], spare[2]
    now[:] = mass
    spent, first = 0.0, -1
    while True:
        stop, which = best_stop(t.stops, now)
        best, chosen, gone, rest = stop, -1, 0.0, 0.0
        for repair in range(n_repairs):
            cost, own = t.repairs_at[repair, bench].cost, t.repairs[repair]
            if not ready[repair] or (done >> repair) & 1 or total * cost >= best:
                continue
            if not gate_met(own.gate, t.judged[repair], now, total):
                continue
            after = fail_kinds(t.kind_moves, own.kind_move, own.kind_move_end, own.survives, now, left)
            paid = total * cost + (own.survives * total - after) * own.comeback
            value = paid + best_stop(t.stops, left)[0]
            if value < best:
                best, chosen, gone, rest = value, repair, paid, after
                kept[:] = left
        if chosen < 0:
            return spent + stop, (n_tests + n_repairs + which if first < 0 else first)
        if first < 0:
            first = n_tests + chosen
        spent, total = spent + gone, rest
        now[:] = kept
        bench = t.repairs_at[chosen, bench].leaves
        done |= 1 << chosen
