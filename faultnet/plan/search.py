"""The cheapest plan of a problem: branch and bound in passes of ever smaller gaps, to be stopped at any time."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from faultnet.plan.memory import NOT_KNOWN, copy_nodes, empty_memory, find
from faultnet.plan.problem import Problem
from faultnet.plan.tables import Bits, Records, Tables, lay_out
from faultnet.plan.visit import AT_MOST, BRANCH, COME_BACK, FRAME, IS_FULL, NODES, OFFER, OPENED, Work, visit

CLOSED = 0.005
"""A gap between the bounds, in money, at which a plan is exact: half a cent."""

CLOSING = 0.5
"""Each pass closes the gap to this share of what it was."""

NODES_AT_ONCE = 2_000
"""Nodes opened between two looks at the clock."""

MOST_PLACES = 2**24
"""Places for nodes in memory: 40 bytes each, more while it grows."""

_FIRST_PLACES = 2**14


@dataclass(frozen=True, eq=False)
class Solved:
    """What the search came to. lower, upper: bounds of the least expected cost; upper is that of a plan that is known.

    nodes: opened. is_exact: the bounds meet. memory, tables, words: what `faultnet.plan.policy` reads the plan from.
    """

    problem: Problem
    tables: Tables
    memory: Records
    words: Bits
    lower: float
    upper: float
    nodes: int
    is_exact: bool


def search(
    problem: Problem,
    keep_going: Callable[[], bool] = lambda: True,
    closed: float = CLOSED,
    plans: Records | None = None,
) -> Solved:
    """Bounds of the least expected cost, better and better until they are `closed` or `keep_going` says no.

    plans: nodes of plans that may be followed here as well, found where more constraints bind or by a rule; the result
    is never above them.
    """
    tables = lay_out(problem)
    work = room_for(problem, tables)
    memory = empty_memory(_FIRST_PLACES)
    if plans is not None:
        memory = plans.copy()
        memory["lower"] = NOT_KNOWN
        work.tally[NODES] = int(np.count_nonzero(memory["first_word"]))
    gap, nodes = np.inf, 0
    while True:
        work.tally[[OPENED, COME_BACK, IS_FULL]] = 0
        work.tally[AT_MOST] = NODES_AT_ONCE
        lower, upper = _visit_first(problem, tables, memory, work, gap)
        nodes += int(work.tally[OPENED])
        if work.tally[IS_FULL]:
            if 4 * len(memory) > MOST_PLACES:
                break
            memory = _grown(memory)
        if upper - lower <= closed or not keep_going():
            break
        if not work.tally[COME_BACK]:
            gap = max(CLOSING * min(gap, upper - lower), 0.9 * closed)  # rounding must not keep it open
    return Solved(problem, tables, memory, work.words, lower, upper, nodes, upper - lower <= closed)


def unsolved(problem: Problem) -> Solved:
    """The problem laid out, nothing looked for yet."""
    tables = lay_out(problem)
    work = room_for(problem, tables)
    return Solved(problem, tables, empty_memory(2), work.words, 0.0, np.inf, 0, False)


def remembered(nodes: Mapping[tuple[np.uint64, np.uint64], tuple[float, int]]) -> Records:
    """A memory of what a rule costs and does at every node."""
    memory = empty_memory(max(_FIRST_PLACES, 4 << len(nodes).bit_length()))
    for (first, second), (cost, action) in nodes.items():
        memory[-1 - find(memory, first, second)] = (first, second, NOT_KNOWN, cost, action)
    return memory


def _visit_first(problem: Problem, tables: Tables, memory: Records, work: Work, gap: float) -> tuple[float, float]:
    work.weights[0] = problem.weights / problem.weights.sum()
    work.masses[0] = np.bincount(problem.kinds, work.weights[0], problem.n_kinds)
    work.frames[0]["total"], work.frames[0]["no_power"] = 1.0, problem.no_power
    work.seen[:] = -1
    visit(tables, memory, work, gap)
    return float(work.frames[0]["lower"]), float(work.frames[0]["upper"])


def room_for(problem: Problem, tables: Tables) -> Work:
    """Room for the compiled functions to work on a problem."""
    n_rows, n_repairs, n_actions = len(tables.chances), len(problem.repairs), len(problem.tests) + len(problem.repairs)
    depth, n_kinds = n_actions + 2, problem.n_kinds
    return Work(
        frames=np.zeros(depth, dtype=FRAME),
        weights=np.zeros((depth, problem.n_hypotheses)),
        masses=np.zeros((depth, n_kinds)),
        branches=np.zeros((depth, n_rows), dtype=BRANCH),
        offers=np.zeros((depth, n_actions), dtype=OFFER),
        ready=np.zeros((depth, n_repairs), dtype=bool),
        ready_then=np.zeros(n_repairs, dtype=bool),
        child_mass=np.zeros(n_kinds),
        easy=np.zeros(n_kinds),
        spare=np.zeros((3, n_kinds)),
        seen=np.full(len(problem.tests), -1, dtype=np.int64),
        words=np.random.default_rng(20240229).integers(1, 2**63, (2, n_rows), dtype=np.uint64),
        tally=np.zeros(5, dtype=np.int64),
    )


def _grown(memory: Records) -> Records:
    larger = empty_memory(4 * len(memory))
    copy_nodes(memory, larger)
    return larger
