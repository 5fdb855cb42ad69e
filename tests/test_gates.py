"""What holds a repair: looked at is not proved. Needs the shipped models; common practice, no source."""

from dataclasses import replace

import pytest

from faultnet import Case, Nominal, ShopSettings, load_model, parse_events, rank_tests
from faultnet.ranking import Advice
from faultnet.repairs import RankedRepair

TRAINED = ShopSettings(trained=True)
ASKED = ("sound=present", "flashlight=image_seen", "startup_flash=flash_then_off")


def told(*events: str, repair: str = "replace_strips", settings: ShopSettings = TRAINED) -> tuple[Advice, RankedRepair]:
    model = load_model("backlight")
    ranking = rank_tests(
        model, Case(parse_events(model, [*ASKED, *events]), nominal=Nominal.label(54)), settings=settings
    )
    (own,) = (r for r in ranking.repairs if r.repair == repair)
    return ranking.advice, own


def test_a_panel_is_opened_where_strips_are_bad_and_the_driver_is_alive() -> None:
    advice, strips = told("strip_tester=dark", "open_voltage=rises_then_off")
    assert (advice.kind, advice.id, strips.held_because) == ("repair", "replace_strips", "")


@pytest.mark.parametrize(
    "alive", ["open_voltage=65", "open_voltage=66.2x3", "open_voltage=sustained_high", "known_load=drives_load"]
)
def test_a_driver_is_alive_by_volts_as_well_as_by_words(alive: str) -> None:
    assert told("strip_tester=dark", alive)[1].unproved == ()


@pytest.mark.parametrize(
    ("seen", "missing"),
    [
        (("strip_tester=all_light_ok", "open_voltage=rises_then_off"), ["strip_tester"]),
        (("strip_tester=dark", "open_voltage=0"), ["open_voltage"]),  # looked at, and it proves nothing
        (("strip_tester=dark", "known_load=does_not"), ["open_voltage"]),
        ((), ["strip_tester", "open_voltage"]),
    ],
)
def test_a_panel_stays_closed_where_looking_proved_nothing(seen: tuple[str, ...], missing: list[str]) -> None:
    no_gate = replace(TRAINED, gate_panel=0.0)
    advice, strips = told(*seen, settings=no_gate)
    assert [next(iter(proof)) for proof in strips.unproved] == missing
    assert strips.held_because
    assert advice.id != "replace_strips"
    if not strips.waits_for:
        assert strips.held_because.startswith(f"not proved: {missing[0]}")


def test_a_driver_waits_for_the_strip_tester_whatever_it_shows() -> None:
    """Common practice, no source: look at the strips first. Were good strips asked for, two faults would block all."""
    no_gate = replace(TRAINED, gate_repair=0.0)
    dead = ("loaded_voltage=0", "feed_rail=ok", "bl_on=high", "open_voltage=0", "known_load=does_not")
    held = told(*dead, repair="replace_driver", settings=no_gate)[1]
    assert held.held_because == "only after strip_tester"
    for state in ("all_light_ok", "dark"):
        free = told(*dead, f"strip_tester={state}", repair="replace_driver", settings=no_gate)[1]
        assert (free.waits_for, free.unproved) == ((), ())


def test_a_repair_that_ends_dearer_than_sending_it_back_is_held_with_both_numbers() -> None:
    no_gate = replace(TRAINED, gate_panel=0.0, gate_repair=0.0)
    _, supply = told("feed_rail=ok", repair="replace_supply", settings=no_gate)
    assert supply.expected_total is not None
    assert f"about {supply.expected_total:.0f} in all on average; giving up costs" in supply.held_because
