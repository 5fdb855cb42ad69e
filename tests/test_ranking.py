"""Ranked tests and repairs: gains, prices, set-ups, hazards, cautions, the order of the trade, and laws of chance."""

from dataclasses import replace
from functools import cache
from itertools import product
from math import isnan, log2

import numpy as np
import pytest
from bench_models import lamp
from hypothesis import given, settings
from hypothesis import strategies as st
from labels import label
from unaltered import without_alterations

from faultnet.case import Case, Event, Finding, Reading, RepairOutcome, SoftFinding, believe, parse_events
from faultnet.case.bench import bench_after_events
from faultnet.case.steps import case_steps
from faultnet.diagnosis import diagnose
from faultnet.engine.joint import Belief
from faultnet.errors import ContradictoryEvidence
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.model.work import BenchState, Step, prepare
from faultnet.ranking import RankedTest, Ranking, rank_tests
from faultnet.repairs import RankedRepair
from faultnet.settings import ShopSettings

CONFIRMED = ("sound=present", "flashlight=image_seen")
TRAINED = ShopSettings(trained=True)
IN_BITS = 1e-9

CASES: dict[str, tuple[str, ...]] = {
    "nothing": (),
    "confirmed": CONFIRMED,
    "volts": (*CONFIRMED, "startup_flash=flash_then_off", "loaded_voltage=0.2,0", "open_voltage=61"),
    "a repair in between": (*CONFIRMED, "strip_tester=dark", "replace_strips=not"),
}
every_case = pytest.mark.parametrize("name", CASES)


@cache
def backlight() -> Model:
    return load_model("backlight")


def case_of(model: Model, *texts: str, inches: float | None = None) -> Case:
    return Case(parse_events(model, texts), nominal=label(54.0), inches=inches)


def ranked(name: str, settings: ShopSettings = TRAINED, bench: BenchState | None = None) -> Ranking:
    return rank_tests(backlight(), case_of(backlight(), *CASES[name]), bench or BenchState(), settings)


def open_test(ranking: Ranking, test: str) -> RankedTest:
    (found,) = (each for each in ranking.tests if each.test == test)
    return found


def repair_named(ranking: Ranking, repair: str) -> RankedRepair:
    (found,) = (each for each in ranking.repairs if each.repair == repair)
    return found


# -- information -------------------------------------------------------------------------------------------------------


@every_case
def test_gains_are_those_of_the_belief_and_within_their_bounds(name: str) -> None:
    model = backlight()
    case = case_of(model, *CASES[name])
    for test in ranked(name).tests:
        belief = believe(model, replace(case, making=test.test))
        reveals = model.tests[test.test].reveals
        by_state = (belief.gain_bits(reveals), belief.gain_bits(reveals, model.compiled.needs_work))
        if model.observations[reveals[0]].reading is None:
            assert pytest.approx(by_state, abs=1e-12) == (test.gain_bits, test.gain_repair_bits)
        elif name in ("nothing", "confirmed"):  # volts tell less than the states behind them; see test_volts_gain.py
            assert test.gain_bits < by_state[0]
            assert test.gain_repair_bits < by_state[1]
        assert -IN_BITS <= test.gain_repair_bits <= test.gain_bits + IN_BITS
        assert test.gain_bits <= min(belief.entropy_bits, log2(len(test.outcomes))) + IN_BITS


@every_case
def test_the_outcomes_of_a_test_are_what_is_believed_once_each_is_seen(name: str) -> None:
    model = backlight()
    case = case_of(model, *CASES[name])
    for test in ranked(name).tests:
        before = believe(model, replace(case, making=test.test))
        assert pytest.approx(1, abs=1e-12) == sum(outcome.chance for outcome in test.outcomes)
        (observation,) = model.tests[test.test].reveals
        expected = np.zeros_like(before.targets)
        for outcome in test.outcomes:
            seen = case.after(Finding(observation, outcome.state))  # before it shows what the test altered
            after = model.compiled.engine.belief(case_steps(model, replace(seen, making=test.test)))
            by_mode = after.targets @ model.compiled.is_mode
            assert str(model.modes[int(np.argmax(by_mode))]) == outcome.leading_fault
            assert pytest.approx(by_mode.max()) == outcome.probability
            expected += outcome.chance * after.targets
        np.testing.assert_allclose(expected, before.targets, atol=1e-12)  # expected posterior = prior


