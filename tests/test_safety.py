"""What must hold at the bench whatever was entered: discharge first, power only where it is right, nothing twice.

The cautions themselves are common practice, no source; what is checked is that no step goes without them.
"""

from functools import cache
from itertools import product

import pytest

from faultnet.case import Case, parse_events
from faultnet.case.bench import bench_after_events
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.model.work import BenchState, Step
from faultnet.ranking import RankedTest, Ranking, rank_tests
from faultnet.settings import ShopSettings

MODELS = ("backlight", "backlight_combined")
SEEN = ("sound=present", "flashlight=image_seen", "startup_flash=flash_then_off", "strip_tester=dark")
TRAINED, UNTRAINED = ShopSettings(trained=True), ShopSettings(trained=False)
BENCHES = [
    BenchState(cover, mains, cable, panel)
    for cover, mains, cable, panel in product(
        ("on", "off"), ("on", "off", "discharged"), ("in", "out"), ("closed", "opened")
    )
    if cover == "off" or (cable == "in" and panel == "closed")
]
every_model = pytest.mark.parametrize("name", MODELS)


@cache
def shipped(name: str) -> Model:
    return load_model(name)


def ranked(name: str, *texts: str, bench: BenchState | None = None, settings: ShopSettings = TRAINED) -> Ranking:
    model = shipped(name)
    return rank_tests(model, Case(parse_events(model, texts)), bench, settings)


def steps_of(ranking: Ranking) -> list[tuple[str, Step]]:
    return [(t.test, t.step) for t in ranking.tests] + [(r.repair, r.step) for r in ranking.repairs]


@every_model
@pytest.mark.parametrize("bench", BENCHES, ids=str)
def test_from_any_bench_each_step_is_as_hazardous_as_what_it_does(name: str, bench: BenchState) -> None:
    model = shipped(name)
    labels = {change: model.setups[change].label for change in model.setups}
    for what, step in steps_of(ranked(name, *SEEN, bench=bench)):
        setup, said = set(step.setup), {caution.id for caution in step.cautions}
        if labels["mains", "discharged"] in setup:
            assert step.hazard >= 3
            assert "stored_charge" in said
        if labels["panel", "opened"] in setup:
            assert step.hazard == 4
        touches = {labels["led_cable", "in"], labels["led_cable", "out"], labels["panel", "opened"]} & setup
        if touches and bench.mains != "discharged":
            assert labels["mains", "discharged"] in setup, what
            assert step.setup.index(labels["mains", "discharged"]) < min(step.setup.index(label) for label in touches)
        if step.bench_after.mains == "on" and step.bench_after.cover == "off":
            assert step.hazard >= 2
            assert "stored_charge" in said, what
        if step.hazard >= 1:
            assert said, what


@every_model
def test_after_a_repair_the_set_was_powered_so_it_is_discharged_again(name: str) -> None:
    model = shipped(name)
    discharge = model.setups["mains", "discharged"].label
    for repair in model.repairs:
        after = ranked(name, *SEEN, f"{repair}=not")
        bench = bench_after_events(model, Case(parse_events(model, [*SEEN, f"{repair}=not"])))
        assert bench == BenchState("on", "on", "in", "closed")
        for what, step in steps_of(after):
            needs = model.tests[what].needs if what in model.tests else model.repairs[what].needs
            if needs.get("mains") == "discharged" or needs.get("led_cable") == "out" or needs.get("panel") == "opened":
                assert discharge in step.setup, (repair, what)


@every_model
def test_a_swap_of_boards_leaves_the_set_on_and_the_next_cold_step_discharges(name: str) -> None:
    model = shipped(name)
    after = ranked(name, *SEEN, "swap_board=still_dark")
    assert model.setups["mains", "discharged"].label in {t.test: t for t in after.tests}["diode_test"].step.setup


@every_model
@pytest.mark.parametrize("seen", ["bulged_cap", "burnt_driver_part", "burnt_or_loose_conn"])
def test_a_set_with_burnt_parts_is_not_powered_before_a_repair(name: str, seen: str) -> None:
    found = ranked(name, "sound=present", "flashlight=image_seen", f"visual={seen}")
    held = {back.id: back for back in found.held_back}
    powered = [test for test in found.tests if test.step.bench_after.mains == "on"]
    assert powered
    for test in powered:
        assert "do not power" in held[test.test].reason
        assert f"visual={seen}" in held[test.test].reason
    assert found.advice.id not in {test.test for test in powered}
    elsewhere = ranked(name, "sound=present", "flashlight=image_seen", f"visual={seen}", "replace_main_board=not")
    assert any("do not power" in back.reason for back in elsewhere.held_back), "what is burnt is still in the set"
    again = ranked(name, "sound=present", "flashlight=image_seen", f"visual={seen}", "replace_driver=not")
    assert not any("do not power" in back.reason for back in again.held_back)


@every_model
def test_every_step_that_ends_closed_says_to_refit_the_barriers(name: str) -> None:
    for repair in ranked(name, *SEEN).repairs:
        if repair.step.hazard and repair.step.bench_after.cover == "on":
            assert "cover_back" in {caution.id for caution in repair.step.cautions}, repair.repair


@every_model
def test_a_set_that_works_again_is_run_on_test_and_tested_no_further(name: str) -> None:
    advice = ranked(name, *SEEN, "replace_strips=works").advice
    assert advice.kind == "stop"
    assert "run it on test" in advice.why


@every_model
def test_a_repair_that_did_not_help_is_not_advised_again(name: str) -> None:
    tried = [*SEEN, "diode_test=over_range", "open_voltage=rises_then_off"]
    first = ranked(name, *tried).advice
    assert (first.kind, first.id) == ("repair", "replace_strips")
    for _ in range(3):
        tried += [f"{first.id}=not"]
        assert ranked(name, *tried).advice.id != first.id


@every_model
def test_an_untrained_bench_is_never_led_past_hazard_1(name: str) -> None:
    for bench in BENCHES:
        found = ranked(name, "sound=present", bench=bench, settings=UNTRAINED)
        if found.advice.kind == "test":
            assert by_id(found, found.advice.id).step.hazard <= 1


def by_id(ranking: Ranking, test: str) -> RankedTest:
    (found,) = (each for each in ranking.tests if each.test == test)
    return found
