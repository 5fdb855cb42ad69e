"""From a model and a case to a planning problem: hypotheses, benches, tests with outcomes, repairs with prices."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from faultnet.case.bench import bench_after_events, test_step
from faultnet.case.case import Case
from faultnet.case.shown import states_shown
from faultnet.case.steps import case_steps
from faultnet.cpt import Floats
from faultnet.model.model import Model
from faultnet.model.work import BenchState, BenchTest, Choices, Repair, Step, unmet
from faultnet.plan.bands import Banded, band_reading
from faultnet.plan.hypotheses import Hypotheses, hypotheses_of
from faultnet.plan.problem import NEVER, WORKS, Bools, Moves, PlanRepair, PlanTest, Problem, moves_of
from faultnet.ranking.volts import ReadingGains
from faultnet.repairs.gates import Proof, judged_by, least_sure
from faultnet.repairs.prices import RepairPrice, giving_up_price, repair_price
from faultnet.settings import ShopSettings


@dataclass(frozen=True, eq=False)
class Composed:
    """A planning problem and what its numbers stand for.

    benches: how the set may stand, first as it stands now. steps, prices: of tests and repairs, by number and bench.
    outcomes: of each test the states of the observations it shows, a tuple for each of its rows. banded: how readings
    are told by bands, by test. taken_as_done: what the trade's order asks for before a test and no test of the plan
    shows; blocked: repairs that such a thing, or a proof that none can give, keeps out of the plan.
    """

    model: Model
    case: Case
    settings: ShopSettings
    problem: Problem
    hypotheses: Hypotheses
    tests: tuple[BenchTest, ...]
    repairs: tuple[Repair, ...]
    outcomes: tuple[tuple[tuple[str, ...], ...], ...]
    leaves: tuple[tuple[str, ...], ...]
    benches: tuple[BenchState, ...]
    steps: Mapping[tuple[int, int], Step]
    prices: Mapping[tuple[int, int], RepairPrice]
    banded: Mapping[str, Banded]
    taken_as_done: tuple[str, ...]
    blocked: tuple[str, ...]


def compose(
    model: Model, case: Case, tests: Sequence[str], settings: ShopSettings, bench: BenchState | None = None
) -> Composed:
    """The planning problem of a case over these tests and all repairs of the model."""
    belief = model.compiled.table.belief(case_steps(model, case))
    planned, repairs, known = [model.tests[id_] for id_ in tests], list(model.repairs.values()), case.known(model)
    leaves = [tuple(leaf for leaf in test.reveals if leaf not in known) for test in planned]
    gains = ReadingGains(model, case, belief)
    banded = [band_reading(gains, test) for test in planned]
    hypotheses = hypotheses_of(model, belief, leaves, banded)
    walk = _Walk(model, case, settings, planned, repairs, bench or bench_after_events(model, case))
    outcomes = [_outcomes(model, own) for own in leaves]
    order = _Order(case, leaves, outcomes, frozenset(states_shown(model, case, belief)))
    lost = giving_up_price(settings, case.inches)
    problem = Problem(
        weights=hypotheses.weights,
        kinds=hypotheses.kind,
        stops=np.array([[lost if kind else 0.0 for kind in hypotheses.kinds]]),
        tests=tuple(
            walk.test(n, rows, _forbids_power(model, own), order.before_test(test))
            for n, (test, own, rows) in enumerate(zip(planned, leaves, hypotheses.rows, strict=True))
        ),
        repairs=tuple(walk.repair(n, hypotheses, *order.before_repair(repair)) for n, repair in enumerate(repairs)),
        no_power=bool(case.no_power(model)),
    )
    return Composed(
        model=model,
        case=case,
        settings=settings,
        problem=problem,
        hypotheses=hypotheses,
        tests=tuple(planned),
        repairs=tuple(repairs),
        outcomes=tuple(outcomes),
        leaves=tuple(leaves),
        benches=tuple(walk.benches),
        steps=walk.steps,
        prices=walk.prices,
        banded={test.id: band for test, band in zip(planned, banded, strict=True) if band is not None},
        taken_as_done=tuple(dict.fromkeys(order.missing)),
        blocked=tuple(order.blocked),
    )


class _Walk:
    """Every way the set may come to stand, and what each test and repair costs from there."""

    def __init__(
        self,
        model: Model,
        case: Case,
        settings: ShopSettings,
        tests: Sequence[BenchTest],
        repairs: Sequence[Repair],
        bench: BenchState,
    ) -> None:
        self.model, self.settings, self._tests, self._repairs = model, settings, tests, repairs
        self.benches = [bench]
        self.steps: dict[tuple[int, int], Step] = {}
        self.prices: dict[tuple[int, int], RepairPrice] = {}
        for number, at in enumerate(self.benches):  # grows
            for n, test in enumerate(tests):
                self.steps[n, number] = step = test_step(model, test, at, case.inches, settings)
                self._reach(step.bench_after)
            for n, repair in enumerate(repairs):
                self.prices[n, number] = price = repair_price(model, repair, at, case.inches, settings)
                self._reach(price.step.bench_after)

    def _reach(self, bench: BenchState) -> None:
        if bench not in self.benches:
            self.benches.append(bench)

    def test(
        self,
        number: int,
        rows: Floats,
        forbids_power: Bools,
        after: tuple[frozenset[int], ...],
    ) -> PlanTest:
        test = self._tests[number]
        steps = [self.steps[number, bench] for bench in range(len(self.benches))]
        minutes = np.array([step.setup_minutes + step.minutes for step in steps])
        prices = [self.settings.price(m, test.money, s.hazard) for m, s in zip(minutes, steps, strict=True)]
        return PlanTest(
            id=test.id,
            chances=rows,
            costs=np.array(
                [p if self.settings.may_do(s.hazard) else NEVER for p, s in zip(prices, steps, strict=True)]
            ),
            minutes=minutes,
            leaves=np.array([self.benches.index(step.bench_after) for step in steps]),
            powered=np.array([step.bench_after.mains == "on" for step in steps]),
            forbids_power=forbids_power,
            after=after,
        )

    def repair(
        self,
        number: int,
        hypotheses: Hypotheses,
        after: tuple[frozenset[int], ...],
        proved_by: tuple[frozenset[tuple[int, int]], ...],
    ) -> PlanRepair:
        repair, settings = self._repairs[number], self.settings
        prices = [self.prices[number, bench] for bench in range(len(self.benches))]
        costs = [p.done + p.harm * p.ruined if settings.may_do(p.step.hazard) else NEVER for p in prices]
        judged = set(judged_by(self.model, repair))
        return PlanRepair(
            id=repair.id,
            moves=_moves(hypotheses, repair),
            costs=np.array(costs),
            leaves=np.array([self.benches.index(p.step.bench_after) for p in prices]),
            survives=1 - prices[0].harm,
            comeback=prices[0].comeback,
            after=after,
            proved_by=proved_by,
            gate=least_sure(repair, settings),
            judged=np.array([bool(kind & judged) for kind in hypotheses.kinds]),
        )


class _Order:
    """The trade's order in numbers of the plan's tests."""

    def __init__(
        self,
        case: Case,
        leaves: Sequence[tuple[str, ...]],
        outcomes: Sequence[tuple[tuple[str, ...], ...]],
        shown: frozenset[tuple[str, str]],
    ) -> None:
        self._seen, self._shown = case.ever_seen(), shown
        self._shown_by = {leaf: number for number, own in enumerate(leaves) for leaf in own}
        self._rows_of: dict[tuple[str, str], set[tuple[int, int]]] = {}
        for test, (own, rows) in enumerate(zip(leaves, outcomes, strict=True)):
            for row, states in enumerate(rows):
                for finding in zip(own, states, strict=True):
                    self._rows_of.setdefault(finding, set()).add((test, row))
        self.missing: list[str] = []
        self.blocked: list[str] = []

    def before_test(self, test: BenchTest) -> tuple[frozenset[int], ...]:
        """What is made before a test; what no test of the plan shows is taken as done."""
        groups = self._groups(test.after)
        self.missing += [" or ".join(choice) for choice, group in groups if not group]
        return tuple(group for _, group in groups if group)

    def before_repair(
        self, repair: Repair
    ) -> tuple[tuple[frozenset[int], ...], tuple[frozenset[tuple[int, int]], ...]]:
        """What is made, and what is to be seen, before a repair; what no test of the plan shows blocks it."""
        groups = [group for _, group in self._groups(repair.after)]
        proofs = self._proofs(repair.proved_by)
        if not all([*groups, *proofs]):
            self.blocked.append(repair.id)
        return tuple(groups), tuple(proofs)

    def _groups(self, after: Choices) -> list[tuple[tuple[str, ...], frozenset[int]]]:
        return [
            (choice, frozenset(self._shown_by[o] for o in choice if o in self._shown_by))
            for choice in unmet(after, self._seen)
        ]

    def _proofs(self, proofs: Sequence[Proof]) -> list[frozenset[tuple[int, int]]]:
        groups = []
        for proof in proofs:
            findings = [(observation, state) for observation, states in proof.items() for state in states]
            if self._shown.isdisjoint(findings):
                rows = (self._rows_of.get(finding, set()) for finding in findings)
                groups.append(frozenset[tuple[int, int]]().union(*rows))
        return groups


def _moves(hypotheses: Hypotheses, repair: Repair) -> Moves:
    """What a repair makes of each hypothesis, each component it fixes being mended with its success.

    Where nothing was faulty the set works when it is tried. Left out: a new part that arrives faulty in place of a good
    one, and what tests alter by themselves.
    """
    rows: list[tuple[int, int, float]] = []
    for hypothesis in range(len(hypotheses.weights)):
        ends = {hypothesis if hypotheses.modes[hypothesis] else WORKS: 1.0}
        for component in repair.fixes:
            then: dict[int, float] = {}
            for end, chance in ends.items():
                mended = WORKS if end == WORKS else int(hypotheses.mended[component][end])
                success = repair.success if mended != end else 1.0
                then[mended] = then.get(mended, 0.0) + chance * success
                then[end] = then.get(end, 0.0) + chance * (1 - success)
            ends = then
        rows += [(hypothesis, end, chance) for end, chance in ends.items() if chance > 0]
    return moves_of(rows)


def _forbids_power(model: Model, leaves: Sequence[str]) -> Bools:
    stops = [[state in model.observations[leaf].no_power_after for state in model.states_of(leaf)] for leaf in leaves]
    return np.array([any(each) for each in product(*stops)])


def _outcomes(model: Model, leaves: Sequence[str]) -> tuple[tuple[str, ...], ...]:
    return tuple(product(*(model.states_of(leaf) for leaf in leaves)))