@every_case
def test_every_open_test_is_listed_and_no_test_that_was_made(name: str) -> None:
    model = backlight()
    known = case_of(model, *CASES[name]).known(model)
    assert {test.id for test in model.tests.values() if test.id not in known} == {t.test for t in ranked(name).tests}


def test_sound_has_no_information_and_is_asked_first_all_the_same() -> None:
    ranking = ranked("nothing")
    assert pytest.approx(0, abs=1e-12) == open_test(ranking, "sound").gain_bits
    assert (ranking.advice.kind, ranking.advice.id) == ("test", "sound")


def test_a_test_that_reveals_two_things_is_priced_on_both_together() -> None:
    model = lamp()
    case = case_of(model, "seen_again=dark")
    belief = believe(model, case)
    test = open_test(rank_tests(model, case), "glow_and_scale")
    assert pytest.approx(belief.gain_bits(("glow", "scale"))) == test.gain_bits
    assert [o.state for o in test.outcomes] == ["glows+light", "glows+heavy", "stays_dark+light", "stays_dark+heavy"]
    joint = belief.joint(("glow", "scale")).reshape(-1)
    np.testing.assert_allclose([outcome.chance for outcome in test.outcomes], joint, atol=1e-12)
    half = open_test(rank_tests(model, case.after(Finding("glow", "glows"))), "glow_and_scale")
    assert [outcome.state for outcome in half.outcomes] == ["light", "heavy"]
    both = rank_tests(model, case.after(Finding("glow", "glows"), Finding("scale", "heavy")))
    assert "glow_and_scale" not in {test.test for test in both.tests}


def test_a_test_whose_answer_is_certain_gains_nothing() -> None:
    model = lamp()
    case = case_of(model, "filament=open@by:anna")
    belief = believe(model, case)
    assert pytest.approx(0, abs=1e-12) == belief.gain_bits(("filament",))


# -- set-ups -----------------------------------------------------------------------------------------------------------

# Minutes and hazards of the trade's set-up changes, reasoned: cover off 8, on 6, discharge and measure 4 (hazard 3),
# power on 1 (hazard 2 with the cover off), LED cable 1, panel opened 30 (60 from 55 inch), closed 30 (hazard 4).
CLOSED = BenchState()
OPEN_LIVE = BenchState(cover="off")
OPEN_OFF = BenchState(cover="off", mains="off")
DISCHARGED = BenchState(cover="off", mains="discharged")
UNPLUGGED = BenchState(cover="off", mains="discharged", led_cable="out")
SETUPS = [
    # from, test, minutes of set-up, hazard of the step
    (CLOSED, "sound", 0, 0),
    (CLOSED, "visual", 8, 1),
    (CLOSED, "loaded_voltage", 9, 3),
    (CLOSED, "bl_on", 9, 2),
    (CLOSED, "fuses", 12, 3),
    (CLOSED, "strip_tester", 13, 3),
    (CLOSED, "open_voltage", 14, 3),
    (OPEN_LIVE, "loaded_voltage", 0, 3),
    (OPEN_LIVE, "visual", 0, 1),
    (OPEN_LIVE, "strip_tester", 5, 3),
    (OPEN_LIVE, "open_voltage", 6, 3),
    (OPEN_OFF, "bl_on", 1, 2),
    (OPEN_OFF, "fuses", 4, 3),
    (DISCHARGED, "fuses", 0, 1),
    (DISCHARGED, "visual", 0, 1),
    (DISCHARGED, "capacitor_esr", 0, 1),
    (DISCHARGED, "strip_tester", 1, 3),
    (UNPLUGGED, "strip_tester", 0, 3),
    (UNPLUGGED, "diode_test", 0, 1),
    (UNPLUGGED, "open_voltage", 1, 3),
    (UNPLUGGED, "loaded_voltage", 2, 3),
]


@pytest.mark.parametrize(("bench", "test", "minutes", "hazard"), SETUPS)
def test_set_up_minutes_are_paid_once_from_how_the_bench_stands(
    bench: BenchState, test: str, minutes: float, hazard: int
) -> None:
    step = open_test(ranked("nothing", bench=bench), test).step
    assert minutes == step.setup_minutes
    assert hazard == step.hazard
    assert backlight().tests[test].minutes == step.minutes
    again = open_test(ranked("nothing", bench=step.bench_after), test).step
    assert again.setup_minutes == 0
    assert again.setup == ()
    assert step.bench_after == again.bench_after


def test_a_step_leaves_the_bench_as_the_test_needs_it() -> None:
    for test in ranked("nothing").tests:
        made = backlight().tests[test.test]
        for part, state in {**made.needs, **made.leaves}.items():
            assert test.step.bench_after.meets(part, state)


