"""A planning problem in numbers alone: what may be the matter, what can be done about it, and what each costs.

Costs are in one unit of money. A *bench* is one way the set can stand on the bench, by number; problems without
set-ups have a single one. A *kind* is what a hypothesis needs: hypotheses of one kind cost the same to settle.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import inf

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats, Ints

Bools = npt.NDArray[np.bool_]

WORKS = -1
"""Where a repair moves a hypothesis in which nothing is left to do."""

MOST_TESTS = 60
MOST_REPAIRS = 12


@dataclass(frozen=True, eq=False)
class PlanTest:
    """A test that may be made once. chances: P(outcome | hypothesis), ``(n_hypotheses, n_outcomes)``.

    costs, minutes, leaves: from each bench ``(n_benches,)`` what it costs (inf: may not be made), the minutes it takes,
    and the bench it leaves. powered: whether the set is powered in it, ``(n_benches,)``; forbids_power: outcomes after
    which no powered test may follow before a repair, ``(n_outcomes,)``.
    after: of each of these groups of tests one must have been made before.
    """

    id: str
    chances: Floats
    costs: Floats
    minutes: Floats
    leaves: Ints
    powered: Bools
    forbids_power: Bools
    after: tuple[frozenset[int], ...] = ()


@dataclass(frozen=True, eq=False)
class Moves:
    """What a repair makes of hypotheses: `origin` becomes `end` (or `WORKS`) with `chance`, all ``(n_moves,)``.

    The chances of each origin add to 1.
    """

    origin: Ints
    end: Ints
    chance: Floats


def moves_of(rows: Iterable[tuple[int, int, float]]) -> Moves:
    """The moves of these origins, ends and chances."""
    columns = list(zip(*rows, strict=True))
    return Moves(np.array(columns[0], dtype=np.intp), np.array(columns[1], dtype=np.intp), np.array(columns[2]))


@dataclass(frozen=True, eq=False)
class PlanRepair:
    """A repair that may be made once; after it one knows whether the set works.

    costs, leaves: from each bench, as of tests; costs hold the expected harm. survives: chance that it does no harm,
    which would end the job. comeback: expected cost of a comeback once it cured.
    after: as of tests. proved_by: of each of these groups of (test, outcome) one must have been seen. gate: how likely
    one of the `judged` kinds ``(n_kinds,)`` must be.
    """

    id: str
    moves: Moves
    costs: Floats
    leaves: Ints
    survives: float = 1.0
    comeback: float = 0.0
    after: tuple[frozenset[int], ...] = ()
    proved_by: tuple[frozenset[tuple[int, int]], ...] = ()
    gate: float = 0.0
    judged: Bools | None = None


@dataclass(frozen=True, eq=False)
class Problem:
    """weights: probability of each hypothesis ``(n_hypotheses,)``; kinds: its kind ``(n_hypotheses,)``.

    stops: cost of each way to end the job, for each kind ``(n_stops, n_kinds)``. The set stands at bench 0. free: the
    tests' and repairs' `after`, `proved_by` and `gate` do not bind. no_power: no powered test may be made before a
    repair. Repairs must commute: failed in another order they leave the same.
    """

    weights: Floats
    kinds: Ints
    stops: Floats
    tests: tuple[PlanTest, ...]
    repairs: tuple[PlanRepair, ...]
    free: bool = False
    no_power: bool = False

    def __post_init__(self) -> None:
        if len(self.tests) > MOST_TESTS or len(self.repairs) > MOST_REPAIRS:
            raise ValueError(f"at most {MOST_TESTS} tests and {MOST_REPAIRS} repairs can be planned")
        costs = [self.stops, *(test.costs for test in self.tests), *(repair.costs for repair in self.repairs)]
        if any(np.any(cost < 0) for cost in costs):
            raise ValueError("costs are not negative; add the same amount to every way to stop")
        for test in self.tests:
            if not np.allclose(test.chances.sum(axis=1), 1, rtol=0, atol=1e-9):
                raise ValueError(f"the outcomes of {test.id} do not add to 1")
        for repair in self.repairs:
            whole = np.bincount(repair.moves.origin, repair.moves.chance, self.n_hypotheses)
            if not np.allclose(whole, 1, rtol=0, atol=1e-9):
                raise ValueError(f"what {repair.id} makes of a hypothesis does not add to 1")

    @property
    def n_hypotheses(self) -> int:
        return len(self.weights)

    @property
    def n_kinds(self) -> int:
        return int(self.stops.shape[1])

    @property
    def n_benches(self) -> int:
        firsts = [*(test.costs for test in self.tests), *(repair.costs for repair in self.repairs)]
        return len(firsts[0]) if firsts else 1


def simple_test(id_: str, chances: Floats, cost: float) -> PlanTest:
    """A test without set-up, order or danger."""
    return PlanTest(
        id=id_,
        chances=np.asarray(chances, dtype=float),
        costs=np.array([float(cost)]),
        minutes=np.array([float(cost)]),
        leaves=np.array([0]),
        powered=np.array([False]),
        forbids_power=np.zeros(np.shape(chances)[1], dtype=bool),
    )


def simple_repair(id_: str, cures: Iterable[int], n_hypotheses: int, cost: float, success: float = 1.0) -> PlanRepair:
    """A repair without set-up, order or harm that cures these hypotheses with this chance."""
    cured = set(cures)
    rows: list[tuple[int, int, float]] = []
    for hypothesis in range(n_hypotheses):
        if hypothesis in cured:
            rows.append((hypothesis, WORKS, success))
        if hypothesis not in cured or success < 1:
            rows.append((hypothesis, hypothesis, 1 - success if hypothesis in cured else 1.0))
    return PlanRepair(id_, moves_of(rows), np.array([float(cost)]), np.array([0]))


NEVER = inf
"""The cost of what may not be done."""
