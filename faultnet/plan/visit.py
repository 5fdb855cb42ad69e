"""The search for the cheapest plan: depth-first branch and bound with memory, compiled.

A *node* is what is known and done so far: tests with their outcomes, repairs that failed, how the bench stands. Weights
of hypotheses are not divided by what was seen, so a node's cost counts as much as it is likely, and costs of branches
add. Every node keeps a lower and an upper bound, never one number for both: what was cut off short has a lower bound
and is not exact. Actions are numbered: tests, then repairs, then ways to stop.
"""

from typing import Any, NamedTuple

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.plan.bounds import (
    all_tests_made,
    best_stop,
    cheapest_test,
    cost_if_known,
    fail,
    fail_kinds,
    find_ready,
    gate_met,
    lower_bound,
    may_test,
    straight,
)
from faultnet.plan.compiled import called, inner
from faultnet.plan.informed import informed
from faultnet.plan.memory import find, node_words, seen_words
from faultnet.plan.problem import Bools
from faultnet.plan.repairs_only import by_repairs
from faultnet.plan.tables import Bits, Records

_ONE = np.uint64(1)

NEGLIGIBLE = 1e-14
"""Branches less likely than this, of a whole of 1, are taken to end at no cost."""

OPENED, AT_MOST, COME_BACK, NODES, IS_FULL = range(5)
"""Places in `Work.tally`: nodes opened, how many may be, whether to come back now, nodes in memory, is it full."""

_CHOOSE, _OUTCOMES, _REPAIRED = range(3)
"""What is next at a depth: choose an action, visit an outcome of the test in hand, or the failure of the repair."""

_FRAME_FIELDS = {
    "u8": "made first_word second_word",
    "i8": "done bench best action row stage",
    "f8": "total lower upper slack cut price spent known limit",
    "?": "no_power",
}

FRAME = np.dtype([(name, kind) for kind, names in _FRAME_FIELDS.items() for name in names.split()], align=True)
"""A node on the way down. Which: tests made and repairs done (bits), bench, whether power is forbidden, words of its
outcomes. Its weight and bounds, the action behind the upper one if it was found here (else -1), how far it may stay
open, and the lower bound from which on nobody asks for it. In hand: the action, its lower bound so far, its cost by
what was visited at most (spent) and at least (known), its limit, the outcome visited, and what is next."""

BRANCH = np.dtype([("lower", "f8"), ("total", "f8")])
"""An outcome of a test at a node: its lower bound, and its weight until it was visited."""

OFFER = np.dtype([("price", "f8"), ("is_open", "?")], align=True)
"""An action at a node: its lower bound, and whether it was not yet tried."""


class Work(NamedTuple):
    """Room for the search, so that little is allocated on the way; one row a depth but for the last ones.

    weights: of hypotheses; masses: their sums over kinds; ready: repairs whose order and proofs are met.
    seen: the row each test showed, or -1. words: two random words of each row. tally: see `OPENED` and so on.
    """

    frames: Records
    weights: Floats
    masses: Floats
    branches: Records
    offers: Records
    ready: Bools
    ready_then: Bools
    child_mass: Floats
    easy: Floats
    spare: Floats
    seen: Ints
    words: Bits
    tally: Ints


@called()
def visit(t: Any, memory: Any, work: Any, gap: Any) -> None:
    """Close the bounds of the first node to within `gap`, or as far as there is time.

    The node's weights, their sums over kinds and its frame stand in the rows of depth 0.
    """
    d, n_tests = np.int64(0), len(t.tests)
    work.frames[d].cut, work.frames[d].slack = np.inf, gap
    if not _enter(t, memory, work, d):
        return
    while True:
        f = work.frames[d]
        goes_down = False
        if f.stage == _CHOOSE:
            if work.tally[COME_BACK] or not _choose(t, memory, work, d):
                _close_node(t, memory, work, d)
                if d == 0:
                    return
                d -= 1
                _take_up(work, d, n_tests)
            else:
                f.stage = _OUTCOMES if f.action < n_tests else _REPAIRED
        elif f.stage == _OUTCOMES:
            if f.price >= f.limit or work.tally[COME_BACK]:
                _close_action(work, d, np.inf)
            elif _next_outcome(t, work, d):
                goes_down = True
            else:
                _close_action(work, d, f.spent)
        elif _after_repair(t, work, d):
            goes_down = True
        else:
            _close_action(work, d, f.spent)
        if goes_down:
            if _enter(t, memory, work, d + 1):
                d += 1
            else:
                _take_up(work, d, n_tests)