def test_the_cable_is_touched_only_after_discharging_and_measuring() -> None:
    labels = {
        change: backlight().setups[part, state].label
        for change, (part, state) in {
            "discharge": ("mains", "discharged"),
            "out": ("led_cable", "out"),
            "on": ("mains", "on"),
        }.items()
    }
    for bench in (CLOSED, OPEN_LIVE, OPEN_OFF):
        setup = open_test(ranked("nothing", bench=bench), "open_voltage").step.setup
        assert setup.index(labels["discharge"]) < setup.index(labels["out"]) < setup.index(labels["on"])


@pytest.mark.parametrize(
    ("inches", "setup", "minutes"), [(32, 42, 30), (43, 42, 60), (54, 42, 60), (55, 72, 60), (75, 72, 120)]
)
def test_opening_the_panel_takes_longer_on_a_large_set(inches: float, setup: float, minutes: float) -> None:
    # trade: full strip set 60/90/120/180 minutes in all, of which opening 30 minutes, 60 from 55 inch; reasoned
    ranking = rank_tests(backlight(), case_of(backlight(), inches=inches), BenchState(), TRAINED)
    step = repair_named(ranking, "replace_strips").step
    assert (setup, minutes) == (step.setup_minutes, step.minutes)
    assert step.hazard == 4


# -- hazards and cautions ----------------------------------------------------------------------------------------------

BENCHES = [
    BenchState(cover, mains, led_cable, panel)
    for cover, mains, led_cable, panel in product(
        ("on", "off"), ("on", "off", "discharged"), ("in", "out"), ("closed", "opened")
    )
]


@pytest.mark.parametrize("bench", BENCHES, ids=lambda bench: "-".join(bench.as_dict().values()))
def test_every_step_from_every_bench_has_its_hazard_and_each_caution_once(bench: BenchState) -> None:
    model = backlight()
    ranking = ranked("nothing", bench=bench)
    for step, work in [
        *((test.step, model.tests[test.test]) for test in ranking.tests),
        *((repair.step, model.repairs[repair.repair]) for repair in ranking.repairs),
    ]:
        assert step.hazard >= work.hazard
        assert len(set(step.cautions)) == len(step.cautions)
        if step.hazard:
            assert step.cautions
            assert {caution.id for caution in work.cautions} <= {caution.id for caution in step.cautions}
        if step.bench_after.mains == "on" and step.bench_after.cover == "off":
            assert step.hazard >= 2
        if "opened" in (bench.panel, step.bench_after.panel) and bench.panel != step.bench_after.panel:
            assert step.hazard == 4
        else:
            assert step.hazard <= 3 or work.hazard == 4


def test_a_hazardous_step_without_cautions_cannot_be_made() -> None:
    for hazard in (1, 2, 3, 4):
        with pytest.raises(ValueError, match="needs its cautions"):
            Step((), 0, 1, hazard, (), BenchState())
    assert Step((), 0, 1, 0, (), BenchState()).cautions == ()


def test_a_bench_stands_only_in_known_ways() -> None:
    with pytest.raises(ValueError, match="mains is one of on, off, discharged, not live"):
        BenchState(mains="live")


def test_free_tests_are_free_and_show_no_cautions() -> None:
    for test in ("sound", "flashlight", "startup_flash", "blink_code"):
        step = open_test(ranked("nothing"), test).step
        assert (step.hazard, step.setup_minutes, step.cautions) == (0, 0, ())


# -- prices and order --------------------------------------------------------------------------------------------------


def test_a_price_is_time_money_and_hazard() -> None:
    prices = ShopSettings(hourly_rate=60, hazard_prices=(0, 1, 2, 5, 30))
    assert prices.price(10, 2.5, 3) == 10 + 2.5 + 5
    model = lamp()
    ranking = rank_tests(model, case_of(model), BenchState(), prices)
    # open it 5, switch on 1, measure 2 minutes at 60 an hour, .50 for the test, hazard 3
    assert pytest.approx(8 + 0.5 + 5) == open_test(ranking, "feed_voltage").cost
    # cover 5, discharge 2, glass 20, 20 minutes for the size of an unknown set, parts 2 to 4, hazard 4
    assert pytest.approx(47 + 3 + 30) == repair_named(ranking, "new_bulb").cost


