"""The model for sets whose LED driver sits on the supply board: its numbers, brute force, and rules of the trade.

Its tables are those of the trade's notes, as for `backlight`; rules of thumb are common practice, no source.
"""

from functools import cache

import numpy as np
import pytest
from brute import Answers, Worlds
from labels import label
from test_backlight_numbers import CONFIRMED, MOST_FROM_TABLE, TABLES
from test_cli import run
from test_rules_of_thumb import OPEN_STRIP, PATHS

from faultnet.case import Case, believe, parse_events
from faultnet.engine.joint import Belief
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.ranking import Ranking, rank_tests
from faultnet.settings import ShopSettings

BOARD = "supply_board"
SAME_AS = {
    "settings.wrong": ("settings.backlight_off", "settings.dimmed", "settings.black_picture"),
    "supply.feed_fault": (f"{BOARD}.feed_missing", f"{BOARD}.feed_sags"),
    "driver.dead": (f"{BOARD}.driver_dead", f"{BOARD}.driver_dead_loads_feed"),
    "driver.false_trip": (f"{BOARD}.driver_false_trip",),
}
"""Faults of the tables that this model names otherwise."""

NOMINALS = (37.0, 54.0, 88.0, 132.0)
every_nominal = pytest.mark.parametrize("nominal", NOMINALS)
every_number_of_points = pytest.mark.parametrize("points", [1, 5])


@cache
def combined() -> Model:
    return load_model("backlight_combined")


@cache
def worlds() -> Worlds:
    return Worlds(combined())


def believed(*texts: str, nominal: float | None = None) -> Belief:
    return believe(combined(), Case(parse_events(combined(), (*CONFIRMED, *texts)), nominal=label(nominal)))


def faulty(belief: Belief, *components: str) -> float:
    return 1 - float(belief.joint(components).flat[0])


def led_side(belief: Belief) -> float:
    return faulty(belief, *combined().groups["led_side"].components)


# -- numbers ------------------------------------------------------------------------------------------------------


def test_the_shares_are_those_of_the_trade_and_come_back() -> None:
    stated = {str(mode): share for mode, share in combined().shares.items()}
    for fault, share in TABLES["shares"].items():
        assert pytest.approx(share, abs=1e-9) == sum(stated[mode] for mode in SAME_AS.get(fault, (fault,))), fault
    found = believed().targets @ combined().compiled.is_mode
    assert max(abs(p - stated[str(mode)]) for mode, p in zip(combined().modes, found, strict=True)) <= 0.02


def test_two_faults_at_once_are_as_rare_as_the_trade_says_and_mostly_a_strip_that_took_the_driver_along() -> None:
    # trade: "two faults at once in .03-.06 of jobs (a shorted strip with a dead driver most of it)", reasoned
    belief = believed()
    several = float(belief.targets[combined().compiled.n_faults >= 2].sum())
    assert 0.03 <= several <= 0.06
    states = combined().components[BOARD].states
    joint = belief.joint(("strips", BOARD))
    shorted = combined().components["strips"].states.index("shorted")
    assert float(joint[shorted, [n for n, s in enumerate(states) if s.startswith("driver_dead")]].sum()) > 0.5 * several


def test_every_single_fault_row_stays_near_the_table() -> None:
    compiled = combined().compiled
    stated = {str(mode): share for mode, share in combined().shares.items()}
    names = [str(mode) for mode in combined().modes]
    compared = 0
    for observation, table in TABLES["observations"].items():
        outcomes = believe(combined(), Case()).outcomes((observation,))
        for fault, wanted in table["p"].items():
            modes = SAME_AS.get(fault, (fault,))
            single = [(compiled.n_faults == 1) & (compiled.is_mode[:, names.index(mode)] > 0) for mode in modes]
            rows = np.array([outcomes[:, s].sum(axis=1) / outcomes[:, s].sum() for s in single])
            weights = np.array([stated[mode] for mode in modes])
            assert np.abs(weights @ rows / weights.sum() - wanted).max() <= MOST_FROM_TABLE, (observation, fault)
            compared += 1
    assert compared == len(TABLES["observations"]) * len(TABLES["shares"])


BRUTE_CASES: dict[str, tuple[tuple[str, ...], float | None]] = {
    "volts": (("sound=present", "loaded_voltage=0.4,0.3", "open_voltage=61", "bl_on=high"), 54.0),
    "a repair in between": (("strip_tester=all_light_ok", "replace_supply_board=not", "feed_rail=missing"), None),
}


@pytest.mark.parametrize("name", BRUTE_CASES)
def test_beliefs_agree_with_brute_force_over_all_worlds(name: str) -> None:
    texts, nominal = BRUTE_CASES[name]
    case = Case(parse_events(combined(), texts), nominal=label(nominal))
    belief, answers = believe(combined(), case), Answers(worlds(), case)
    assert pytest.approx(answers.log_evidence, abs=1e-9) == belief.log_evidence
    for component in combined().components:
        np.testing.assert_allclose(belief.marginal(component), answers.marginal(component), atol=1e-10)


# -- one board ----------------------------------------------------------------------------------------------------


