"""The plan of a case: what it may contain, what it costs, and how it is shown."""

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import count
from pathlib import Path

import numpy as np
import pytest
from test_cli import run

from faultnet.case import Case, parse_events
from faultnet.cli.plan_sheet import make_sheet
from faultnet.errors import ContradictoryEvidence, UsageProblem
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.model.work import BenchState
from faultnet.plan import Plan, PlanStep, make_plan
from faultnet.plan.ahead import look_ahead
from faultnet.plan.compose import compose
from faultnet.ranking import rank_tests
from faultnet.readings import Nominal
from faultnet.settings import ShopSettings
from faultnet.workshop.understanding import Understood

TRAINED, UNTRAINED = ShopSettings(trained=True), ShopSettings()
CONFIRMED = ("sound=present", "flashlight=image_seen")
SIX = ("loaded_voltage", "loaded_voltage_peak", "open_voltage", "strip_tester", "feed_rail", "startup_flash")
FORBIDDEN = re.compile(r"\b(forc|bridg|jumper|bypass|overrid|short out)", re.IGNORECASE)
"""What defeats a protection or overloads the rest."""


@cache
def shipped(name: str) -> Model:
    return load_model(name)


def case_of(model: Model, *texts: str, inches: float | None = 55, **more: object) -> Case:
    return replace(Case(parse_events(model, texts), inches=inches), **more)


def planned(model: Model, case: Case, *, settings: ShopSettings = TRAINED, rounds: int = 1, **more: object) -> Plan:
    left = count()
    return make_plan(
        model,
        case,
        settings=settings,
        keep_going=lambda: next(left) < rounds,
        keep_comparing=None,
        **more,  # type: ignore[arg-type]
    )


# -- what a plan may contain -----------------------------------------------------------------------------------------


def random_case(rng: np.random.Generator) -> tuple[Model, Case, ShopSettings, list[str]]:
    """A few findings at random on a shipped model, a bench, and some tests to plan with."""
    model = shipped(str(rng.choice(["backlight", "backlight_combined"])))
    listed = [o for o in model.observations.values() if o.id in model.revealed_by]
    seen = rng.choice(len(listed), int(rng.integers(1, 6)), replace=False)
    texts = [f"{listed[n].id}={rng.choice(listed[n].states)}" for n in seen]
    case = case_of(model, *texts, inches=float(rng.choice([32, 50, 65])))
    still_open = [t.id for t in model.tests.values() if not set(t.reveals) <= case.known(model)]
    tests = rng.choice(still_open, 4, replace=False).tolist()
    return model, case, TRAINED if rng.random() < 0.6 else UNTRAINED, tests


def check_steps(model: Model, step: PlanStep, settings: ShopSettings, no_power: bool) -> None:
    if step.step is not None:
        assert step.step.cautions or step.step.hazard == 0, "cautions from hazard 1 on"
        assert settings.may_do(step.step.hazard), "nothing past hazard 1 on an untrained bench"
        work = model.tests.get(step.id) or model.repairs[step.id]
        said = " ".join([work.label, getattr(work, "how", ""), getattr(work, "advice", "")])
        assert not FORBIDDEN.search(said)
        assert not (no_power and step.kind == "test" and step.step.bench_after.mains == "on")
    for branch in step.branches:
        burnt = any(state in model.observations[o].no_power_after for o, state in branch.shown)
        if branch.then is not None:
            check_steps(model, branch.then, settings, step.kind != "repair" and (no_power or burnt))


def check_advice(model: Model, case: Case, settings: ShopSettings) -> None:
    ranking = rank_tests(model, case, settings=settings)
    steps = {(("test", t.test)): t.step for t in ranking.tests} | {
        ("repair", r.repair): r.step for r in ranking.repairs
    }
    assert all(step.cautions or step.hazard == 0 for step in steps.values())
    if ranking.advice.id:
        step = steps[ranking.advice.kind, ranking.advice.id]
        assert settings.may_do(step.hazard)
        work = model.tests.get(ranking.advice.id) or model.repairs[ranking.advice.id]
        assert not FORBIDDEN.search(" ".join([work.label, getattr(work, "how", ""), getattr(work, "advice", "")]))


def check_sheet(model: Model, case: Case, settings: ShopSettings, plan: Plan) -> None:
    sheet = make_sheet(Understood(model, case, BenchState(), settings), plan)
    named = " ".join(sheet.cautions)
    for row in sheet.rows:
        assert not FORBIDDEN.search(f"{row.does} {row.notes}")
        hazard = re.search(r"hazard (\d)", row.notes)
        if hazard and int(hazard[1]) >= 1:
            covered = [range(int(a), int(b or a) + 1) for a, b in re.findall(r"(\d+)(?: to (\d+))?[,)]", named)]
            assert any(row.number in span for span in covered), "its number stands beside a caution"
            assert settings.may_do(int(hazard[1]))


