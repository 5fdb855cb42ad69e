"""The model for intake against the trade's notes and against plain sums over family and block. Reasoned numbers.

Nobody has measured these numbers; the tables below are the trade's notes as they were written down for this project.
"""

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from itertools import product
from math import log

import numpy as np
import pytest
from test_diagnosis import drawn_model

from faultnet.case import Case, believe, parse_events
from faultnet.case.believed import Believed
from faultnet.cpt import Floats
from faultnet.diagnosis import Diagnosis, diagnose
from faultnet.diagnosis.drawn_belief import drawn_belief
from faultnet.diagnosis.intervals import fault_intervals
from faultnet.engine.interface import ENGINES
from faultnet.files import load_model
from faultnet.model.draws import Draws
from faultnet.model.model import Model
from faultnet.network import Network
from faultnet.ranking import rank_tests

BLOCKS = (
    "mains",
    "standby_supply",
    "main_supply",
    "main_board",
    "led_side",
    "led_driver",
    "timing_board",
    "panel",
    "flat_cable",
    "settings",
    "audio",
    "other",
)
SHARES_BY_FAMILY: Mapping[str, tuple[float, ...]] = {
    "no_power": (0.12, 0.33, 0.22, 0.25, 0.01, 0, 0, 0.01, 0, 0.03, 0, 0.03),
    "no_start": (0.02, 0.08, 0.25, 0.36, 0.14, 0.05, 0.01, 0.02, 0, 0.05, 0, 0.02),
    "shuts_down": (0.01, 0.01, 0.17, 0.17, 0.42, 0.11, 0.02, 0.03, 0, 0.04, 0, 0.02),
    "sound_no_backlight": (0, 0, 0.05, 0.055, 0.67, 0.14, 0.015, 0.02, 0, 0.03, 0, 0.02),
    "half_dark": (0, 0, 0, 0.01, 0.80, 0.12, 0, 0.02, 0, 0, 0, 0.05),
    "lit_no_picture": (0, 0, 0.03, 0.22, 0, 0, 0.33, 0.25, 0.12, 0.04, 0, 0.01),
    "lines": (0, 0, 0, 0.05, 0, 0, 0.10, 0.72, 0.11, 0, 0, 0.02),
    "no_sound": (0, 0, 0.05, 0.45, 0, 0, 0, 0, 0, 0.25, 0.22, 0.03),
    "flicker": (0, 0, 0.15, 0.08, 0.51, 0.15, 0.01, 0.03, 0, 0.06, 0, 0.01),
}
FAMILY_SHARES = {
    "no_power": 0.16,
    "no_start": 0.12,
    "shuts_down": 0.10,
    "sound_no_backlight": 0.22,
    "half_dark": 0.08,
    "lit_no_picture": 0.09,
    "lines": 0.13,
    "no_sound": 0.04,
    "flicker": 0.06,
}
FAMILIES = tuple(FAMILY_SHARES)
LEAST_SHARE = 0.002
"""What stands for a zero of the table (reasoned); rows are scaled to 1 again."""

WITHIN = 0.005

# What each finding is by the definition of the kind of trouble; the findings that a definition leaves open are missing.
DEFINED = {
    "no_power": {
        "sound": "absent",
        "light": "none",
        "flashlight": "no_image",
        "standby_light": "dark",
        "blinks": "no_blinks",
        "restarts": "no_restarts",
    },
    "no_start": {
        "sound": "absent",
        "light": "none",
        "flashlight": "no_image",
        "standby_light": "lights",
        "restarts": "no_restarts",
    },
    "shuts_down": {"sound": "stops", "light": "goes_out", "standby_light": "lights", "restarts": "restarts"},
    "sound_no_backlight": {"sound": "present", "light": "none", "flashlight": "image_seen"},
    "half_dark": {"sound": "present", "light": "part", "flashlight": "image_seen"},
    "lit_no_picture": {"light": "steady", "flashlight": "no_image"},
    "lines": {"sound": "present", "light": "steady", "flashlight": "image_seen"},
    "no_sound": {"sound": "absent", "light": "steady", "flashlight": "image_seen"},
    "flicker": {"sound": "present", "light": "unsteady", "flashlight": "image_seen"},
}
RUNS = {"standby_light": "lights", "blinks": "no_blinks", "restarts": "no_restarts"}
WRONG = {"sound": 0.05, "light": 0.05, "standby_light": 0.05, "flashlight": 0.15, "blinks": 0.15, "restarts": 0.15}

