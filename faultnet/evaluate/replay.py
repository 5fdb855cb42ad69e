"""Replaying a past job by another way of working, on recorded results only."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from faultnet.case import Case
from faultnet.case.bench import test_step
from faultnet.case.events import Finding, RepairOutcome, Seen
from faultnet.case.steps import case_steps
from faultnet.cpt import Floats
from faultnet.engine.evidence import Likelihood
from faultnet.errors import ContradictoryEvidence
from faultnet.evaluate.past import PastJob
from faultnet.evaluate.rules import Rule
from faultnet.model import Model
from faultnet.model.work import BenchState
from faultnet.repairs.prices import giving_up_price, repair_price
from faultnet.settings import ShopSettings

MOST_MOVES = 40
MOST_WRONG = 3
"""After so many wrong repairs the set is given up."""


@dataclass(frozen=True)
class Replay:
    """How a way of working would have gone. steps: tests with a result, and repairs; minutes, cost: of these.

    wanted, answered: tests it asked for, and those with a recorded (or imputed) result. right_first: the first repair
    was the cure; cured: one of them was.
    """

    steps: int
    minutes: float
    cost: float
    wanted: int
    answered: int
    right_first: bool
    cured: bool

    @property
    def coverage(self) -> float:
        """The share of its tests whose result is known; 1 where it asked for none."""
        return self.answered / self.wanted if self.wanted else 1.0


Imputed = Callable[[str], Seen]
"""A made-up result of an observation."""


def replay(model: Model, job: PastJob, rule: Rule, settings: ShopSettings, imputed: Imputed | None = None) -> Replay:
    """A job replayed. A test without a recorded result is passed over and costs nothing, unless results are imputed.

    A repair that is not part of the cure is taken to have failed.
    """
    rule.start(job)
    case, bench = job.at_intake(model), BenchState()
    asked: set[str] = set()
    steps = wanted = answered = wrong = 0
    minutes = cost = 0.0
    for _ in range(MOST_MOVES):
        kind, id_ = rule.move(case, bench)
        if kind == "test" and id_ in asked:  # seen while no symptom showed, it would be asked for for ever
            case = replace(case, skipped={**case.skipped, id_: "made already"})
        elif kind == "test":
            asked.add(id_)
            wanted += 1
            test = model.tests[id_]
            result = job.result(test)
            if not result and imputed is not None:
                result = tuple(job.recorded.get(name) or imputed(name) for name in test.reveals)
            if not result:
                case = replace(case, skipped={**case.skipped, id_: "no result was recorded"})
                continue
            answered += 1
            steps += 1
            done = test_step(model, test, bench, case.inches, settings)
            minutes += done.setup_minutes + done.minutes
            cost += settings.price(done.setup_minutes + done.minutes, test.money, done.hazard)
            bench, case = done.bench_after, case.after(*result)
        elif kind == "repair":
            steps += 1
            price = repair_price(model, model.repairs[id_], bench, case.inches, settings)
            minutes += price.step.setup_minutes + price.step.minutes
            cost += price.done
            bench = price.step.bench_after
            if id_ in job.cure:
                return Replay(steps, minutes, cost, wanted, answered, right_first=wrong == 0, cured=True)
            wrong += 1
            case = case.after(RepairOutcome((id_,), False))
        if kind == "stop" or wrong >= MOST_WRONG:
            break
    cost += giving_up_price(settings, case.inches)
    return Replay(steps, minutes, cost, wanted, answered, right_first=False, cured=False)


def imputing(model: Model, job: PastJob, seed: int) -> Imputed:
    """Results drawn from what the model expects of a set with all that was recorded, and what cured it, faulty.

    The same job and seed give the same results, whatever they are asked for by.
    """
    chances = _expected(model, job)

    def impute(name: str) -> Seen:
        stream = np.random.default_rng([seed, sum(map(ord, job.number)), sum(map(ord, name))])
        states = model.visible[name].states
        return Finding(name, states[int(stream.choice(len(states), p=chances[name]))])

    return impute


def _expected(model: Model, job: PastJob) -> Mapping[str, Floats]:
    """What each observation would show, by all that is known of the set as it came in."""
    before = tuple(job.recorded.values())
    parts = tuple(dict.fromkeys(part for made in sorted(job.cure) for part in model.repairs[made].fixes))
    faulty: Floats = np.ones([len(model.components[part].states) for part in parts])
    faulty[(0,) * faulty.ndim] = 0.0
    engine = model.compiled.engine
    for case in (replace(job.case, events=before, skipped={}), Case()):
        try:
            belief = engine.belief([*case_steps(model, case), Likelihood(parts, faulty)])
        except ContradictoryEvidence:
            continue
        chances = {name: belief.marginal(name) for name in model.observations}
        return {name: own / own.sum() for name, own in chances.items()}
    raise ContradictoryEvidence([f"{part}: faulty" for part in parts])