def check_random_plans(seeds: range) -> None:
    for seed in seeds:
        model, case, settings, tests = random_case(np.random.default_rng(seed))
        try:
            plan = planned(model, case, settings=settings, tests=tests)
        except ContradictoryEvidence:
            continue  # findings drawn at random need not be possible together
        check_steps(model, plan.first, settings, bool(case.no_power(model)))
        check_sheet(model, case, settings, plan)
        check_advice(model, case, settings)
        assert plan.cost.lower <= plan.cost.upper + 1e-9
        assert plan.cost.upper <= plan.bits_per_minute + 1e-9, "never above bits per minute"
        assert plan.cost.upper <= plan.giving_up + 1e-9


@pytest.mark.parametrize("chunk", [*range(4), *(pytest.param(n, marks=pytest.mark.slow) for n in range(4, 8))])
def test_no_plan_holds_what_must_not_be_done(chunk: int) -> None:
    check_random_plans(range(25 * chunk, 25 * (chunk + 1)))


@pytest.mark.slow
@pytest.mark.timeout(3000)
def test_no_plan_of_a_thousand_holds_what_must_not_be_done() -> None:
    check_random_plans(range(1000, 2000))


# -- against practice and the rest of the program --------------------------------------------------------------------


def test_the_panel_is_opened_only_past_the_gate_with_driver_and_strips_proved() -> None:
    """Common practice, no source."""
    model = shipped("backlight")
    plan = planned(model, case_of(model, *CONFIRMED, nominal=Nominal.label(54)), tests=[*SIX, "known_load"], rounds=200)
    openings = list(ways_to(plan.first, "replace_strips"))
    assert openings, "the plan gets to the strips"
    for way, step in openings:
        led_side = sum(p for component, p in step.suspects if component in ("strips", "led_cable"))
        assert led_side >= TRAINED.gate_panel - 0.02
        shown = {(o, state) for branch in way for o, state in branch.shown}
        assert shown & {("strip_tester", "dark"), ("strip_tester", "abnormal")}
        alive = {("open_voltage", "rises_then_off"), ("open_voltage", "sustained_high"), ("known_load", "drives_load")}
        assert shown & {*alive, ("loaded_voltage_peak", "above")}


def ways_to(step: PlanStep, id_: str, way: tuple = ()) -> Iterator[tuple[tuple, PlanStep]]:  # type: ignore[type-arg]
    if step.id == id_:
        yield way, step
    for branch in step.branches:
        if branch.then is not None:
            yield from ways_to(branch.then, id_, (*way, branch))


def test_what_no_test_of_the_plan_can_prove_keeps_the_panel_closed() -> None:
    model = shipped("backlight")
    case = case_of(model, *CONFIRMED, nominal=Nominal.label(54))
    plan = planned(model, case, tests=["startup_flash", "loaded_voltage", "visual"], rounds=50)
    assert {"replace_strips", "replace_driver"} <= set(plan.blocked)
    assert not {step.id for step in plan.first.steps()} & set(plan.blocked)
    proved = case.after(*parse_events(model, ["strip_tester=dark", "open_voltage=61", "startup_flash=none"]))
    assert "replace_strips" not in planned(model, proved, tests=["visual"]).blocked


def test_the_trade_s_order_is_kept() -> None:
    model = shipped("backlight")
    plan = planned(
        model, case_of(model, "sound=present"), tests=["flashlight", "startup_flash", "strip_tester", *SIX[:3]]
    )
    assert plan.first.id in ("flashlight", "", "reset_settings"), "the torch before the cover comes off"
    for way, step in ways_to(plan.first, "open_voltage"):
        assert any(o.startswith("loaded_voltage") for branch in way for o, _ in branch.shown), step


def test_the_weights_are_those_of_the_belief() -> None:
    """Single faults and pairs of the plan against the exact belief of the engine."""
    model = shipped("backlight")
    case = case_of(model, *CONFIRMED, nominal=Nominal.label(54))
    composed = compose(model, case, list(SIX), TRAINED)
    hypotheses = composed.hypotheses
    from faultnet.case.steps import believe

    belief = believe(model, case)
    strips = sum(
        w
        for w, modes in zip(hypotheses.weights, hypotheses.modes, strict=True)
        if any(m.component == "strips" for m in modes)
    )
    assert strips * (1 - hypotheses.left_out) == pytest.approx(
        1 - belief.marginal("strips")[0], abs=hypotheses.left_out
    )
    assert 0 < hypotheses.left_out < 0.02
    for test, rows in zip(composed.tests, hypotheses.rows, strict=True):
        exact = belief.marginal(test.reveals[0])
        if test.id not in composed.banded:
            assert hypotheses.weights @ rows == pytest.approx(exact, abs=2 * hypotheses.left_out)


def test_bands_lose_little_and_their_rows_are_chances() -> None:
    model = shipped("backlight")
    for nominal in (Nominal.label(54), None):
        composed = compose(model, case_of(model, *CONFIRMED, nominal=nominal), list(SIX), TRAINED)
        assert set(composed.banded) == {"loaded_voltage", "loaded_voltage_peak", "open_voltage"}
        for band in composed.banded.values():
            assert -1e-9 <= band.lost_bits < 0.12
            assert band.chances.sum(axis=-1) == pytest.approx(np.ones(band.chances.shape[:-1]), abs=1e-9)
            assert band.bands[0].low_volts == 0
            assert all(a.high_volts == b.low_volts for a, b in zip(band.bands, band.bands[1:], strict=False))