def test_one_repair_cures_supply_and_driver() -> None:
    # trade, section 3: supply board with driver, .93, 25 to 40 min, parts 30 to 90; reasoned
    (repair,) = [repair for repair in combined().repairs.values() if BOARD in repair.fixes]
    assert (repair.id, repair.fixes, repair.success) == ("replace_supply_board", (BOARD,), 0.93)
    assert (repair.minutes_by_size[0], repair.minutes_by_size[-1]) == (25, 40)
    assert set(zip(repair.parts_low, repair.parts_high, strict=True)) == {(30, 90)}
    assert {"replace_driver", "replace_supply"} <= set(repair.also)


def test_telling_the_feed_from_the_driver_is_worth_less_than_where_they_are_two_boards() -> None:
    def share_of_gain(name: str) -> float:
        model = load_model(name)
        texts = (*CONFIRMED, "strip_tester=all_light_ok", "bl_on=high", "open_voltage=0")
        tests = rank_tests(model, Case(parse_events(model, texts))).tests
        (feed,) = (test for test in tests if test.test == "feed_rail")
        return feed.gain_repair_bits / feed.gain_bits

    assert share_of_gain("backlight_combined") < 0.5 * share_of_gain("backlight")


def test_measuring_on_the_board_warns_of_the_mains_side_next_to_it() -> None:
    near = {test.id for test in combined().tests.values() if "mains_side_near" in [c.id for c in test.cautions]}
    powered = {test.id for test in combined().tests.values() if test.hazard == 3 and test.needs["mains"] == "on"}
    assert near == powered
    assert "feed_rail" in near


# -- rules of thumb -----------------------------------------------------------------------------------------------


@every_nominal
@every_number_of_points
def test_every_point_at_nominal_says_look_elsewhere(nominal: float, points: int) -> None:
    before, now = believed(nominal=nominal), believed(f"loaded_voltage={nominal:g}x{points}", nominal=nominal)
    assert led_side(now) < led_side(before)
    assert faulty(now, BOARD) < faulty(before, BOARD) / 2
    assert faulty(now, "panel") > 2 * faulty(before, "panel")


@every_nominal
@every_number_of_points
def test_nothing_loaded_and_volts_unplugged_says_strips(nominal: float, points: int) -> None:
    volts = f"{0.86 * nominal:.2f}x{points}"
    for known in (nominal, None):
        now = believed(f"loaded_voltage=0x{points}", f"open_voltage={volts}", nominal=known)
        assert led_side(now) > max(0.6, faulty(now, BOARD))


@every_nominal
@every_number_of_points
def test_nothing_loaded_and_nothing_unplugged_from_switch_on_says_the_board(nominal: float, points: int) -> None:
    for known in (nominal, None):
        now = believed(f"loaded_voltage=0x{points}", f"open_voltage=0x{points}", nominal=known)
        assert faulty(now, BOARD) > led_side(now)


@every_nominal
def test_a_settled_zero_unplugged_is_no_evidence_against_the_board(nominal: float) -> None:
    before = believed("loaded_voltage=0", nominal=nominal)
    settled = believed("loaded_voltage=0", "open_voltage=0@settled", nominal=nominal)
    assert faulty(settled, BOARD) < 1.2 * faulty(before, BOARD)


def follow(path: str, *, trained: bool) -> tuple[list[str], Ranking]:
    """The tests that the advice leads through on this path, and where it ends."""
    answers = {**OPEN_STRIP, **PATHS[path]}
    case, asked = Case(nominal=label(54)), list[str]()
    while len(asked) <= len(combined().tests):
        ranking = rank_tests(combined(), case, settings=ShopSettings(trained=trained))
        if ranking.advice.id == "reset_settings":
            case = case.after(*parse_events(combined(), ["reset_settings=not"]))
        elif ranking.advice.kind != "test":
            return asked, ranking
        else:
            asked.append(ranking.advice.id)
            case = case.after(*parse_events(combined(), [f"{asked[-1]}={answers[asked[-1]]}"]))
    raise AssertionError(f"{path}: the advice goes round in circles: {asked}")


@pytest.mark.parametrize(
    ("path", "repair"),
    [
        ("open strip", "replace_strips"),
        ("dead driver", "replace_supply_board"),
        ("feed missing", "replace_supply_board"),
    ],
)
def test_the_advice_ends_in_the_repair_that_fits(path: str, repair: str) -> None:
    asked, end = follow(path, trained=True)
    assert asked[:3] == ["sound", "flashlight", "startup_flash"]
    assert "strip_tester" in asked
    assert (end.advice.kind, end.advice.id) == ("repair", repair)


def test_an_untrained_bench_is_led_to_hand_over() -> None:
    asked, end = follow("dead driver", trained=False)
    assert end.advice.kind == "hand_over"
    assert max(combined().tests[test].hazard for test in asked) <= 1


def test_the_answer_keeps_to_80_columns() -> None:
    events = ("sound=present", "torch=image_seen", "flash=none", "loaded=0.1", "tester=dark", "driver=nothing")
    text = run("next", "backlight_combined", *events[:-1], "--full", "--trained", "--nominal", "54").stdout
    assert "supply and driver board" in text
    assert [line for line in text.splitlines() if len(line) > 80] == []
    assert "a part" in run("next", "backlight_combined", events[-1], expect=2).stderr