@every_case
def test_tests_are_sorted_by_the_trades_order_then_by_worth(name: str) -> None:
    tests = ranked(name).tests
    keys = [(bool(test.waits_for), -test.worth) for test in tests]
    assert sorted(keys) == keys
    for test in tests:
        assert pytest.approx(test.gain_repair_bits / test.cost) == test.worth


def test_what_a_test_waits_for_is_named_until_one_of_each_choice_was_seen() -> None:
    before = (("sound",), ("flashlight",), ("startup_flash",))
    assert (*before, ("loaded_voltage", "loaded_voltage_peak")) == open_test(
        ranked("nothing"), "open_voltage"
    ).waits_for
    assert open_test(ranked("confirmed"), "open_voltage").waits_for == (
        ("startup_flash",),
        ("loaded_voltage", "loaded_voltage_peak"),
    )
    case = case_of(backlight(), *CONFIRMED, "startup_flash=none", "loaded_voltage_peak=above")
    ranking = rank_tests(backlight(), case, BenchState(), TRAINED)
    assert open_test(ranking, "open_voltage").waits_for == ()
    assert open_test(ranking, "known_load").waits_for == (("open_voltage",),)
    # what was seen before a repair need not be seen again for the order's sake
    after = rank_tests(backlight(), case.after(RepairOutcome("replace_driver", False)), BenchState(), TRAINED)
    assert open_test(after, "open_voltage").waits_for == ()


def test_advice_takes_what_comes_before_first() -> None:
    ranking = ranked("confirmed")
    assert ranking.advice.id == "startup_flash"
    hurried = rank_tests(backlight(), case_of(backlight(), "startup_flash=none"), BenchState(), TRAINED)
    assert hurried.advice.id == "sound"
    assert "comes before" in hurried.advice.why


def test_advice_finds_the_test_that_reveals_what_comes_before() -> None:
    model = lamp()
    ranking = rank_tests(model, case_of(model, "seen_again=dark"), BenchState(), TRAINED)
    assert open_test(ranking, "filament").waits_for == (("glow", "scale"),)
    assert max(ranking.tests, key=lambda test: test.worth).test == "filament"
    assert ranking.advice.id == "glow_and_scale"


# -- gates, held back, untrained ---------------------------------------------------------------------------------------


def test_a_repair_says_why_it_is_held_back() -> None:
    reasons = {held.id: held.reason for held in ranked("volts").held_back if held.kind == "repair"}
    assert reasons["replace_strips"] == "only after strip_tester"
    assert "the shop's gate is 85" in reasons["replace_driver"]
    untrained = {held.id: held.reason for held in ranked("volts", ShopSettings()).held_back}
    assert untrained["replace_strips"] == "hazard 4: for a trained person, and this bench is not marked as trained"
    assert untrained["strip_tester"] == "hazard 3: for a trained person, and this bench is not marked as trained"
    assert "blink_code" not in untrained


def test_an_untrained_bench_holds_back_every_step_above_hazard_1_and_lists_it_all_the_same() -> None:
    ranking = ranked("confirmed", ShopSettings())
    held = {back.id for back in ranking.held_back if back.kind == "test"}
    assert {test.test for test in ranking.tests if test.step.hazard > 1} == held
    assert {"startup_flash", "blink_code", "visual"}.isdisjoint(held)
    assert "strip_tester" in held
    assert [test.test for test in ranked("confirmed").tests] == [test.test for test in ranking.tests]
    assert [back for back in ranked("confirmed").held_back if back.kind == "test"] == []


def test_the_same_step_is_less_hazardous_from_another_bench() -> None:
    """Measuring fuses is cold work, but discharging before it is not."""
    held = {back.id for back in ranked("confirmed", ShopSettings()).held_back}
    ready = {back.id for back in ranked("confirmed", ShopSettings(), DISCHARGED).held_back}
    assert "fuses" in held
    assert "fuses" not in ready


def test_a_repair_is_judged_by_its_part_or_group_and_cures_what_bayes_says() -> None:
    model = backlight()
    case = case_of(model, *CASES["volts"])
    belief = believe(model, case)
    ranking = ranked("volts")
    strips = repair_named(ranking, "replace_strips")
    assert pytest.approx(1 - belief.joint(("strips", "led_cable"))[0, 0]) == strips.named_right
    assert pytest.approx(1 - belief.marginal("driver")[0]) == repair_named(ranking, "replace_driver").named_right
    for repair in ranking.repairs:
        works = believe(model, case.after(RepairOutcome(repair.repair, True)))
        assert pytest.approx(np.exp(works.log_evidence - belief.log_evidence)) == repair.cures
    cures = [repair.cures for repair in ranking.repairs]
    assert sorted(cures, reverse=True) == cures


