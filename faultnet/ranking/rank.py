"""Every open test priced and ranked, with what is held back and one piece of advice."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from faultnet.case.believed import Believed
from faultnet.case.bench import bench_after_events, test_step
from faultnet.case.case import Case
from faultnet.case.events import RepairOutcome
from faultnet.case.order import alters_of
from faultnet.case.steps import believe
from faultnet.diagnosis.explain import belief_or_reason, outcome_names
from faultnet.engine.interface import Belief
from faultnet.model.model import Model
from faultnet.model.work import Alteration, BenchState, BenchTest, unmet
from faultnet.ranking.advise import advise
from faultnet.ranking.money import sets_of_faults, with_money
from faultnet.ranking.result import HeldBack, Outcome, RankedTest, Ranking
from faultnet.ranking.verdict import verdict
from faultnet.ranking.volts import ReadingGains
from faultnet.repairs import RankedRepair, money_of, rank_repairs, untrained_reason
from faultnet.settings import ShopSettings


def rank_tests(
    model: Model, case: Case, bench: BenchState | None = None, settings: ShopSettings | None = None
) -> Ranking:
    """Every open test with its exact gains and its price from how the bench stands, and what to do next.

    bench: where the set-up stands; without it, as the tests already made have left it.
    """
    return ranking_of(Believed(model, case), bench, settings)


def ranking_of(believed: Believed, bench: BenchState | None = None, settings: ShopSettings | None = None) -> Ranking:
    """The same from what is believed already."""
    model, case = believed.model, believed.case
    bench, settings = bench or bench_after_events(model, case), settings or ShopSettings()
    belief, known = belief_or_reason(believed), case.known(model)
    still_open = [test for test in model.tests.values() if not set(test.reveals) <= known]
    gains = ReadingGains(model, case, belief)
    going_on = _going_on(gains)
    money = money_of(model, belief, bench, case.inches, settings)
    tests = [_rank(model, case, going_on.get(test.alters, gains), test, bench, settings) for test in still_open]
    if money is not None:
        seen_by = [going_on.get(test.alters, gains) for test in still_open]
        tests = with_money(money, tests, [sets_of_faults(money, g, t) for g, t in zip(seen_by, tests, strict=True)])
    tests.sort(key=lambda t: (bool(t.waits_for), -t.worth))
    repairs = rank_repairs(model, case, bench, settings, belief, money)
    held_tests = _held_tests(tests, case, case.no_power(model), settings)
    held = [*held_tests, *_held_repairs(repairs, settings)]
    allowed = [t for t in tests if t.test not in {h.id for h in held_tests}]
    tried = [repair for event in case.events if isinstance(event, RepairOutcome) for repair in event.made]
    advice = verdict(model, case, belief, tests, money) or advise(allowed, repairs, held, tried, settings, model.aim)
    return Ranking(tuple(tests), repairs, tuple(held), advice, bench, settings, money)


def _going_on(gains: ReadingGains) -> dict[tuple[Alteration, ...], ReadingGains]:
    """For tests that alter what the last one did: the cable is still out, so they see the set as that one did."""
    model, case = gains.model, gains.case
    alters = alters_of(model, case.events[-1]) if case.events else ()
    if not alters:
        return {}
    making = replace(case, making=next(test.id for test in model.tests.values() if test.alters == alters))
    return {alters: ReadingGains(model, making, believe(model, making))}


def _held_tests(tests: Sequence[RankedTest], case: Case, no_power: str, settings: ShopSettings) -> list[HeldBack]:
    held = []
    for test in tests:
        hazard = test.step.hazard
        if no_power and test.step.bench_after.mains == "on":
            held.append(HeldBack("test", test.test, test.label, hazard, f"do not power again: {no_power}", False))
        elif not settings.may_do(hazard):
            held.append(HeldBack("test", test.test, test.label, hazard, untrained_reason(hazard), True))
        elif test.test in case.skipped:
            reason = f"skipped: {case.skipped[test.test] or 'no reason given'}"
            held.append(HeldBack("test", test.test, test.label, hazard, reason, False))
    return held


def _held_repairs(repairs: Sequence[RankedRepair], settings: ShopSettings) -> list[HeldBack]:
    return [
        HeldBack("repair", r.repair, r.label, r.step.hazard, r.held_because, not settings.may_do(r.step.hazard))
        for r in repairs
        if r.held_because
    ]


def _rank(
    model: Model,
    case: Case,
    gains: ReadingGains,
    test: BenchTest,
    bench: BenchState,
    settings: ShopSettings,
) -> RankedTest:
    known, belief = case.known(model), gains.belief
    leaves = tuple(leaf for leaf in test.reveals if leaf not in known)
    step = test_step(model, test, bench, case.inches, settings)
    if gains.prices(test):
        gain_bits, gain_repair_bits = gains.gains_bits(*leaves)
    else:
        gain_bits, gain_repair_bits = belief.gain_bits(leaves), belief.gain_bits(leaves, model.compiled.to_decide)
    return RankedTest(
        test=test.id,
        label=test.label,
        reveals=leaves,
        gain_bits=gain_bits,
        gain_repair_bits=gain_repair_bits,
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
