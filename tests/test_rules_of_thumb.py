"""What a bench procedure teaches about voltages, and in which order the advice goes. Common practice, no source.

These are weights, not certainties: directions are asked for, and the few numbers beside them are reasoned.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import pytest
from labels import label

from faultnet.case import Case, believe, parse_events
from faultnet.diagnosis import diagnose
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.model.work import BenchState
from faultnet.ranking import Ranking, rank_tests
from faultnet.repairs import rank_repairs
from faultnet.settings import ShopSettings

CONFIRMED = ("sound=present", "flashlight=image_seen")
NOMINALS = (37.0, 54.0, 88.0, 132.0)
POINTS = (1, 2, 5, 8)

every_nominal = pytest.mark.parametrize("nominal", NOMINALS)
every_number_of_points = pytest.mark.parametrize("points", POINTS)


@cache
def backlight() -> Model:
    return load_model("backlight")


@dataclass(frozen=True)
class Chances:
    """P(anything wrong) on the LED side, in driver or supply, in the driver, the panel and the settings."""

    led_side: float
    driver_side: float
    driver: float
    panel: float
    settings: float


def after(*texts: str, nominal: float | None = None) -> Chances:
    """What is believed after the confirmed complaint and these events."""
    model = backlight()
    belief = believe(model, Case(parse_events(model, (*CONFIRMED, *texts)), nominal=label(nominal)))

    def faulty(*components: str) -> float:
        return 1 - float(belief.joint(components).flat[0])

    return Chances(
        led_side=faulty(*model.groups["led_side"].components),
        driver_side=faulty(*model.groups["driver_side"].components),
        driver=faulty("driver"),
        panel=faulty("panel"),
        settings=faulty("settings"),
    )


def odds(chance: float) -> float:
    return chance / (1 - chance)


# -- nominal known -----------------------------------------------------------------------------------------------------


@every_nominal
@every_number_of_points
def test_every_point_at_nominal_says_look_elsewhere_than_the_strips(nominal: float, points: int) -> None:
    before, now = after(nominal=nominal), after(f"loaded_voltage={nominal:g}x{points}", nominal=nominal)
    assert odds(now.led_side) <= odds(before.led_side) / 2
    assert now.driver_side < before.driver_side / 2
    assert now.panel > 2 * before.panel
    assert now.settings > 2 * before.settings


@every_nominal
@every_number_of_points
@pytest.mark.parametrize("loaded", [0.0, 0.3])
def test_nothing_loaded_and_volts_unplugged_says_strips(nominal: float, points: int, loaded: float) -> None:
    now = after(f"loaded_voltage={loaded:g}x{points}", f"open_voltage={0.86 * nominal:.2f}x{points}", nominal=nominal)
    assert now.led_side > 0.6
    assert now.led_side > now.driver_side
    assert now.led_side > after(nominal=nominal).led_side


@every_nominal
@every_number_of_points
def test_nothing_loaded_and_nothing_unplugged_from_switch_on_says_driver_or_supply(nominal: float, points: int) -> None:
    now = after(f"loaded_voltage=0x{points}", f"open_voltage=0x{points}", nominal=nominal)
    assert now.driver_side > now.led_side


@every_nominal
@every_number_of_points
def test_a_settled_zero_unplugged_is_no_evidence_against_the_driver(nominal: float, points: int) -> None:
    """A good driver rises and latches off; watched from switch-on the same 0 V would have said a lot."""
    for loaded in ((), (f"loaded_voltage=0x{points}",)):
        before = after(*loaded, nominal=nominal)
        settled = after(*loaded, f"open_voltage=0x{points}@settled", nominal=nominal)
        watched = after(*loaded, f"open_voltage=0x{points}", nominal=nominal)
        assert odds(settled.driver) < 1.2 * odds(before.driver)
        assert odds(watched.driver) > 2 * odds(before.driver)
        assert settled.led_side > settled.driver_side


@every_nominal
def test_a_rail_passed_through_loaded_and_unplugged_says_driver_more_than_volts_that_appear(nominal: float) -> None:
    """24 V at both is the input rail; 0 V loaded shows that no rail is passed through, so 24 V unplugged is made."""
    both = after("loaded_voltage=24", "open_voltage=24", nominal=nominal)
    appears = after("loaded_voltage=0", "open_voltage=24", nominal=nominal)
    assert both.driver > 1.5 * appears.driver


# -- nominal unknown ---------------------------------------------------------------------------------------------------


@every_nominal
@every_number_of_points
def test_with_the_nominal_unknown_off_and_up_keep_their_direction(nominal: float, points: int) -> None:
    before = after()
    nothing = after(f"loaded_voltage=0x{points}", f"open_voltage=0x{points}")
    volts = after(f"loaded_voltage=0x{points}", f"open_voltage={0.86 * nominal:.2f}x{points}")
    assert nothing.driver_side > nothing.led_side
    assert nothing.driver_side > before.driver_side
    assert volts.led_side > 0.6
    assert volts.led_side > max(volts.driver_side, before.led_side)


def test_with_the_nominal_unknown_a_loaded_voltage_tells_less_than_with_it_known() -> None:
    before, unknown, known = after(), after("loaded_voltage=54"), after("loaded_voltage=54", nominal=54)
    assert before.panel < unknown.panel < known.panel


# -- surprises ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("open_voltage", ["rises_then_off", "65"])
def test_all_strips_lighting_after_volts_unplugged_is_a_surprise_and_no_error(open_voltage: str) -> None:
    model = backlight()
    case = Case(parse_events(model, (*CONFIRMED, f"open_voltage={open_voltage}")), nominal=label(54))
    told = diagnose(model, case.after(*parse_events(model, ["strip_tester=all_light_ok"])))
    assert [surprise.kind for surprise in told.surprises] == ["conflict"]
    assert told.surprises[0].value > 0.5
    assert told.surprises[0].unit == "nats"
    expected = diagnose(model, case.after(*parse_events(model, ["strip_tester=dark"])))
    assert expected.surprises == ()


# -- the order of the advice -------------------------------------------------------------------------------------------

# What each test shows on a set with an open strip, and what differs with other causes. Reasoned.
OPEN_STRIP = {
    "sound": "present",
    "flashlight": "image_seen",
    "startup_flash": "flash_then_off",
    "blink_code": "normal_on",
    "visual": "nothing",
    "fuses": "ok",
    "feed_rail": "ok",
    "bl_on": "high",
    "dimming": "present",
    "loaded_voltage": "off_level",
    "loaded_voltage_peak": "above",
    "open_voltage": "rises_then_off",
    "strip_tester": "dark",
    "known_load": "drives_load",
    "diode_test": "over_range",
    "tap_test": "no_change",
    "thermal": "nothing",
    "capacitor_esr": "ok",
    "timing_board_fuse": "ok",
    "swap_board": "still_dark",
}
NO_DRIVE = {"startup_flash": "none", "loaded_voltage_peak": "none", "open_voltage": "zero", "known_load": "does_not"}
GOOD_STRIPS = {"strip_tester": "all_light_ok"}
WORKING = {
    "startup_flash": "stays_lit",
    "loaded_voltage": "normal",
    "loaded_voltage_peak": "near_normal",
    **GOOD_STRIPS,
}
PATHS: dict[str, dict[str, str]] = {
    "open strip": {},
    "open strip, in volts": {"loaded_voltage": "0x4", "loaded_voltage_peak": "64x4", "open_voltage": "65x4"},
    "shorted LEDs": {"loaded_voltage_peak": "below", "strip_tester": "abnormal"},
    "cable": {"startup_flash": "none", "visual": "burnt_or_loose_conn", "tap_test": "changes"},
    "dead driver": {**NO_DRIVE, **GOOD_STRIPS, "visual": "burnt_driver_part", "swap_board": "works"},
    "feed missing": {**NO_DRIVE, **GOOD_STRIPS, "feed_rail": "missing", "swap_board": "works"},
    "no BL_ON": {**NO_DRIVE, **GOOD_STRIPS, "bl_on": "low"},
    "no dimming": {**NO_DRIVE, **GOOD_STRIPS, "dimming": "absent", "loaded_voltage_peak": "below"},
    "false trip": {
        **GOOD_STRIPS,
        "loaded_voltage_peak": "near_normal",
        "open_voltage": "low_or_rail",
        "known_load": "does_not",
        "visual": "bulged_cap",
        "capacitor_esr": "bad_cap",
    },
    "panel": {**WORKING, "flashlight": "no_image"},
    "settings": WORKING,
    "strips test well": GOOD_STRIPS,
}
every_path = pytest.mark.parametrize("path", PATHS)
FREE = ["sound", "flashlight", "startup_flash"]


@dataclass(frozen=True)
class Walk:
    """A job along the advice: for each test its id, the step's hazard and set-up changes, and how the bench stood."""

    tests: tuple[str, ...]
    hazards: tuple[int, ...]
    setups: tuple[tuple[str, ...], ...]
    benches: tuple[BenchState, ...]
    case: Case
    end: Ranking