def test_a_gate_is_the_shops_to_set() -> None:
    case = case_of(backlight(), *CASES["volts"], "strip_tester=dark")
    usual = rank_tests(backlight(), case, BenchState(), TRAINED)
    assert (usual.advice.kind, usual.advice.id) == ("repair", "replace_strips")
    strict = rank_tests(backlight(), case, BenchState(), ShopSettings(trained=True, gate_panel=0.9999))
    assert strict.advice.kind != "repair"
    assert "the shop's gate is" in repair_named(strict, "replace_strips").held_because
    assert (repair_named(usual, "replace_strips").gate, repair_named(usual, "replace_driver").gate) == (0.9, 0.85)


def test_when_no_test_tells_more_the_advice_is_to_stop_or_to_hand_over() -> None:
    model = backlight()
    made = [f"{t.reveals[0]}={model.observations[t.reveals[0]].states[0]}" for t in model.tests.values()]
    done = rank_tests(
        model, case_of(model, *made), BenchState(), ShopSettings(trained=True, gate_repair=1, gate_panel=1)
    )
    assert done.tests == ()
    assert (done.advice.kind, done.advice.id) == ("stop", "")
    left = rank_tests(model, case_of(model, *made), BenchState(), ShopSettings())
    assert (left.advice.kind, left.advice.id) == ("hand_over", "")


def test_preparing_nothing_from_a_ready_bench_costs_nothing() -> None:
    step = prepare(BenchState(), {}, backlight().setups, minutes=3, hazard=0, cautions=())
    assert ((), 0, 3, BenchState()) == (step.setup, step.setup_minutes, step.minutes, step.bench_after)


def test_the_frame_has_a_row_for_every_test() -> None:
    ranking = ranked("confirmed")
    frame = ranking.to_frame()
    assert [test.test for test in ranking.tests] == list(frame["test"])
    assert [test.step.hazard for test in ranking.tests] == list(frame["hazard"])
    assert [test.step.minutes for test in ranking.tests] == list(frame["minutes"])
    held = {h.id: h.reason for h in ranking.held_back if h.kind == "test"}
    assert [held.get(test.test, "") for test in ranking.tests] == list(frame["held_because"])


def test_the_frame_keeps_names_and_types_when_it_has_no_rows() -> None:
    ranking = ranked("confirmed")
    full, empty = ranking.to_frame(), replace(ranking, tests=()).to_frame()
    assert len(empty) == 0
    assert list(full.columns) == list(empty.columns)
    assert list(full.dtypes) == list(empty.dtypes)
    assert list(range(len(full))) == list(full.index)
    assert not any(isinstance(value, tuple) for value in full.to_numpy().ravel())
    numbers = full.select_dtypes("number").to_numpy()
    assert not (np.signbit(numbers) & (numbers == 0)).any()


def test_a_ranking_says_what_it_assumed() -> None:
    ranking = ranked("confirmed")
    case = case_of(backlight(), "sound=present", "visual=nothing")
    settings = ShopSettings(hourly_rate=55, trained=True)
    told = rank_tests(backlight(), case, settings=settings)
    assert told.settings == settings
    assert told.bench == bench_after_events(backlight(), case)
    assert ranking.held_because == {(h.kind, h.id): h.reason for h in ranking.held_back}


# -- laws, on random jobs ----------------------------------------------------------------------------------------------


@st.composite
def seen_events(draw: st.DrawFn) -> Event:
    """A finding, soft finding or reading of the shipped model."""
    model = backlight()
    observation = model.observations[draw(st.sampled_from([o for o in model.observations if o != model.complaint]))]
    symptom = draw(st.sampled_from(["showing", "showing", "not_showing", "unknown"]))
    by = draw(st.sampled_from(["", "", "anna"]))
    kind = draw(st.sampled_from(["finding", "soft", "reading"]))
    if kind == "reading" and observation.reading is not None:
        volts = draw(st.sampled_from([0.0, 0.4, 12.0, 24.2, 31.0, 46.0, 54.3, 61.0, 71.0, 200.0, 1500.0]))
        return Reading(
            observation.id, (volts,) * draw(st.integers(1, 3)), observation.reading.default_hold, symptom=symptom, by=by
        )
    if kind == "soft":
        likelihoods = draw(
            st.lists(
                st.sampled_from([0.05, 0.3, 1.0]), min_size=len(observation.states), max_size=len(observation.states)
            )
        )
        return SoftFinding(observation.id, tuple(zip(observation.states, likelihoods, strict=True)), symptom, by)
    return Finding(observation.id, draw(st.sampled_from(observation.states)), symptom, by)


