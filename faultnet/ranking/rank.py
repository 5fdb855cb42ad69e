"""Every open test priced and ranked, with what is held back and one piece of advice."""

from collections.abc import Sequence

import numpy as np

from faultnet.case.bench import bench_after_events
from faultnet.case.case import Case
from faultnet.case.events import RepairOutcome
from faultnet.diagnosis.explain import believe_or_explain, outcome_names
from faultnet.engine.interface import Belief
from faultnet.model.model import Model
from faultnet.model.work import BenchState, BenchTest, prepare, unmet
from faultnet.ranking.advise import advise
from faultnet.ranking.result import HeldBack, Outcome, RankedTest, Ranking
from faultnet.repairs import RankedRepair, rank_repairs, untrained_reason
from faultnet.settings import ShopSettings


def rank_tests(
    model: Model, case: Case, bench: BenchState | None = None, settings: ShopSettings | None = None
) -> Ranking:
    """Every open test with its exact gains and its price from how the bench stands, and what to do next.

    bench: where the set-up stands; without it, as the tests already made have left it.
    """
    bench, settings = bench or bench_after_events(model, case), settings or ShopSettings()
    belief, known = believe_or_explain(model, case), case.known(model)
    still_open = [test for test in model.tests.values() if not set(test.reveals) <= known]
    tests = [_rank(model, case, belief, test, bench, settings) for test in still_open]
    tests.sort(key=lambda t: (bool(t.waits_for), -t.worth))
    repairs = rank_repairs(model, case, bench, settings, belief)
    allowed = [t for t in tests if settings.may_do(t.step.hazard)]
    held = [*_held_tests(tests, settings), *_held_repairs(repairs, settings)]
    tried = [event.repair for event in case.events if isinstance(event, RepairOutcome)]
    advice = advise(allowed, repairs, held, tried, settings, model.aim)
    return Ranking(tuple(tests), repairs, tuple(held), advice)


def _held_tests(tests: Sequence[RankedTest], settings: ShopSettings) -> list[HeldBack]:
    beyond = [t for t in tests if not settings.may_do(t.step.hazard)]
    return [HeldBack("test", t.test, t.label, t.step.hazard, untrained_reason(t.step.hazard), True) for t in beyond]


def _held_repairs(repairs: Sequence[RankedRepair], settings: ShopSettings) -> list[HeldBack]:
    return [
        HeldBack("repair", r.repair, r.label, r.step.hazard, r.held_because, not settings.may_do(r.step.hazard))
        for r in repairs
        if r.held_because
    ]


def _rank(
    model: Model,
    case: Case,
    belief: Belief,
    test: BenchTest,
    bench: BenchState,
    settings: ShopSettings,
) -> RankedTest:
    known = case.known(model)
    leaves = tuple(leaf for leaf in test.reveals if leaf not in known)
    step = prepare(
        bench,
        test.needs,
        model.setups,
        minutes=test.minutes,
        hazard=test.hazard,
        cautions=test.cautions,
        inches=case.inches,
    )
    return RankedTest(
        test=test.id,
        label=test.label,
        reveals=leaves,
        gain_bits=belief.gain_bits(leaves),
        gain_repair_bits=belief.gain_bits(leaves, model.compiled.to_decide),
        cost=settings.price(step.setup_minutes + step.minutes, test.money, step.hazard),
        step=step,
        side_effect=test.side_effect,
        waits_for=unmet(test.after, case.ever_seen()),
        outcomes=_outcomes(model, belief, leaves),
    )


def _outcomes(model: Model, belief: Belief, leaves: Sequence[str]) -> tuple[Outcome, ...]:
    table = belief.outcomes(leaves)
    chances = table.sum(axis=1)
    by_mode = table @ model.compiled.is_mode
    asked = {c: belief.joint((*leaves, c)).reshape(len(chances), -1) for c in model.asked}
    outcomes = []
    for number, (name, chance, modes) in enumerate(
        zip(outcome_names(model, leaves), chances.tolist(), by_mode, strict=True)
    ):
        first = int(np.argmax(modes))
        probability = float(modes[first] / chance) if chance > 0 else 0.0
        leading = tuple(
            (c, model.conditions[c].states[int(np.argmax(by_state[number]))], float(by_state[number].max() / chance))
            for c, by_state in asked.items()
            if chance > 0
        )
        outcomes.append(Outcome(name, chance, str(model.modes[first]), probability, leading))
    return tuple(outcomes)
