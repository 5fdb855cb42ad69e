"""Going through a problem one action at a time, as the search does, for reading plans and for following other rules."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import inf
from typing import Any

import numpy as np

from faultnet.cpt import Floats
from faultnet.plan.memory import find, node_words, seen_words
from faultnet.plan.problem import WORKS, Bools
from faultnet.plan.search import Solved, room_for
from faultnet.plan.visit import FRAME, NEGLIGIBLE, may_do, without_more_tests


@dataclass(frozen=True, eq=False)
class State:
    """Where one is: weights of hypotheses ``(n,)`` not divided by what was seen, tests made with the outcome each
    showed, repairs that failed, the bench, whether power is forbidden, and the words of the node."""

    weights: Floats
    seen: tuple[tuple[int, int], ...] = ()
    done: frozenset[int] = frozenset()
    bench: int = 0
    no_power: bool = False
    words: tuple[np.uint64, np.uint64] = field(default=(np.uint64(0), np.uint64(0)))

    @property
    def total(self) -> float:
        return float(self.weights.sum())


@dataclass
class Followed:
    """A rule followed through a problem: what it costs, and at every node its cost and action."""

    cost: float = inf
    at: dict[tuple[np.uint64, np.uint64], tuple[float, int]] = field(default_factory=dict)


class Walk:
    """Moves over the states of a solved problem."""

    def __init__(self, solved: Solved) -> None:
        self.solved, self.problem = solved, solved.problem
        self._work = room_for(self.problem, solved.tables)

    @property
    def start(self) -> State:
        problem = self.problem
        return State(problem.weights / problem.weights.sum(), no_power=problem.no_power)

    def planned(self, state: State) -> int:
        """The action of the plan that was found: a test, then repairs, then ways to stop, by number."""
        memory = self.solved.memory
        place = find(memory, *self.node(state))
        if place >= 0:
            return int(memory[place]["best"])
        return self.by_repairs(state)[1]

    def node(self, state: State) -> tuple[np.uint64, np.uint64]:
        """The words of a state's node in memory."""
        return _words(node_words(*state.words, _bits(state.done), state.bench))

    def by_repairs(self, state: State) -> tuple[float, int]:
        """The cost and the first action where no more tests are made."""
        cost, action = without_more_tests(self.solved.tables, self._work, self._mass(state), self._frame(state))
        return float(cost), int(action)

    def allowed(self, state: State) -> Bools:
        """Which tests and repairs may be done: ``(n_tests + n_repairs,)``."""
        allowed = np.zeros(len(self.problem.tests) + len(self.problem.repairs), dtype=bool)
        may_do(self.solved.tables, self._work, self._mass(state), self._frame(state), allowed)
        return allowed

    def outcomes(self, state: State, test: int) -> Iterator[tuple[int, State]]:
        """The outcomes of a test that can happen, and the state after each."""
        own, first = self.problem.tests[test], int(self.solved.tables.tests[test]["row"])
        for outcome in range(own.chances.shape[1]):
            weights = state.weights * own.chances[:, outcome]
            if weights.sum() > NEGLIGIBLE:
                words = _words(seen_words(self.solved.words, first + outcome, _bits(state.done), *state.words))
                yield (
                    outcome,
                    State(
                        weights,
                        (*state.seen, (test, outcome)),
                        state.done,
                        int(own.leaves[state.bench]),
                        state.no_power or bool(own.forbids_power[outcome]),
                        words,
                    ),
                )

    def failure(self, state: State, repair: int) -> tuple[float, State]:
        """The weight that a repair cures, and the state after its failure."""
        own = self.problem.repairs[repair]
        moved = own.survives * own.moves.chance * state.weights[own.moves.origin]
        left = own.moves.end != WORKS
        weights: Floats = np.bincount(own.moves.end[left], moved[left], self.problem.n_hypotheses).astype(float)
        after = State(weights, state.seen, state.done | {repair}, int(own.leaves[state.bench]), False, state.words)
        return float(moved[~left].sum()), after

    def _mass(self, state: State) -> Floats:
        mass: Floats = np.bincount(self.problem.kinds, state.weights, self.problem.n_kinds).astype(float)
        return mass

    def _frame(self, state: State) -> Any:
        """The state as the compiled functions take it; what was seen goes into the room."""
        self._work.seen[:] = -1
        for test, outcome in state.seen:
            self._work.seen[test] = int(self.solved.tables.tests[test]["row"]) + outcome
        frame = np.zeros((), dtype=FRAME)
        frame["made"], frame["done"] = _bits(frozenset(test for test, _ in state.seen)), _bits(state.done)
        frame["bench"], frame["no_power"], frame["total"] = state.bench, state.no_power, state.total
        return frame[()]


def _bits(numbers: frozenset[int]) -> int:
    return sum(1 << number for number in numbers)


def _words(words: tuple[int, int]) -> tuple[np.uint64, np.uint64]:
    """Words as they come back from compiled functions, which take them in this type only."""
    return np.uint64(words[0]), np.uint64(words[1])