repairs = st.builds(
    RepairOutcome, st.sampled_from(["replace_strips", "replace_driver", "repair_cable"]), st.just(False)
)
jobs = st.lists(st.one_of(seen_events(), seen_events(), seen_events(), repairs), max_size=6)
nominals = st.sampled_from([None, 37.0, 54.0, 132.0])


def belief_of(events: list[Event], nominal: float | None) -> Belief:
    return believe(backlight(), Case(tuple(events), nominal=label(nominal)))


@settings(max_examples=40)
@given(jobs, nominals)
def test_probabilities_are_numbers_that_sum_to_one(events: list[Event], nominal: float | None) -> None:
    found = diagnose(backlight(), Case(tuple(events), nominal=label(nominal)), n_draws=5)
    assert not isnan(found.log_evidence)
    for component in backlight().components.values():
        rows = [fault for fault in found.faults if fault.component == component.id]
        assert pytest.approx(1, abs=1e-9) == sum(row.probability for row in rows)
        for row in rows:
            assert -1e-12 <= row.low <= row.probability <= row.high <= 1 + 1e-12
    assert 0 <= found.entropy_bits <= log2(4608)
    assert sum(explanation.probability for explanation in found.explanations) <= 1 + 1e-9


@settings(max_examples=40)
@given(st.lists(seen_events(), max_size=5, unique_by=lambda event: event.observation), nominals, st.randoms())  # type: ignore[union-attr]
def test_the_order_of_an_epoch_is_irrelevant(events: list[Event], nominal: float | None, random: object) -> None:
    shuffled = list(events)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    model = without_alterations(backlight())
    one, other = (believe(model, Case(tuple(e), nominal=label(nominal))) for e in (events, shuffled))
    np.testing.assert_allclose(other.targets, one.targets, rtol=0, atol=1e-12)
    assert pytest.approx(one.log_evidence, abs=1e-9) == other.log_evidence


@settings(max_examples=40)
@given(jobs, nominals, st.sampled_from([0.01, 0.5, 1.0]), st.data())
def test_a_flat_soft_finding_is_no_evidence(
    events: list[Event], nominal: float | None, level: float, data: st.DataObject
) -> None:
    observation = data.draw(st.sampled_from([o for o in backlight().observations if o != backlight().complaint]))
    states = backlight().observations[observation].states
    flat = SoftFinding(observation, tuple((state, level) for state in states), by="somebody else")
    model = without_alterations(backlight())
    one, other = (believe(model, Case(tuple(e), nominal=label(nominal))) for e in (events, [*events, flat]))
    np.testing.assert_allclose(other.targets, one.targets, rtol=0, atol=1e-12)
    assert pytest.approx(one.log_evidence + np.log(level), abs=1e-9) == other.log_evidence


@settings(max_examples=15)
@given(jobs, nominals)
def test_gains_keep_their_bounds_on_any_job(events: list[Event], nominal: float | None) -> None:
    case = Case(tuple(events), nominal=label(nominal))
    entropy = believe(backlight(), case).entropy_bits
    for test in rank_tests(backlight(), case, BenchState(), TRAINED).tests:
        assert -IN_BITS <= test.gain_repair_bits <= test.gain_bits + IN_BITS
        assert test.gain_bits <= min(entropy, log2(len(test.outcomes))) + IN_BITS
        assert pytest.approx(1, abs=1e-9) == sum(outcome.chance for outcome in test.outcomes)


@settings(max_examples=30)
@given(jobs, nominals, seen_events().filter(lambda event: not isinstance(event, Reading)))
def test_seeing_more_never_raises_the_evidence_of_findings(
    events: list[Event], nominal: float | None, more: Event
) -> None:
    """P(a and b) <= P(a): findings have chances, readings only densities."""
    assert isinstance(more, Finding | SoftFinding)
    by_another = replace(more, by="somebody else")
    assert belief_of([*events, by_another], nominal).log_evidence <= belief_of(events, nominal).log_evidence + 1e-9


@pytest.mark.parametrize("repair", ["replace_strips", "replace_driver", "reset_settings"])
def test_a_repair_that_works_and_then_does_not_is_contradictory(repair: str) -> None:
    with pytest.raises(ContradictoryEvidence):
        belief_of([RepairOutcome(repair, True), RepairOutcome("repair_cable", False)], None)