@cache
def walk(path: str, *, trained: bool) -> Walk:
    """Follow the advice from an empty case until it is no test, with the answers of this path."""
    model, answers = backlight(), {**OPEN_STRIP, **PATHS[path]}
    settings = ShopSettings(trained=trained)
    case, bench = Case(nominal=label(54)), BenchState()
    tests: list[str] = []
    steps = []
    while len(tests) <= len(model.tests):
        ranking = rank_tests(model, case, bench, settings)
        if ranking.advice.id == "reset_settings":  # costs nothing, and does not help on any of these paths
            case = case.after(*parse_events(model, ["reset_settings=not"]))
            continue
        if ranking.advice.kind != "test":
            hazards, setups = tuple(s.hazard for s in steps), tuple(s.setup for s in steps)
            return Walk(tuple(tests), hazards, setups, tuple(s.bench_after for s in steps), case, ranking)
        (advised,) = (test for test in ranking.tests if test.test == ranking.advice.id)
        tests.append(advised.test)
        steps.append(advised.step)
        case = case.after(*parse_events(model, [f"{advised.test}={answers[advised.test]}"]))
        bench = advised.step.bench_after
    raise AssertionError(f"{path}: the advice goes round in circles: {tests}")


def place(walked: Walk, test: str) -> int:
    """Where a test stands in the walk; behind all others when it was never advised."""
    return walked.tests.index(test) if test in walked.tests else len(walked.tests)