@inner()
def _enter(t: Any, memory: Any, work: Any, d: Any) -> Any:
    """Open the node at this depth; whether there is more to do there."""
    _open(t, memory, work, d)
    f = work.frames[d]
    if f.upper - f.lower <= f.slack or f.lower >= f.cut or work.tally[COME_BACK]:
        return False
    work.tally[OPENED] += 1
    if work.tally[OPENED] >= work.tally[AT_MOST]:
        work.tally[COME_BACK] = 1
        return False
    f.stage = _CHOOSE
    _price_all(t, memory, work, d)
    return True


@inner()
def _open(t: Any, memory: Any, work: Any, d: Any) -> None:
    """Fill in the bounds of the node at this depth, from memory or worked out."""
    f, mass, ready = work.frames[d], work.masses[d], work.ready[d]
    f.best = -1
    a, b = node_words(f.first_word, f.second_word, f.done, f.bench)
    place = find(memory, a, b)
    if place >= 0 and memory[place].lower >= 0:
        f.lower, f.upper = memory[place].lower, memory[place].upper
        return
    find_ready(t, f.made, f.done, work.seen, ready)
    cheapest = cheapest_test(t, f.made, f.bench, f.no_power)
    if cheapest == np.inf and all_tests_made(t, f.made):
        f.upper, best = by_repairs(t, mass, f.bench, ready)
        f.lower = f.upper
    else:
        cost_if_known(t, f.made, f.done, f.bench, work.easy)
        known = t.known[f.bench, f.done]
        lower = lower_bound(t.stops, t.repairs, t.judged, known, mass, f.total, ready, cheapest, work.easy)
        f.upper, best = straight(t, mass, f.total, f.done, f.bench, ready, work.spare)
        enough = min(f.upper - f.slack, f.cut)
        if lower < enough and cheapest < np.inf:
            lower = max(lower, informed(t, work.weights[d], mass, f.total, f.made, f.done, f.bench, enough))
        f.lower = min(lower, f.upper)
    _remember(memory, work.tally, a, b, f.lower, f.upper, best)


@inner()
def _remember(memory: Any, tally: Any, a: Any, b: Any, lower: Any, upper: Any, best: Any) -> None:
    """Put a node into memory, or better bounds of one that is there; ask for a larger one when it is full."""
    place = find(memory, a, b)
    if place >= 0:
        memory[place].lower = max(memory[place].lower, lower)
        if upper < memory[place].upper:
            memory[place].upper = upper
            memory[place].best = best
    elif tally[NODES] * 10 >= 6 * len(memory):
        tally[COME_BACK] = 1
        tally[IS_FULL] = 1
    else:
        tally[NODES] += 1
        new = memory[-1 - place]
        new.first_word, new.second_word = a, b
        new.lower, new.upper, new.best = lower, upper, best


# -- prices ----------------------------------------------------------------------------------------------------------


@inner()
def _price_all(t: Any, memory: Any, work: Any, d: Any) -> None:
    """Lower bounds of every action from the node at this depth."""
    f, n_tests = work.frames[d], len(t.tests)
    find_ready(t, f.made, f.done, work.seen, work.ready[d])
    for test in range(n_tests):
        price = np.inf
        if may_test(t, test, f.made, f.bench, f.no_power):
            price = _price_test(t, memory, work, d, test)
        work.offers[d, test].price = price
        work.offers[d, test].is_open = True
    for repair in range(len(t.repairs)):
        price = np.inf
        may = work.ready[d, repair] and t.repairs_at[repair, f.bench].cost < np.inf
        if may and gate_met(t.repairs[repair].gate, t.judged[repair], work.masses[d], f.total):
            price = _price_repair(t, memory, work, d, repair)
        work.offers[d, n_tests + repair].price = price
        work.offers[d, n_tests + repair].is_open = True