every_family = pytest.mark.parametrize("family", FAMILIES)


@cache
def intake() -> Model:
    return load_model("intake")


def case_of(*texts: str, **given: str) -> Case:
    return Case(parse_events(intake(), texts), given=given)


def told(*texts: str, **given: str) -> Diagnosis:
    return diagnose(intake(), case_of(*texts, **given))


def defined(family: str) -> dict[str, str]:
    """Every finding that follows from what the kind of trouble is."""
    return {**({} if family in ("no_power", "no_start", "shuts_down") else RUNS), **DEFINED[family]}


def table_row(family: str) -> Floats:
    row = np.array([share or LEAST_SHARE for share in SHARES_BY_FAMILY[family]])
    return row / row.sum()


def rows_of(observation: str) -> Floats:
    """P(state | family) as written, in the order of the families: ``(9, n_states)``."""
    seen = intake().observations[observation]
    return np.array(
        [
            next(row.probabilities for row in seen.table if family in row.when.get("family", (family,)))
            for family in FAMILIES
        ]
    )


# -- numbers ---------------------------------------------------------------------------------------------------------


def test_the_table_of_the_notes_adds_up() -> None:
    assert [round(sum(row), 9) for row in SHARES_BY_FAMILY.values()] == [1] * len(FAMILIES)
    assert pytest.approx(1) == sum(FAMILY_SHARES.values())


def test_the_families_come_back_with_their_shares() -> None:
    chances = believe(intake(), case_of()).marginal("family")
    assert intake().conditions["family"].states == FAMILIES
    assert np.abs(chances - list(FAMILY_SHARES.values())).max() < WITHIN


@every_family
def test_the_blocks_of_a_family_come_back_with_their_shares(family: str) -> None:
    chances = believe(intake(), case_of(family=family)).marginal("block")
    assert intake().components["block"].states == ("ok", *BLOCKS)
    assert chances[0] == 0
    assert np.abs(chances[1:] - table_row(family)).max() < WITHIN
    assert np.abs(chances[1:] - SHARES_BY_FAMILY[family]).max() < 0.015  # the floors cost the others little


def test_the_shares_of_the_blocks_are_those_of_the_table_over_all_families() -> None:
    stated = np.array([mode.share for mode in intake().components["block"].modes])
    over_all = sum(FAMILY_SHARES[family] * table_row(family) for family in FAMILIES)
    assert np.abs(stated - over_all).max() < 1e-5


def test_there_is_one_fault_at_a_time_and_always_one() -> None:
    diagnosis = told()
    assert (diagnosis.nothing_found, diagnosis.two_or_more) == (0, 0)
    assert pytest.approx(1) == diagnosis.faulty("block")
    assert diagnose(intake(), Case(with_complaint=False)).nothing_found > 0.5


@every_family
def test_findings_follow_from_the_definition_and_are_wrong_as_often_as_the_notes_say(family: str) -> None:
    belief = believe(intake(), case_of(family=family))
    for observation, state in defined(family).items():
        chances = dict(zip(intake().observations[observation].states, belief.marginal(observation), strict=True))
        assert pytest.approx(1 - WRONG[observation]) == chances[state], observation
    open_ones = set(WRONG) - set(defined(family))
    assert len(open_ones) <= 2
    for observation in open_ones - {"sound"}:
        assert pytest.approx([0.5, 0.5]) == list(belief.marginal(observation)), observation


@every_family
def test_what_the_customer_reports_is_right_in_four_of_five(family: str) -> None:
    chances = believe(intake(), case_of(family=family)).marginal("reported")
    assert pytest.approx(0.80) == chances[FAMILIES.index(family)]
    assert min(chances) > 0.0049