@every_path
@pytest.mark.parametrize("trained", [True, False])
def test_the_free_tests_come_first_and_none_is_asked_twice(path: str, trained: bool) -> None:
    walked = walk(path, trained=trained)
    assert list(walked.tests[:3]) == FREE
    assert walked.hazards[:3] == (0, 0, 0)
    for epoch in walked.case.epochs():
        events = [walked.case.events[n] for n in epoch]
        assert len(set(events)) == len(events)


@every_path
@pytest.mark.parametrize("trained", [True, False])
def test_the_cover_comes_off_once_and_stays_off(path: str, trained: bool) -> None:
    walked = walk(path, trained=trained)
    made = [label for setup in walked.setups for label in setup]
    labels = {change: backlight().setups["cover", change].label for change in ("off", "on")}
    assert made.count(labels["off"]) == int(any(bench.cover == "off" for bench in walked.benches))
    assert made.count(labels["on"]) <= int(not trained)  # an untrained bench closes it for what is seen with power on
    if trained:
        assert made.count(labels["off"]) == 1
        assert walked.setups.index(next(s for s in walked.setups if labels["off"] in s)) >= len(FREE)


@every_path
def test_the_led_cable_stays_in_until_a_loaded_voltage_was_read(path: str) -> None:
    walked = walk(path, trained=True)
    first_out = next((n for n, bench in enumerate(walked.benches) if bench.led_cable == "out"), None)
    if path != "panel":
        assert first_out is not None
    if first_out is not None:
        assert min(place(walked, "loaded_voltage"), place(walked, "loaded_voltage_peak")) < first_out