@inner()
def _price_test(t: Any, memory: Any, work: Any, d: Any, test: Any) -> Any:
    """A lower bound of making this test now; fills in its branches."""
    f, mass = work.frames[d], work.child_mass
    made, done, bench = f.made | (_ONE << np.uint64(test)), f.done, t.tests_at[test, f.bench].leaves
    cost_if_known(t, made, done, bench, work.easy)
    powered, cold = cheapest_test(t, made, bench, False), cheapest_test(t, made, bench, True)
    known = t.known[bench, done]
    price = f.total * t.tests_at[test, f.bench].cost
    for row in range(t.tests[test].row, t.tests[test].row_end):
        mass[:] = 0.0
        for h in range(len(t.kind)):
            mass[t.kind[h]] += work.weights[d, h] * t.chances[row, h]
        total = mass.sum()
        branch = work.branches[d, row]
        branch.total, branch.lower = total, 0.0
        if total <= NEGLIGIBLE:
            continue
        a, b = seen_words(work.words, row, done, f.first_word, f.second_word)
        a, b = node_words(a, b, done, bench)
        place = find(memory, a, b)
        if place >= 0 and memory[place].lower >= 0:
            branch.lower = memory[place].lower
        else:
            work.seen[test] = row
            find_ready(t, made, done, work.seen, work.ready_then)
            work.seen[test] = -1
            cheapest = cold if f.no_power or t.forbids_power[row] else powered
            branch.lower = lower_bound(
                t.stops, t.repairs, t.judged, known, mass, total, work.ready_then, cheapest, work.easy
            )
        price += branch.lower
    return price


@inner()
def _price_repair(t: Any, memory: Any, work: Any, d: Any, repair: Any) -> Any:
    """A lower bound of doing this repair now."""
    f, mass, own = work.frames[d], work.child_mass, t.repairs[repair]
    done, bench = f.done | (1 << repair), t.repairs_at[repair, f.bench].leaves
    total = fail_kinds(t.kind_moves, own.kind_move, own.kind_move_end, own.survives, work.masses[d], mass)
    spent = f.total * t.repairs_at[repair, f.bench].cost + (own.survives * f.total - total) * own.comeback
    a, b = node_words(f.first_word, f.second_word, done, bench)
    place = find(memory, a, b)
    if place >= 0 and memory[place].lower >= 0:
        return spent + memory[place].lower
    cost_if_known(t, f.made, done, bench, work.easy)
    cheapest = cheapest_test(t, f.made, bench, False)
    work.ready_then[:] = work.ready[d]
    work.ready_then[repair] = False
    known = t.known[bench, done]
    return spent + lower_bound(t.stops, t.repairs, t.judged, known, mass, total, work.ready_then, cheapest, work.easy)


# -- one action after the other --------------------------------------------------------------------------------------


@inner()
def _choose(t: Any, memory: Any, work: Any, d: Any) -> Any:
    """Start on the action with the lowest price, unless none can be better than what is known: then False."""
    f, offers = work.frames[d], work.offers[d]
    cheapest, which = np.inf, -1
    for action in range(len(offers)):
        if offers[action].is_open and offers[action].price < cheapest:
            cheapest, which = offers[action].price, action
    if which < 0 or cheapest >= min(f.upper - f.slack, f.cut):
        return False
    offers[which].is_open = False
    f.action = which
    f.limit = min(f.upper, f.cut)
    if which < len(t.tests):
        f.price = _price_test(t, memory, work, d, which)
        f.spent = f.total * t.tests_at[which, f.bench].cost
        f.known = f.spent
    return True


@inner()
def _next_outcome(t: Any, work: Any, d: Any) -> Any:
    """Set up the node behind the likeliest outcome not yet visited of the test in hand; False when none is left.

    It may stay open by its part of what the test's other branches have left over, by the square root of its weight:
    unlikely branches need not be closed as far as their weight alone would ask.
    """
    f, child, branches = work.frames[d], work.frames[d + 1], work.branches[d]
    most, row, parts = NEGLIGIBLE, -1, 0.0
    for each in range(t.tests[f.action].row, t.tests[f.action].row_end):
        if branches[each].total > NEGLIGIBLE:
            parts += np.sqrt(branches[each].total)
        if branches[each].total > most:
            most, row = branches[each].total, each
    if row < 0:
        return False
    branches[row].total = -1.0
    f.row = row
    work.seen[f.action] = row
    work.masses[d + 1] = 0.0
    for h in range(len(t.kind)):
        work.weights[d + 1, h] = work.weights[d, h] * t.chances[row, h]
        work.masses[d + 1, t.kind[h]] += work.weights[d + 1, h]
    child.first_word, child.second_word = seen_words(work.words, row, f.done, f.first_word, f.second_word)
    child.made, child.done = f.made | (_ONE << np.uint64(f.action)), f.done
    child.bench, child.no_power = t.tests_at[f.action, f.bench].leaves, f.no_power or t.forbids_power[row]
    child.total, child.cut = most, f.limit - (f.price - branches[row].lower)
    child.slack = max(0.0, f.slack - (f.spent - f.known)) * np.sqrt(most) / parts
    return True


