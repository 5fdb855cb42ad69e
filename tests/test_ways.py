"""Tests and repairs by money: the value of what a test shows, and how a job ends. Needs the shipped models."""

import json
from dataclasses import replace

import numpy as np
import pytest
from typer.testing import CliRunner

from faultnet import Case, Nominal, ShopSettings, load_model, parse_events, rank_tests
from faultnet.cli.main import app
from faultnet.cli.ways import SEND_BACK
from faultnet.errors import UsageProblem
from faultnet.ranking import Ranking
from faultnet.telling.ways import SORTS

TRAINED = ShopSettings(trained=True)
CASES = (
    (),
    ("sound=present", "flashlight=image_seen"),
    ("sound=present", "flashlight=image_seen", "startup_flash=none", "loaded_voltage=0.1,0,0.2"),
    ("sound=present", "flashlight=image_seen", "open_voltage=65", "strip_tester=dark"),
    ("sound=present", "flashlight=image_seen", "replace_strips=not"),
)


def ranked(*events: str, settings: ShopSettings = TRAINED, name: str = "backlight", **case: object) -> Ranking:
    model = load_model(name)
    asked = replace(Case(parse_events(model, list(events)), nominal=Nominal.label(54)), **case)
    return rank_tests(model, asked, settings=settings)


# Howard 1966: information is worth nothing at least and perfect information at most.
@pytest.mark.parametrize("events", CASES)
def test_what_a_test_shows_is_worth_between_nothing_and_perfect_information(events: tuple[str, ...]) -> None:
    found = ranked(*events)
    assert found.money is not None
    assert found.tests
    for test in found.tests:
        assert test.evsi is not None
        assert test.expected_total is not None
        assert 0 <= test.evsi <= found.money.perfect_information + 1e-6
        # one pays for the test and may stop after every outcome just as well as now
        assert test.expected_total <= test.cost + float(found.money.now.stopping[0]) + 0.2
        assert test.expected_total >= test.cost + found.money.with_perfect_information - 20


def test_a_test_is_priced_by_repairs_after_each_of_its_outcomes() -> None:
    """By hand for a test that is no reading and alters nothing: from the belief after each outcome, entered."""
    before = CASES[2]
    found = ranked(*before)
    (test,) = (t for t in found.tests if t.test == "feed_rail")
    model = load_model("backlight")
    total = test.cost
    for outcome in test.outcomes:
        case = Case(parse_events(model, [*before, f"feed_rail={outcome.state}"]), nominal=Nominal.label(54))
        after = rank_tests(model, case, bench=test.step.bench_after, settings=TRAINED)
        assert after.money is not None
        total += outcome.chance * float(after.money.now.least[0])
    assert test.expected_total == pytest.approx(total, abs=1e-6)


def test_a_repair_first_costs_what_beginning_with_it_costs() -> None:
    found = ranked(*CASES[2])
    assert found.money is not None
    by_first = dict(zip(found.money.model.repairs, found.money.now.by_first[0].tolist(), strict=True))
    assert {r.repair: r.expected_total for r in found.repairs} == by_first
    assert found.money.now.least[0] == min(*by_first.values(), found.money.now.stopping[0])
    assert np.all(found.money.now.by_first >= found.money.with_perfect_information - 1e-9)


def test_a_set_that_costs_more_than_it_is_worth_is_not_worth_repairing() -> None:
    """The same findings: repaired where a new set is dear, sent back where it is cheap."""
    events = ("sound=present", "flash=flash_then_off", "flashlight=image_seen", "unplugged=65", "tester=dark")
    assert ranked(*events).advice.id == "replace_strips"
    cheap = ranked(*events, settings=replace(TRAINED, new_set_prices=(60.0, 90.0, 120.0, 300.0)))
    assert (cheap.advice.kind, cheap.advice.verdict) == ("stop", "not_worth_repairing")
    assert cheap.money is not None
    assert cheap.money.giving_up == 45
    assert "45" in cheap.advice.why
    (strips,) = (r for r in cheap.repairs if r.repair == "replace_strips")
    assert "more than 50 % of an equal new set" in strips.held_because


@pytest.mark.parametrize("events", CASES)
def test_a_usual_set_is_not_given_up_early(events: tuple[str, ...]) -> None:
    assert ranked(*events).advice.verdict == ""


def test_a_set_that_shows_nothing_is_watched() -> None:
    lit = ("startup_flash=stays_lit", "loaded_voltage=normal")
    assert ranked(*lit, with_complaint=False).advice.verdict == ""  # lit, but nobody looked for a picture
    found = ranked(*lit, "flashlight=image_seen", with_complaint=False)
    assert (found.advice.kind, found.advice.verdict) == ("stop", "no_fault_found")
    assert ranked("sound=present").advice.verdict == ""


@pytest.mark.parametrize("sort", SORTS)
def test_the_list_is_sorted_as_asked(sort: str) -> None:
    shown = CliRunner().invoke(app, ["next", "backlight", *CASES[2], "--trained", "--full", "--sort", sort]).stdout
    listed = shown.split("\nWays on", 1)[1].split("\n  total:", 1)[0].splitlines()[2:]
    names = [line.split()[0] for line in listed if line.startswith("  ") and not line.startswith("    ")]
    told = json.loads(CliRunner().invoke(app, ["next", "backlight", *CASES[2], "--trained", "--json"]).stdout)
    tests = {t["test"]: t for t in told["tests"]}
    free = [tests[n] for n in names if n in tests and not tests[n]["waits_for"]]
    keys = {
        "cost": [t["expected_total"] for t in free],
        "bits": [-t["gain_repair_bits"] for t in free],
        "minutes": [t["minutes"] + t["setup_minutes"] for t in free],
    }[sort]
    assert len(keys) > 5
    assert keys == sorted(keys)
    assert SEND_BACK.split()[0] in names
    assert {*tests, *(r["repair"] for r in told["repairs"])} <= set(names)


def test_money_is_in_the_json_and_null_where_a_model_has_no_repairs() -> None:
    told = json.loads(CliRunner().invoke(app, ["next", "backlight", *CASES[1], "--json"]).stdout)
    assert set(told["money"]) >= {"currency", "giving_up", "repair_only", "evpi"}
    assert told["advice"]["verdict"] is None
    assert told["units"]["money"] == "money of the shop"
    for test in told["tests"]:
        assert 0 <= test["evsi"] <= told["money"]["evpi"] + 1e-6
    none = json.loads(CliRunner().invoke(app, ["next", "intake", "--json"]).stdout)
    assert none["money"] is None
    assert all(test["expected_total"] is None for test in none["tests"])


def test_an_unknown_sort_is_refused() -> None:
    refused = CliRunner().invoke(app, ["next", "backlight", "--sort", "luck"])
    assert isinstance(refused.exception, UsageProblem)
    assert "cost, bits, minutes" in str(refused.exception)