@every_path
def test_capacitors_and_swapped_boards_come_late_or_never(path: str) -> None:
    walked = walk(path, trained=True)
    if PATHS[path].get("visual") in backlight().observations["visual"].no_power_after:  # what is cold is left to test
        return
    assert place(walked, "capacitor_esr") > max(place(walked, "feed_rail"), place(walked, "open_voltage")) or (
        "capacitor_esr" not in walked.tests
    )
    for test in ("strip_tester", "open_voltage"):
        assert place(walked, "swap_board") > place(walked, test) or "swap_board" not in walked.tests
    assert min(place(walked, "capacitor_esr"), place(walked, "swap_board")) >= min(7, len(walked.tests))


def test_the_paths_end_in_the_repair_that_fits_them() -> None:
    ends: Mapping[str, str] = {
        "open strip": "replace_strips",
        "open strip, in volts": "replace_strips",
        "shorted LEDs": "replace_strips",
        "dead driver": "replace_driver",
        "panel": "replace_timing_board",
    }
    assert dict(ends) == {path: walk(path, trained=True).end.advice.id for path in ends}


@every_path
def test_the_panel_is_opened_only_with_driver_and_strips_proved_and_the_led_side_at_the_gate(path: str) -> None:
    model, walked = backlight(), walk(path, trained=True)
    for end in range(len(walked.case.events) + 1):
        case = Case(walked.case.events[:end], nominal=label(54))
        ranking = rank_tests(model, case, settings=ShopSettings(trained=True))
        advice = ranking.advice
        if advice.kind == "repair" and model.repairs[advice.id].needs.get("panel") == "opened":
            seen = case.ever_seen()
            assert "strip_tester" in seen
            assert seen & {"open_voltage", "known_load"}
            belief = believe(model, case)
            assert 1 - float(belief.joint(model.groups["led_side"].components).flat[0]) >= 0.90
    opened = [bench.panel for bench in walked.benches]
    assert ["closed"] * len(opened) == opened


@every_path
def test_an_untrained_bench_is_led_to_hand_over_by_steps_of_hazard_0_and_1(path: str) -> None:
    walked = walk(path, trained=False)
    assert max(walked.hazards) <= 1
    assert walked.end.advice.kind == "hand_over"
    assert any("trained" in held.reason for held in walked.end.held_back)


def test_advice_never_opens_the_panel_on_volts_alone() -> None:
    """Whatever loaded and unplugged voltage say, the strips are tried with a tester first."""
    model = backlight()
    case = Case(
        parse_events(model, (*CONFIRMED, "startup_flash=flash_then_off", "loaded_voltage=0", "open_voltage=64")),
        nominal=label(54),
    )
    ranking = rank_tests(model, case, settings=ShopSettings(trained=True))
    (strips,) = (repair for repair in ranking.repairs if repair.repair == "replace_strips")
    assert strips.named_right >= 0.90
    assert strips.held_because == "only after strip_tester"
    assert (ranking.advice.kind, ranking.advice.id) == ("test", "strip_tester")


def test_a_likely_cable_fault_does_not_open_the_panel() -> None:
    model = backlight()
    seen = ("startup_flash=none", "visual=burnt_or_loose_conn", "tap_test=changes", "loaded_voltage=off_level")
    case = Case(parse_events(model, (*CONFIRMED, *seen, "strip_tester=dark", "open_voltage=rises_then_off")))
    ranking = rank_tests(model, case, settings=ShopSettings(trained=True))
    # as long as the cable is out: plugging it in again may cure it, whatever is repaired then
    cures = {repair.repair: repair.cures for repair in rank_repairs(model, replace(case, making="open_voltage"))}
    assert cures["repair_cable"] > 3 * cures["replace_strips"]
    assert ranking.advice.id != "replace_strips"