@inner()
def _after_repair(t: Any, work: Any, d: Any) -> Any:
    """Set up the node behind the failure of the repair in hand; False when it cannot fail."""
    f, child, repair = work.frames[d], work.frames[d + 1], work.frames[d].action - len(t.tests)
    cured = fail(t.moves, t.repairs[repair], work.weights[d], work.weights[d + 1])
    work.masses[d + 1] = 0.0
    for h in range(len(t.kind)):
        work.masses[d + 1, t.kind[h]] += work.weights[d + 1, h]
    f.spent = f.total * t.repairs_at[repair, f.bench].cost + cured * t.repairs[repair].comeback
    f.price = f.spent
    child.total = work.masses[d + 1].sum()
    if child.total <= NEGLIGIBLE:
        return False
    child.made, child.done = f.made, f.done | (1 << repair)
    child.bench, child.no_power = t.repairs_at[repair, f.bench].leaves, False
    child.first_word, child.second_word = f.first_word, f.second_word
    child.cut, child.slack = f.limit - f.spent, f.slack
    return True


@inner()
def _take_up(work: Any, d: Any, n_tests: Any) -> None:
    """Add what was found of a branch to the action in hand."""
    f, child = work.frames[d], work.frames[d + 1]
    f.spent += child.upper
    if f.action < n_tests:
        work.seen[f.action] = -1
        f.price += max(0.0, child.lower - work.branches[d, f.row].lower)
        f.known += child.lower
    else:
        f.price += child.lower
        _close_action(work, d, f.spent)


@inner()
def _close_action(work: Any, d: Any, cost: Any) -> None:
    """Keep what was found of the action in hand; it costs at most `cost`, inf where it was given up."""
    f = work.frames[d]
    offer = work.offers[d, f.action]
    offer.price = max(offer.price, f.price)
    if cost < f.upper:
        f.upper, f.best = cost, f.action
    f.stage = _CHOOSE


@inner()
def _close_node(t: Any, memory: Any, work: Any, d: Any) -> None:
    """The node's bounds from those of its actions, into memory."""
    f = work.frames[d]
    least, _ = best_stop(t.stops, work.masses[d])
    for action in range(work.offers.shape[1]):
        least = min(least, work.offers[d, action].price)
    f.lower = min(max(f.lower, least), f.upper)
    a, b = node_words(f.first_word, f.second_word, f.done, f.bench)
    _remember(memory, work.tally, a, b, f.lower, f.upper, f.best)


@called()
def without_more_tests(t: Any, work: Any, mass: Any, node: Any) -> Any:
    """The cost and the first action where a plan has no node in memory: what `_open` found for it.

    node: a frame; the rows that were seen stand in `work.seen`.
    """
    find_ready(t, node.made, node.done, work.seen, work.ready_then)
    if cheapest_test(t, node.made, node.bench, node.no_power) == np.inf and all_tests_made(t, node.made):
        return by_repairs(t, mass, node.bench, work.ready_then)
    return straight(t, mass, node.total, node.done, node.bench, work.ready_then, work.spare)


@called()
def may_do(t: Any, work: Any, mass: Any, node: Any, allowed: Any) -> None:
    """Fill in which actions, tests first, may be done at a node."""
    find_ready(t, node.made, node.done, work.seen, work.ready_then)
    for test in range(len(t.tests)):
        allowed[test] = may_test(t, test, node.made, node.bench, node.no_power)
    for repair in range(len(t.repairs)):
        ready = work.ready_then[repair] and t.repairs_at[repair, node.bench].cost < np.inf
        gate = t.repairs[repair].gate
        allowed[len(t.tests) + repair] = ready and gate_met(gate, t.judged[repair], mass, node.total)