def test_six_tests_are_solved_exactly_and_the_tree_costs_what_is_said() -> None:
    model = shipped("backlight")
    plan = planned(model, case_of(model, *CONFIRMED, nominal=Nominal.label(54)), tests=SIX, rounds=10_000)
    assert plan.cost.is_exact
    assert plan.first.expected_cost == pytest.approx(plan.cost.upper, abs=0.01)
    assert sum(branch.chance for branch in plan.first.branches) == pytest.approx(1, abs=1e-6)


def test_where_nothing_pays_the_plan_gives_up_and_says_what_that_costs() -> None:
    model = shipped("backlight")
    poor = replace(TRAINED, new_set_prices=(60.0, 60.0, 60.0, 60.0))
    plan = planned(model, case_of(model, *CONFIRMED), settings=poor, tests=["strip_tester", "visual"])
    assert plan.first.kind == "stop"
    assert plan.cost.upper == pytest.approx(plan.first.expected_cost)


def test_a_plan_for_an_untrained_bench_hands_over() -> None:
    model = shipped("backlight")
    plan = planned(model, case_of(model, *CONFIRMED, "startup_flash=none"), settings=UNTRAINED)
    assert all(step.step is None or step.step.hazard <= 1 for step in plan.first.steps())


def test_unknown_and_made_tests_are_refused_all_at_once() -> None:
    model = shipped("backlight")
    with pytest.raises(UsageProblem) as caught:
        planned(model, case_of(model, *CONFIRMED), tests=["sound", "guess", "visual"])
    assert len(caught.value.problems) == 2


def test_looking_ahead_advises_the_first_step_with_its_bounds() -> None:
    model = shipped("backlight")
    case = case_of(model, *CONFIRMED, "startup_flash=none", nominal=Nominal.label(54))
    ranking = rank_tests(model, case, settings=TRAINED)
    left = count()
    ahead = look_ahead(model, case, ranking, lambda: next(left) < 1)
    assert ahead.advice.costs is not None
    low, high = ahead.advice.costs
    assert 0 < low <= high <= 375
    assert (ahead.tests, ahead.repairs) == (ranking.tests, ranking.repairs)
    works = rank_tests(model, case.after(*parse_events(model, ["reset_settings=works"])), settings=TRAINED)
    assert look_ahead(model, case.after(*parse_events(model, ["reset_settings=works"])), works, lambda: False) is works


def test_a_plan_starts_from_how_the_bench_stands() -> None:
    model = shipped("backlight")
    case = case_of(model, *CONFIRMED)
    covered = planned(model, case, tests=["visual"], bench=BenchState())
    opened = planned(model, case, tests=["visual"], bench=BenchState(cover="off", mains="off"))
    assert opened.cost.upper <= covered.cost.upper + 1e-9, "the cover is off already"


# -- shown -----------------------------------------------------------------------------------------------------------

TYPED = (
    "backlight",
    *CONFIRMED,
    "--nominal",
    "54",
    "--size",
    "55",
    "--trained",
    "--tests",
    "strip_tester,open_voltage,visual,loaded_voltage_peak",
)


def test_the_terminal_keeps_to_80_columns_and_names_both_bounds(tmp_path: Path) -> None:
    for sheet in ("plan.html", "plan.pdf"):
        text = run("plan", *TYPED, "--seconds", "1", "--sheet", str(tmp_path / sheet)).stdout
        assert [line for line in text.splitlines() if len(line) > 80] == []
        for words in (
            "this plan",
            "giving up now",
            "most bits a minute",
            "without gates and order",
            "left out",
            "probabilities, not proof",
        ):
            assert words in text
        assert "! Meter and leads rated above the voltage" in text
    page = (tmp_path / "plan.html").read_text(encoding="utf-8")
    assert "http" not in page
    assert "Meter and leads rated above the voltage" in page
    assert "go to 2" in page
    pdf = (tmp_path / "plan.pdf").read_bytes()
    assert pdf.startswith(b"%PDF")
    assert len(re.findall(rb"/Type /Page\b", pdf)) == 1, "one page"


def test_json_holds_the_whole_tree() -> None:
    told = json.loads(run("plan", *TYPED, "--seconds", "1", "--json").stdout)
    assert told["expected_cost"]["low"] <= told["expected_cost"]["high"]
    steps = [told["plan"]]
    for step in steps:  # grows
        steps += [branch["then"] for branch in step["branches"] if branch["then"]]
        assert step["hazard"] == 0 or step["cautions"]
    assert {step["kind"] for step in steps} >= {"test", "stop"}


def test_wrong_words_on_the_command_line_are_told() -> None:
    assert "guess" in run("plan", "backlight", "--tests", "guess,visual", expect=2).stderr
    assert ".html or .pdf" in run("plan", "backlight", "--sheet", "plan.txt", expect=2).stderr
    assert "no repairs" in run("plan", "intake", expect=2).stderr
