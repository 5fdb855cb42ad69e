"""A planning problem laid out for the search: flat arrays and records, few of them, since each is passed everywhere."""

from collections.abc import Iterator, Sequence
from math import inf
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats, Ints
from faultnet.engine.information import row_entropies_bits
from faultnet.plan.known import Fate, fate_of_kinds, known_costs, known_from
from faultnet.plan.problem import Bools, PlanRepair, PlanTest, Problem

Bits = npt.NDArray[np.uint64]
Records = npt.NDArray[np.void]

_CAPACITY_ROUNDS = 200

_TEST = np.dtype(
    [("row", "i8"), ("row_end", "i8"), ("group", "i8"), ("group_end", "i8"), ("least", "f8"), ("bit_price", "f8")]
)
_TEST_AT = np.dtype([("cost", "f8"), ("minutes", "f8"), ("leaves", "i8"), ("powered", "?")], align=True)
_REPAIR = np.dtype(
    [("survives", "f8"), ("comeback", "f8"), ("gate", "f8")]
    + [(name + end, "i8") for name in ("group", "proof", "move", "kind_move", "toll") for end in ("", "_end")]
)
_REPAIR_AT = np.dtype([("cost", "f8"), ("leaves", "i8")])
_MOVE = np.dtype([("origin", "i8"), ("end", "i8"), ("chance", "f8")])
_TOLL = np.dtype([("tests", "u8"), ("price", "f8")])


class Tables(NamedTuple):
    """Arrays of a problem. Outcomes of all tests are *rows*; a test or repair has those from `row` to before `row_end`.

    kind: of each hypothesis. chances: of each row under each hypothesis ``(n_rows, n_hypotheses)``.
    tests, tests_at: a record of each, and of each at each bench; `bit_price` is money a bit at the most it can tell.
    repairs, repairs_at: the same. groups: sets of tests, as bits, of which one must have been made; proofs: rows of
    which one must have been seen ``(n_proofs, n_rows)``; tolls: sets of tests, apart from each other for one repair,
    of which one is paid before it. moves: what a failed repair makes of hypotheses, kind_moves: of kinds.
    known: for each bench, set of repairs done (by bits), kind and repair the least expected cost of doing this repair
    next if the kind were known; known_after_tests: the same with tests made before, of which their set-ups are paid.
    noise_bits: entropy of a test's outcome under each hypothesis ``(n_tests, n_hypotheses)``.
    """

    kind: Ints
    chances: Floats
    forbids_power: Bools
    tests: Records
    tests_at: Records
    repairs: Records
    repairs_at: Records
    groups: Bits
    proofs: Bools
    judged: Bools
    moves: Records
    kind_moves: Records
    tolls: Records
    stops: Floats
    known: Floats
    known_after_tests: Floats
    noise_bits: Floats


def lay_out(problem: Problem) -> Tables:
    """The tables of a problem. ValueError when its table of known costs would be too large."""
    tests, repairs, fates = problem.tests, problem.repairs, [fate_of_kinds(problem, r) for r in problem.repairs]
    known = known_costs(problem, fates)
    first_rows = np.cumsum([0, *(t.chances.shape[1] for t in tests)])
    lists = _Lists(problem, first_rows)
    every = np.ones(problem.n_kinds, dtype=bool)
    test_rows = [
        (first, first + t.chances.shape[1], *lists.groups_of(t.after), t.costs.min(), _bit_price(t))
        for t, first in zip(tests, first_rows.tolist(), strict=False)
    ]
    repair_rows = [
        (r.survives, r.comeback, 0.0 if problem.free else r.gate, *lists.of_repair(r, fate))
        for r, fate in zip(repairs, fates, strict=True)
    ]
    return Tables(
        kind=problem.kinds.astype(np.int64),
        chances=_joined([t.chances.T for t in tests], (0, problem.n_hypotheses), float),
        forbids_power=_joined([t.forbids_power for t in tests], (0,), bool),
        tests=np.array(test_rows, dtype=_TEST),
        tests_at=_at_benches([(t.costs, t.minutes, t.leaves, t.powered) for t in tests], _TEST_AT, problem.n_benches),
        repairs=np.array(repair_rows, dtype=_REPAIR),
        repairs_at=_at_benches([(r.costs, r.leaves) for r in repairs], _REPAIR_AT, problem.n_benches),
        groups=np.array(lists.groups, dtype=np.uint64),
        proofs=np.array(lists.proofs, dtype=bool).reshape(len(lists.proofs), int(first_rows[-1])),
        judged=_joined([(every if r.judged is None else r.judged)[None] for r in repairs], (0, len(every)), bool),
        moves=np.array(lists.moves, dtype=_MOVE),
        kind_moves=np.array(lists.kind_moves, dtype=_MOVE),
        tolls=np.array(lists.tolls, dtype=_TOLL),
        stops=np.ascontiguousarray(problem.stops, dtype=float),
        known=known,
        known_after_tests=np.ascontiguousarray(known_from(problem, known)),
        noise_bits=_joined([row_entropies_bits(t.chances)[None] for t in tests], (0, problem.n_hypotheses), float),
    )