def test_the_family_written_at_intake_is_right_as_often_as_the_notes_say() -> None:
    # notes: "right about .80 of the time, .95 after sound and torch have been tried: sound? light? image under a torch?
    # standby light? come first", reasoned
    prior = np.array(list(FAMILY_SHARES.values()))[:, None]
    seen = [rows_of(observation) for observation in ("reported", "sound", "light", "flashlight", "standby_light")]
    alone = (prior * seen[0]).max(axis=0).sum()
    outcomes = prior
    for rows in seen:
        outcomes = (outcomes[:, :, None] * rows[:, None, :]).reshape(len(FAMILIES), -1)
    assert pytest.approx(0.80, abs=0.02) == alone
    assert pytest.approx(0.95, abs=0.03) == outcomes.max(axis=0).sum()


# -- inference -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "texts",
    [
        (),
        ("sound=absent",),
        ("reported=no_power", "sound=present", "light=none"),
        ("sound=present", "light=none", "flashlight=image_seen", "standby_light=lights"),
        ("sound=absent:0.7,stops:0.4", "restarts=restarts", "blinks=blinks"),
        ("light=part", "light=steady", "torch=no_image"),
    ],
)
@pytest.mark.parametrize("engine", ENGINES)
def test_beliefs_are_plain_sums_over_family_and_block(texts: tuple[str, ...], engine: str) -> None:
    likelihood = np.ones(len(FAMILIES))
    for name, value in {text.split("=")[0]: text.split("=")[1] for text in texts}.items():
        observation = {"torch": "flashlight"}.get(name, name)
        states = intake().observations[observation].states
        soft = {s.split(":")[0]: float(s.split(":")[1]) if ":" in s else 1.0 for s in value.split(",")}
        likelihood *= rows_of(observation) @ np.array([soft.get(state, 0.0) for state in states])
    joint = np.array([FAMILY_SHARES[f] * table_row(f) * p for f, p in zip(FAMILIES, likelihood, strict=True)])
    belief = believe(replace(intake(), engine=engine), case_of(*texts))
    assert belief.marginal("family") == pytest.approx(joint.sum(axis=1) / joint.sum(), abs=1e-4)
    assert belief.marginal("block")[1:] == pytest.approx(joint.sum(axis=0) / joint.sum(), abs=1e-4)
    not_working = believe(intake(), case_of()).log_evidence
    assert pytest.approx(log(joint.sum()), abs=1e-4) == belief.log_evidence - not_working


@every_family
def test_the_findings_of_a_definition_name_the_family(family: str) -> None:
    diagnosis = told(*(f"{observation}={state}" for observation, state in defined(family).items()))
    leading = diagnosis.likeliest("family")
    assert leading.state == family
    assert leading.probability > (0.7 if family == "lit_no_picture" else 0.85)
    assert leading.low <= leading.probability <= leading.high
    faults = {fault.mode: fault.probability for fault in diagnosis.faults}
    leading_block = max(BLOCKS, key=lambda block: faults[block])
    assert leading_block in [BLOCKS[n] for n in np.argsort(table_row(family))[-2:]]


def test_the_kind_of_trouble_is_part_of_the_diagnosis() -> None:
    diagnosis = told("sound=absent")
    assert [c.state for c in diagnosis.conditions] == list(FAMILIES)
    assert pytest.approx(1) == sum(c.probability for c in diagnosis.conditions)
    assert all(c.condition == "family" and 0 <= c.low <= c.probability <= c.high <= 1 for c in diagnosis.conditions)
    assert any(c.high - c.low > 0.3 for c in diagnosis.conditions)
    assert {w.component for w in diagnosis.weights} == {"family.no_power", "family.no_start", "family.no_sound"}


def test_intervals_agree_with_solving_every_draw_anew() -> None:
    """What odds factors change is taken to first order, as in the tests of diagnosis."""
    n = 20
    model, case = intake(), case_of("sound=absent", "flashlight=no_image")
    found = fault_intervals(drawn_belief(Believed(model, case), n, seed=2), believe(model, case))
    solved = [believe(drawn_model(model, Draws(model, n, 2), number), case) for number in range(n)]
    for node in ("family", "block"):
        chances = np.sort([belief.marginal(node) for belief in solved], axis=0)
        point = believe(model, case).marginal(node)
        np.testing.assert_allclose(found.low[node], np.minimum(chances[1], point), atol=0.01)
        np.testing.assert_allclose(found.high[node], np.maximum(chances[19], point), atol=0.01)
        assert (chances[19] - chances[1]).max() > 0.1  # else the comparison would say nothing


