"""Volts as weights, not as cuts: what a bench would conclude, and where it would conclude nothing.

The directions are common practice, no source; the thresholds are those the project set itself.
"""

from dataclasses import replace
from functools import cache

import pytest
from labels import label

from faultnet.case import Case, believe, parse_events
from faultnet.engine.interface import Belief
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.readings import METERS, Volts, reading_likelihood

CONFIRMED = ("sound=present", "flashlight=image_seen")
LED_SIDE = ("strips", "led_cable")


@cache
def backlight() -> Model:
    return load_model("backlight")


def after(*texts: str, nominal: float | None = 37.0, meter: str = "plain") -> Belief:
    case = Case(parse_events(backlight(), (*CONFIRMED, *texts)), nominal=label(nominal))
    return believe(backlight(), replace(case, meter=METERS[meter]))


def faulty(belief: Belief, *components: str) -> float:
    return 1 - float(belief.joint(components).flat[0])


def mode(belief: Belief, component: str, name: str) -> float:
    return float(belief.marginal(component)[backlight().components[component].states.index(name)])


def test_a_peak_above_the_nominal_that_falls_to_a_rail_is_an_open_string() -> None:
    belief = after("loaded_voltage_peak=44", "loaded_voltage=24")
    assert faulty(belief, *LED_SIDE) > 0.85
    assert mode(belief, "strips", "open") > 0.5


def test_a_rail_at_a_boost_is_off_and_not_low() -> None:
    states = backlight().observations["loaded_voltage"].states
    found = reading_likelihood(backlight(), [Volts("loaded_voltage", (24.0,), "steady")], label(37.0)).table
    by_state = dict(zip(states, found @ [0.62, 0.38], strict=True))
    assert by_state["off_level"] > by_state["low"]
    assert by_state["off_level"] > 10 * by_state["normal"]


@pytest.mark.parametrize("meter", ["plain", "good", "quick"])
def test_nothing_loaded_and_volts_unplugged_is_the_led_side(meter: str) -> None:
    assert faulty(after("loaded_voltage=0", "open_voltage=44", meter=meter), *LED_SIDE) > 0.85


def test_a_rail_loaded_and_unplugged_stays_undecided() -> None:
    belief = after("loaded_voltage=24", "open_voltage=24")
    led, driver = faulty(belief, *LED_SIDE), faulty(belief, "driver", "supply")
    assert max(led, driver) < 0.85
    assert min(led, driver) > 0.1


@pytest.mark.parametrize("volts", ["37", "34", "44"])
def test_with_the_nominal_unknown_a_single_reading_makes_no_claim(volts: str) -> None:
    """It may be any nominal's normal, low or high; what it says is only that there are volts."""
    found = reading_likelihood(backlight(), [Volts("loaded_voltage", (float(volts),), "steady")], None).table
    states = backlight().observations["loaded_voltage"].states
    on = [float(found[states.index(state)].mean()) for state in ("low", "normal", "high", "pulsing")]
    assert max(on) < 2.5 * min(on)
    known = reading_likelihood(backlight(), [Volts("loaded_voltage", (float(volts),), "steady")], label(37.0)).table
    known_on = [float(known[states.index(state)].mean()) for state in ("low", "normal", "high", "pulsing")]
    assert max(known_on) > 4 * min(known_on)


def test_with_the_nominal_unknown_off_and_up_keep_their_direction() -> None:
    before = after(nominal=None)
    nothing = after("loaded_voltage=0", "open_voltage=0", nominal=None)
    up = after("loaded_voltage=0", "open_voltage=44", nominal=None)
    assert faulty(nothing, "driver", "supply") > faulty(before, "driver", "supply")
    assert faulty(nothing, "driver", "supply") > faulty(nothing, *LED_SIDE)
    assert faulty(up, *LED_SIDE) > faulty(before, *LED_SIDE)
    off = after("loaded_voltage=0", nominal=None)
    assert faulty(off, "panel") < faulty(before, "panel")


def test_a_peak_below_the_label_raises_shorted_leds() -> None:
    before, now = after(), after("loaded_voltage_peak=34")
    assert mode(now, "strips", "shorted") > 1.5 * mode(before, "strips", "shorted")
    fast = after("loaded_voltage_peak=34", meter="peak")
    slow = after("loaded_voltage_peak=34", meter="slow")
    assert mode(fast, "strips", "shorted") > mode(slow, "strips", "shorted")