class _Lists:
    """The lists that records point into, as they grow."""

    def __init__(self, problem: Problem, first_rows: Ints) -> None:
        self.problem, self.first_rows = problem, first_rows
        self.groups: list[int] = []
        self.proofs: list[Bools] = []
        self.tolls: list[tuple[int, float]] = []
        self.moves: list[tuple[int, int, float]] = []
        self.kind_moves: list[tuple[int, int, float]] = []

    def of_repair(self, repair: PlanRepair, fate: Fate) -> Iterator[int]:
        """Where the lists of a repair start and end, in the order of its record."""
        moves, left = repair.moves, np.nonzero(fate.stays)
        free = self.problem.free
        yield from self.groups_of(repair.after)
        yield from _added(self.proofs, [] if free else [self._rows(group) for group in repair.proved_by])
        yield from _added(self.moves, zip(moves.origin, moves.end, moves.chance, strict=True))
        yield from _added(self.kind_moves, zip(*left, fate.stays[left], strict=True))
        yield from _added(self.tolls, [] if free else _tolls(self.problem, repair))

    def groups_of(self, after: Sequence[frozenset[int]]) -> tuple[int, int]:
        return _added(self.groups, [] if self.problem.free else [_bits(group) for group in after])

    def _rows(self, group: frozenset[tuple[int, int]]) -> Bools:
        rows = np.zeros(self.first_rows[-1], dtype=bool)
        for test, outcome in group:
            rows[self.first_rows[test] + outcome] = True
        return rows


def _added(items: list[Any], more: Any) -> tuple[int, int]:
    """Where more items stand in the list they are added to."""
    first = len(items)
    items.extend(more)
    return first, len(items)


def _bits(group: frozenset[int]) -> int:
    return sum(1 << test for test in group)


def _joined(parts: Sequence[npt.NDArray[Any]], empty: tuple[int, ...], kind: type) -> npt.NDArray[Any]:
    return np.concatenate(parts).astype(kind) if parts else np.zeros(empty, dtype=kind)


def _at_benches(parts: Sequence[tuple[npt.NDArray[Any], ...]], kind: np.dtype[Any], n_benches: int) -> Records:
    records = np.zeros((len(parts), n_benches), dtype=kind)
    for row, columns in zip(records, parts, strict=True):
        for name, column in zip(kind.names or (), columns, strict=True):
            row[name] = column
    return records


def _tolls(problem: Problem, repair: PlanRepair) -> list[tuple[int, float]]:
    """Groups of tests of which one at least is made before this repair, none in two groups, with the least price."""
    wanted = list(repair.after)
    for group in wanted:  # grows: what the only test of a group waits for is made before as well
        if len(group) == 1:
            (test,) = group
            wanted.extend(earlier for earlier in problem.tests[test].after if earlier not in wanted)
    tolls: list[tuple[int, float]] = []
    used: set[int] = set()
    for group in sorted(wanted, key=len):
        if group and not used & group:
            used |= group
            tolls.append((_bits(group), min(float(problem.tests[test].costs.min()) for test in group)))
    return tolls


def _bit_price(test: PlanTest) -> float:
    """Money a bit when the test tells as much as it ever can: the capacity of its channel (Shannon 1948).

    By rounds of the algorithm of Arimoto and Blahut (1972), which bound the capacity from above at every round.
    """
    rows = test.chances
    chances = np.full(len(rows), 1 / len(rows))
    capacity = inf
    for _ in range(_CAPACITY_ROUNDS):
        told = (rows * np.log2(np.maximum(rows, 1e-300) / np.maximum(chances @ rows, 1e-300))).sum(axis=1)
        capacity = min(capacity, float(told.max()))
        chances = chances * np.exp2(told)
        chances /= chances.sum()
    least = float(test.costs.min())
    return least / capacity if capacity > 0 and least < inf else inf