def test_both_engines_price_the_tests_alike() -> None:
    case = case_of("sound=absent")
    table, tree = (rank_tests(replace(intake(), engine=kind), case).tests for kind in ("table", "tree"))
    assert {t.test: pytest.approx(t.gain_repair_bits, abs=1e-10) for t in tree} == {
        t.test: t.gain_repair_bits for t in table
    }


# -- what to do ------------------------------------------------------------------------------------------------------


def test_every_step_is_free() -> None:
    assert set(intake().tests) == set(WRONG)
    assert not intake().repairs
    for test in rank_tests(intake(), case_of()).tests:
        assert (test.step.hazard, test.step.setup, test.step.cautions) == (0, (), ())


@every_family
def test_sound_light_torch_and_standby_light_come_before_blinking_and_restarts(family: str) -> None:
    case, asked = case_of(), list[str]()
    answers = {**dict.fromkeys(WRONG, ""), **RUNS, "sound": "present", "flashlight": "no_image", **defined(family)}
    while (advice := rank_tests(intake(), case).advice).kind == "test":
        asked.append(advice.id)
        case = case.after(*parse_events(intake(), [f"{advice.id}={answers[advice.id]}"]))
    assert asked[:2] == ["sound", "light"]
    assert advice.kind == "stop"
    late = [n for n, test in enumerate(asked) if test in ("blinks", "restarts")]
    assert "standby_light" in asked[: late[0]] if late else True
    assert diagnose(intake(), case).likeliest("family").state == family


def test_tests_are_ordered_by_what_they_tell_about_the_family() -> None:
    ranking = rank_tests(intake(), case_of())
    prior = np.array(list(FAMILY_SHARES.values()))
    for test in ranking.tests:
        joint = prior[:, None] * rows_of(test.test)
        gain = float((joint * np.log2(joint / joint.sum(axis=0) / prior[:, None])).sum())
        assert pytest.approx(gain, abs=1e-5) == test.gain_repair_bits
        assert test.gain_bits < test.gain_repair_bits
    assert "the kind of trouble" in ranking.advice.why or "comes before" in ranking.advice.why


NO_BACKLIGHT = ("sound=present", "light=none", "flashlight=image_seen")


def test_it_goes_on_with_the_model_of_the_family() -> None:
    onward = told(*NO_BACKLIGHT).next_model
    assert onward is not None
    assert (onward.state, set(onward.models)) == ("sound_no_backlight", {"backlight", "backlight_combined"})
    assert [(name, state, pytest.approx(chance)) for name, state, chance, _ in onward.refused] == [
        ("light_source", "fluorescent_lamp", 0.03),
        ("light_source", "self_lit", 0.04),
    ]


@pytest.mark.parametrize("source", ["fluorescent_lamp", "self_lit"])
def test_no_model_is_named_for_a_set_that_none_fits(source: str) -> None:
    onward = told(*NO_BACKLIGHT, light_source=source).next_model
    assert onward is not None
    assert onward.models == {}
    assert [(state, chance) for _, state, chance, _ in onward.refused] == [(source, 1.0)]


def test_an_led_backlight_leaves_nothing_to_refuse() -> None:
    onward = told(*NO_BACKLIGHT, light_source="led").next_model
    assert onward is not None
    assert (len(onward.models), onward.refused) == (2, ())


@pytest.mark.parametrize("family", [family for family in FAMILIES if family != "sound_no_backlight"])
def test_the_other_families_have_no_model_yet(family: str) -> None:
    onward = told(*(f"{o}={s}" for o, s in defined(family).items()), light_source="self_lit").next_model
    assert onward is not None
    assert (onward.state, onward.models, onward.refused) == (family, {}, ())


def test_the_light_source_says_nothing_about_the_kind_of_trouble() -> None:
    for source, family in product(("led", "self_lit"), FAMILIES):
        belief = believe(intake(), case_of("sound=present", light_source=source))
        plain = believe(intake(), case_of("sound=present"))
        number = FAMILIES.index(family)
        assert pytest.approx(plain.marginal("family")[number], abs=1e-12) == belief.marginal("family")[number]
    network: Network = intake().compiled.network
    assert "light_source" not in network.with_children
