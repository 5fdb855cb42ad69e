"""Diagnoses: intervals against a plain second implementation, explanations, weights, surprises, conflicts, turns."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import combinations, pairwise
from math import exp, log, log2
from pathlib import Path

import numpy as np
import pytest
from bench_models import COLLATERAL, ODDS, PLAIN, lamp
from brute import Answers, Worlds
from labels import label
from small_models import edit, of_one_part, write_model
from unaltered import without_alterations

from faultnet.case import Case, believe, parse_events
from faultnet.case.believed import Believed
from faultnet.case.steps import case_steps, counted_events
from faultnet.diagnosis import Diagnosis, Weight, diagnose
from faultnet.diagnosis.drawn_belief import drawn_belief
from faultnet.diagnosis.explain import smallest_conflict
from faultnet.diagnosis.intervals import fault_intervals
from faultnet.errors import ContradictoryEvidence
from faultnet.files import load_model
from faultnet.model.draws import Draws
from faultnet.model.model import Model

CONFIRMED = ("sound=present", "flashlight=image_seen")
OPEN_STRIP = (*CONFIRMED, "startup_flash=flash_then_off", "loaded_voltage=0", "open_voltage=64", "strip_tester=dark")
WITH_REPAIR = (*CONFIRMED, "strip_tester=dark", "replace_strips=not", "loaded_voltage=0", "feed_rail=sags")
CASES: dict[str, tuple[str, ...]] = {
    "nothing": (),
    "confirmed": CONFIRMED,
    "open strip": OPEN_STRIP,
    "a repair in between": WITH_REPAIR,
    "soft and doubtful": (*CONFIRMED, "startup_flash=none:0.6,flash_then_off:0.4", "strip_tester=abnormal@unknown"),
}
every_case = pytest.mark.parametrize("name", CASES)


@cache
def backlight() -> Model:
    return load_model("backlight")


def case_of(model: Model, *texts: str, nominal: float | None = None) -> Case:
    return Case(parse_events(model, texts), nominal=label(nominal))


@cache
def told(name: str) -> Diagnosis:
    return diagnose(backlight(), case_of(backlight(), *CASES[name], nominal=54.0))


def log_odds_bits(chance: float) -> float:
    return log2(chance / (1 - chance))


# -- probabilities -----------------------------------------------------------------------------------------------------


@every_case
def test_every_component_is_in_one_state_and_the_summaries_agree_with_the_belief(name: str) -> None:
    model = backlight()
    belief = believe(model, case_of(model, *CASES[name], nominal=54.0))
    for component in model.components.values():
        rows = [fault for fault in told(name).faults if fault.component == component.id]
        assert list(component.states) == [row.mode for row in rows]
        np.testing.assert_allclose([row.probability for row in rows], belief.marginal(component.id), atol=1e-12)
        assert pytest.approx(1, abs=1e-12) == sum(row.probability for row in rows)
        assert pytest.approx(1 - rows[0].probability) == told(name).faulty(component.id)
    n_faults = model.compiled.n_faults
    assert pytest.approx(belief.targets[n_faults == 0].sum()) == told(name).nothing_found
    assert pytest.approx(belief.targets[n_faults > 1].sum()) == told(name).two_or_more
    assert pytest.approx(belief.log_evidence) == told(name).log_evidence
    for group in model.groups.values():
        assert pytest.approx(1 - belief.joint(group.components).flat[0]) == told(name).groups[group.id]
    assert max(model.components, key=told(name).faulty) == told(name).leading


@every_case
def test_explanations_are_the_likeliest_and_sorted(name: str) -> None:
    chances = [explanation.probability for explanation in told(name).explanations]
    assert sorted(chances, reverse=True) == chances
    assert len(chances) == 5
    assert sum(chances) <= 1 + 1e-12
    belief = believe(backlight(), case_of(backlight(), *CASES[name], nominal=54.0))
    np.testing.assert_allclose(chances, np.sort(belief.targets)[::-1][:5], atol=1e-12)


@every_case
def test_an_explanation_names_its_faults(name: str) -> None:
    """Its probability is the joint one of exactly these faults and all other components ok."""
    model = backlight()
    joint = believe(model, case_of(model, *CASES[name], nominal=54.0)).joint(tuple(model.components))
    for explanation in told(name).explanations:
        states = dict(fault.split(".") for fault in explanation.faults)
        place = tuple(c.states.index(states.get(c.id, "ok")) for c in model.components.values())
        assert pytest.approx(joint[place], abs=1e-14) == explanation.probability
        assert len(states) == len(explanation.faults)


# -- intervals ---------------------------------------------------------------------------------------------------------


@every_case
def test_an_interval_holds_its_probability_and_is_between_zero_and_one(name: str) -> None:
    for fault in told(name).faults:
        assert -1e-12 <= fault.low <= fault.probability <= fault.high <= 1 + 1e-12
    assert any(fault.high - fault.low > 0.1 for fault in told(name).faults)


def test_intervals_are_the_same_again_with_the_same_seed_and_not_with_another() -> None:
    model = backlight()
    case = case_of(model, *CONFIRMED)
    one, again, other = (diagnose(model, case, n_draws=50, seed=seed).faults for seed in (3, 3, 4))
    assert one == again
    assert [fault.probability for fault in one] == [fault.probability for fault in other]
    assert [fault.low for fault in one] != [fault.low for fault in other]


def test_an_interval_narrows_as_the_numbers_get_stronger() -> None:
    def width(strength: float) -> float:
        found = diagnose(lamp(strength=strength), case_of(lamp(), "seen_again=dark"), n_draws=100)
        return max(fault.high - fault.low for fault in found.faults)

    widths = [width(strength) for strength in (5, 20, 200, 20_000)]
    assert sorted(widths, reverse=True) == widths
    assert widths[-1] < 0.05


@pytest.mark.parametrize("name", ["shares", "condition", "rows", "collateral", "second_fault_share"])
def test_drawn_numbers_have_the_mean_and_spread_of_their_dirichlet(name: str) -> None:
    """Mean m, variance m (1 - m) / (s + 1) (Gelman et al., Bayesian Data Analysis, table A.1), within 5 sigma."""
    model = lamp(collateral=COLLATERAL, strength=12)
    n = 20_000
    draws = Draws(model, n, 1)
    drawn, means = {
        "shares": (draws.shares(), np.array([model.shares[mode] for mode in model.modes])),
        "condition": (draws.condition("age"), np.array(model.conditions["age"].shares)),
        "rows": (
            draws.rows("glow"),
            np.array([row.probabilities for row in model.observations["glow"].table]),
        ),
        "collateral": (draws.collateral(), np.array([0.4])),
        "second_fault_share": (draws.second_fault_share(), np.array(0.1)),
    }[name]
    assert drawn.shape == (n, *means.shape)
    spread = np.sqrt(means * (1 - means) / 13)
    assert np.all(np.abs(drawn.mean(axis=0) - means) < 5 * spread / np.sqrt(n) + 1e-12)
    np.testing.assert_allclose(drawn.std(axis=0), spread, rtol=0.06)
    if name in ("shares", "condition", "rows"):
        np.testing.assert_allclose(drawn.sum(axis=-1), 1, atol=1e-12)


def test_numbers_are_drawn_independently_and_each_from_a_stream_of_its_own() -> None:
    draws = Draws(lamp(collateral=COLLATERAL), 20_000, 1)
    columns = [draws.condition("age")[:, 0], draws.condition("battery_kind")[:, 0], draws.second_fault_share()]
    columns += [
        draws.collateral()[:, 0],
        draws.rows("scale")[:, 0, 0],
        draws.rows("glow")[:, 0, 0],
        draws.shares()[:, 0],
    ]
    correlation = np.corrcoef(columns) - np.eye(len(columns))
    assert np.abs(correlation).max() < 5 / np.sqrt(20_000)
    np.testing.assert_array_equal(draws.rows("glow"), Draws(lamp(), 20_000, 1).rows("glow"))  # whatever else is drawn


def drawn_model(model: Model, draws: Draws, number: int) -> Model:
    """The model with the numbers of one draw written into it; its priors are solved anew."""
    shares = dict(zip(model.modes, draws.shares()[number], strict=True))
    by_name = {str(mode): float(share) for mode, share in shares.items()}
    components = {
        c.id: replace(c, modes=tuple(replace(mode, share=by_name[f"{c.id}.{mode.id}"]) for mode in c.modes))
        for c in model.components.values()
    }
    conditions = {
        c.id: replace(c, shares=tuple(map(float, draws.condition(c.id)[number]))) for c in model.conditions.values()
    }
    observations = {
        o.id: replace(
            o,
            table=tuple(
                replace(row, probabilities=tuple(map(float, drawn)))
                for row, drawn in zip(o.table, draws.rows(o.id)[number], strict=True)
            ),
        )
        for o in model.observations.values()
    }
    links = zip(model.collateral, draws.collateral()[number], strict=True)
    return replace(
        model,
        components=components,
        conditions=conditions,
        observations=observations,
        collateral=tuple(replace(link, chance=float(chance)) for link, chance in links),
        second_fault_share=float(draws.second_fault_share()[number]),
        root_odds=None,
    )


LAMP_CASES = {
    "a finding": ("seen_again=dark",),
    "findings": ("seen_again=dark", "glow=glows"),
    "a reading and a soft finding": ("feed_voltage=9.2", "glow=stays_dark:0.8,glows:0.3"),
    "not showing": ("seen_again=dark", "glow=glows@unknown", "feed_voltage=0.4@unknown"),
    "a repair in between": ("seen_again=dark", "new_bulb=not", "glow=stays_dark"),
}


@pytest.mark.parametrize("name", LAMP_CASES)
@pytest.mark.parametrize(
    ("collateral", "odds", "tolerance"),
    [
        # independent roots: the same fixed point, a few rounds short of its end
        (PLAIN, PLAIN, 0.001),
        # what collateral links and odds factors change is taken to first order
        (COLLATERAL, PLAIN, 0.005),
        (PLAIN, ODDS, 0.01),
        (COLLATERAL, ODDS, 0.01),
    ],
    ids=["independent roots", "a collateral link", "odds factors", "both"],
)
def test_intervals_agree_with_solving_every_draw_anew(name: str, collateral: str, odds: str, tolerance: float) -> None:
    model = lamp(collateral=collateral, odds=odds, strength=200, second_fault_share=0.15)
    case = case_of(model, *LAMP_CASES[name])
    n = 20
    found = fault_intervals(drawn_belief(Believed(model, case), n, seed=2), believe(model, case))
    assert n == found.n_draws
    solved = [believe(drawn_model(model, Draws(model, n, 2), number), case) for number in range(n)]
    spread = 0.0
    for component in model.components:
        chances = np.sort([belief.marginal(component) for belief in solved], axis=0)
        point = believe(model, case).marginal(component)
        # of 20 sorted draws the 2nd and the 20th
        np.testing.assert_allclose(found.low[component], np.minimum(chances[1], point), atol=tolerance)
        np.testing.assert_allclose(found.high[component], np.maximum(chances[19], point), atol=tolerance)
        spread = max(spread, float((chances[19] - chances[1]).max()))
    assert spread > 5 * tolerance  # else the comparison would say nothing


def test_intervals_of_a_model_of_one_part_keep_its_usual_odds(tmp_path: Path) -> None:
    """It has no second faults to tell how likely a set is to be sound; that stays as solving a draw anew leaves it."""
    text = edit("      old: {lamp.open: 2}\n", "", edit("    odds:\n", "", of_one_part()))
    text = edit("strength: {shares: 10, rows: 5}", "strength: {shares: 50, rows: 50}", text)
    text = edit("p: [0.01, 0.99]", "p: [0.3, 0.7]", text)  # sound sets are often brought in
    text = edit(
        "    states: [dark, another]\n    given: [light]", "    states: [dark, another]\n    given: [light, lamp]", text
    )
    shorted = "- {when: {lamp: shorted}, p: [0.2, 0.8]}\n      - {when: {light: none}, p: [0.9, 0.1]}"
    text = edit("- {when: {light: none}, p: [0.9, 0.1]}", shorted, text)  # the modes are not brought in alike
    model, n = load_model(write_model(tmp_path, text), use_cache=False), 20
    found = fault_intervals(drawn_belief(Believed(model, Case()), n, seed=2), believe(model, Case()))
    solved = [believe(drawn_model(model, Draws(model, n, 2), number), Case()) for number in range(n)]
    chances = np.sort([belief.marginal("lamp") for belief in solved], axis=0)
    assert chances[1][0] > 0.3
    np.testing.assert_allclose(found.low["lamp"], chances[1], atol=0.001)
    np.testing.assert_allclose(found.high["lamp"], chances[19], atol=0.001)


# -- weights of evidence -----------------------------------------------------------------------------------------------


@every_case
def test_weights_of_evidence_add_up_to_what_the_evidence_did_to_the_odds(name: str) -> None:
    """Good 1950: the weight of all evidence is the sum of the weights, each given those before it."""
    model = backlight()
    case = case_of(model, *CASES[name], nominal=54.0)
    start, end = believe(model, replace(case, events=())), believe(model, case)
    weights = told(name).weights
    for component in dict.fromkeys(weight.component for weight in weights):
        total = log_odds_bits(1 - end.marginal(component)[0]) - log_odds_bits(1 - start.marginal(component)[0])
        assert pytest.approx(total, abs=1e-9) == sum(w.bits for w in weights if w.component == component)
    counted = counted_events(model, case)
    assert [n for n in counted for _ in range(3)] == [weight.event for weight in weights]


def test_a_weight_of_one_bit_doubles_the_odds() -> None:
    model = backlight()
    start, end = believe(model, case_of(model)), believe(model, case_of(model, "strip_tester=dark"))
    (weight,) = (w for w in diagnose(model, case_of(model, "strip_tester=dark")).weights if w.component == "strips")
    before, after = (1 / float(b.marginal("strips")[0]) - 1 for b in (start, end))
    assert isinstance(weight, Weight)
    assert pytest.approx(after / before) == 2**weight.bits
    assert weight.bits > 1


def test_an_event_that_another_replaced_has_no_weight() -> None:
    model = backlight()
    weights = diagnose(model, case_of(model, "bl_on=low", "sound=present", "bl_on=high")).weights
    assert {1, 2} == {weight.event for weight in weights}


# -- surprises ---------------------------------------------------------------------------------------------------------


def test_evidence_that_fits_is_no_surprise() -> None:
    assert told("open strip").surprises == ()
    assert told("nothing").surprises == ()


def test_a_finding_the_rest_makes_unlikely_is_a_surprise_with_its_chance() -> None:
    model = backlight()
    texts = (*OPEN_STRIP, "timing_board_fuse=open")
    case = case_of(model, *texts, nominal=54.0)
    found = {s.event: s for s in diagnose(model, case).surprises if s.kind == "finding"}
    assert [len(OPEN_STRIP)] == list(found)
    for number, surprise in found.items():
        rest = Case(tuple(e for n, e in enumerate(case.events) if n != number), nominal=label(54.0))
        belief = believe(model, rest)
        event = case.events[number]
        states = model.observations[event.observation].states  # type: ignore[union-attr]
        chance = float(belief.marginal(event.observation)[states.index(event.state)])  # type: ignore[union-attr]
        assert pytest.approx(chance) == surprise.value
        assert surprise.value < 0.02


@pytest.mark.parametrize(
    ("volts", "outlier"), [(540.0, True), (300.0, True), (54.0, False), (0.0, False), (65.0, False)]
)
def test_a_reading_out_of_all_reason_is_taken_for_an_outlier(volts: float, outlier: bool) -> None:
    model = backlight()
    found = diagnose(model, case_of(model, *CONFIRMED, f"loaded_voltage={volts:g}", nominal=54.0)).surprises
    readings = [surprise for surprise in found if surprise.kind == "reading"]
    assert ([2] if outlier else []) == [surprise.event for surprise in readings]
    if outlier:
        assert 0.5 < readings[0].value <= 1


def test_the_conflict_of_the_evidence_is_in_nats_against_each_by_itself() -> None:
    """Jensen et al. 1991: sum of log P(e_i) minus log P(e), here all given the complaint."""
    model = without_alterations(backlight())
    texts = (*CONFIRMED, "open_voltage=rises_then_off", "strip_tester=all_light_ok")
    start = believe(model, Case()).log_evidence
    alone = [believe(model, case_of(model, text)).log_evidence - start for text in texts]
    together = believe(model, case_of(model, *texts)).log_evidence - start
    (conflict,) = (s for s in diagnose(model, case_of(model, *texts)).surprises if s.kind == "conflict")
    assert pytest.approx(sum(alone) - together) == conflict.value
    assert conflict.event is None
    assert conflict.unit == "nats"
    assert conflict.is_notable
    named = [alone[n] for n in conflict.apart]
    apart = believe(model, case_of(model, *(texts[n] for n in conflict.apart))).log_evidence - start
    assert pytest.approx(sum(named) - apart) == conflict.apart_nats
    # the driver gives volts, the strips all light, and the torch says that it is not the panel: sound has no part in it
    assert conflict.apart == (1, 2, 3)


def test_a_small_conflict_is_told_exactly_and_not_shown() -> None:
    model = without_alterations(backlight())
    texts = (*CONFIRMED, "strip_tester=dark", "bl_on=low")
    (conflict,) = diagnose(model, case_of(model, *texts)).surprises
    start = believe(model, Case()).log_evidence
    alone = [believe(model, case_of(model, text)).log_evidence - start for text in texts]
    together = believe(model, case_of(model, *texts)).log_evidence - start
    assert pytest.approx(sum(alone) - together) == conflict.value
    assert 0 < conflict.value < 0.5
    assert (conflict.is_notable, conflict.apart) == (False, ())


# -- impossible evidence -----------------------------------------------------------------------------------------------

IMPOSSIBLE: dict[str, tuple[tuple[str, ...], tuple[int, ...]]] = {
    # a bulb cannot be open and short; all else is beside the point
    "two observers at odds": (
        ("seen_again=dark", "filament=open@by:anna", "glow=glows", "filament=short@by:ben"),
        (1, 3),
    ),
    "among three": (("filament=open@by:a", "filament=short@by:b", "filament=conducts@by:c", "seen_again=dark"), (0, 1)),
    "a repair that worked and one that did not": (
        ("seen_again=dark", "new_bulb=works", "glow=glows", "new_battery=not"),
        (1, 3),
    ),
    "soft, and all of it impossible": (
        ("filament=open:1,short:0.5@by:a", "glow=glows", "filament=conducts@by:b"),
        (0, 2),
    ),
}


@pytest.mark.parametrize("name", IMPOSSIBLE)
def test_impossible_evidence_names_the_smallest_set_in_conflict(name: str) -> None:
    texts, expected = IMPOSSIBLE[name]
    model = lamp()
    case = case_of(model, *texts)
    assert expected == smallest_conflict(model, case)
    with pytest.raises(ContradictoryEvidence) as refused:
        diagnose(model, case)
    assert refused.value.exit_code == 6
    assert len(expected) == len(refused.value.conflict)
    for number, line in zip(expected, refused.value.conflict, strict=True):
        assert line.startswith(texts[number].partition("=")[0])
        assert line in str(refused.value)
    engine = model.compiled.engine
    for size in range(len(expected)):  # nothing smaller is impossible, and each part of it is possible
        for numbers in combinations(range(len(texts)), size):
            assert engine.belief(case_steps(model, case, numbers)).log_evidence > -50


# -- turns and what cannot be told apart -------------------------------------------------------------------------------


@every_case
def test_a_turn_puts_another_component_first(name: str) -> None:
    model = backlight()
    for turn in told(name).turns:
        (observation,) = model.tests[turn.test].reveals
        case = case_of(model, *CASES[name], nominal=54.0)
        seen = diagnose(model, case.after(*parse_events(model, [f"{observation}={turn.outcome}"])), n_draws=1)
        assert turn.leading != told(name).leading
        assert turn.leading == seen.leading
        assert pytest.approx(seen.faulty(turn.leading)) == turn.probability
        chance = exp(seen.log_evidence - told(name).log_evidence)
        assert pytest.approx(chance) == turn.chance
    chances = [turn.chance for turn in told(name).turns]
    assert sorted(chances, reverse=True) == chances


def test_no_likelier_turn_is_left_out() -> None:
    """All outcomes of all open tests, by brute force over the worlds."""
    model = backlight()
    answers = Answers(Worlds(model), case_of(model, *CONFIRMED))
    is_mode = model.compiled.is_mode
    starts = np.cumsum([0, *(len(c.modes) for c in model.components.values())])[:-1]
    found = []
    for test in model.tests.values():
        if test.id in ("sound", "flashlight"):
            continue
        table = answers.outcomes(test.reveals)
        for state, row in zip(model.observations[test.id].states, table, strict=True):
            faulty = np.add.reduceat(row / row.sum() @ is_mode, starts)
            if list(model.components)[int(np.argmax(faulty))] != told("confirmed").leading:
                found.append((float(row.sum()), test.id, state))
    wanted = [(test, state) for _, test, state in sorted(found, reverse=True)[:3]]
    assert wanted == [(turn.test, turn.outcome) for turn in told("confirmed").turns]


def outcome_distance(model: Model, one: str, other: str, tests: Sequence[str]) -> float:
    """The largest total variation between two single faults over these tests."""
    compiled = model.compiled
    single = compiled.n_faults == 1
    names = [str(mode) for mode in model.modes]
    numbers = [int(np.flatnonzero(single & (compiled.is_mode[:, names.index(m)] > 0))[0]) for m in (one, other)]
    largest = 0.0
    for test in tests:
        table = compiled.engine.prior.outcomes(model.tests[test].reveals)[:, numbers]
        chances = table / table.sum(axis=0)
        largest = max(largest, 0.5 * float(np.abs(chances[:, 0] - chances[:, 1]).sum()))
    return largest


def test_faults_that_no_open_test_tells_apart_are_named_together() -> None:
    model = backlight()
    late = [*CONFIRMED]
    for test in model.tests.values():
        if test.id not in ("sound", "flashlight", "swap_board", "timing_board_fuse"):
            late.append(f"{test.reveals[0]}={model.observations[test.reveals[0]].states[0]}")
    found = diagnose(model, case_of(model, *late))
    open_tests = ["swap_board", "timing_board_fuse"]
    assert found.inseparable
    for group in found.inseparable:
        for other in group[1:]:
            assert outcome_distance(model, group[0], other, open_tests) <= 0.05 + 1e-9
    groups = [set(group) for group in found.inseparable]
    assert any({"strips.open", "strips.shorted"} <= group for group in groups)
    assert not any({"panel.no_video", "strips.open"} <= group for group in groups)
    assert all(one.isdisjoint(other) for one, other in pairwise(groups))


def test_a_fresh_case_separates_faults_that_any_test_separates() -> None:
    model = backlight()
    tests = [test for test in model.tests if test not in ("sound", "flashlight")]
    for group in told("confirmed").inseparable:
        assert all(outcome_distance(model, group[0], other, tests) <= 0.05 + 1e-9 for other in group[1:])
    named = {mode for group in told("confirmed").inseparable for mode in group}
    assert outcome_distance(model, "strips.open", "driver.dead", tests) > 0.05
    assert not {"strips.open", "driver.dead"} <= named


def test_the_frame_has_the_fields_of_a_fault_as_plain_columns() -> None:
    frame = told("confirmed").to_frame()
    assert list(frame.columns) == ["component", "mode", "probability", "low", "high", "source", "jobs"]
    assert list(range(len(frame))) == list(frame.index)
    assert "".join(frame[c].dtype.kind for c in ("probability", "low", "high", "jobs")) == "fffi"


def test_a_weight_that_is_only_rounding_is_nought_without_a_sign() -> None:
    weights = [
        w.bits for w in told("confirmed").weights if w.event == 0
    ]  # sound guards the complaint, and moves nothing
    assert weights
    assert [str(bits) for bits in weights] == ["0.0"] * len(weights)


def test_the_frame_has_a_row_for_every_component_and_state() -> None:
    frame = told("confirmed").to_frame()
    states = sum(len(c.states) for c in backlight().components.values())
    assert states == len(frame)
    assert pytest.approx(len(backlight().components)) == frame["probability"].sum()
    assert pytest.approx(log(0.05) - log(0.95)) == log(
        told("confirmed").two_or_more / (1 - told("confirmed").two_or_more)
    )
