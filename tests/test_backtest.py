"""Past jobs replayed: on recorded results only, by hand where it can be told what must come out."""

from dataclasses import replace

import numpy as np
import pytest
from histories import backlight, made_up, taken, written_out

from faultnet.case import Case, parse_events
from faultnet.case.bench import bench_after_events
from faultnet.case.events import Finding
from faultnet.errors import TooLittleData, UsageProblem
from faultnet.evaluate.backtest import backtest, estimated
from faultnet.evaluate.past import PastJob
from faultnet.evaluate.replay import imputing, replay
from faultnet.evaluate.rules import STOP, Advice, AsDone, FlowChart, Move
from faultnet.model.work import BenchState
from faultnet.settings import ShopSettings
from faultnet.workshop.backtesting import Wanted, replay_past
from faultnet.workshop.workshop import Workshop

TRAINED = replace(ShopSettings(), trained=True)


def past(*events: str, number: str = "1", **about: object) -> PastJob:
    """A job with these events, in order."""
    return PastJob(number, Case(tuple(parse_events(backlight(), events)), **about))  # type: ignore[arg-type]


class Script:
    """A way of working that was written down."""

    def __init__(self, *moves: Move) -> None:
        self.moves = [*moves]

    def start(self, job: PastJob) -> None:
        """Nothing to get ready."""

    def move(self, case: Case, bench: BenchState) -> Move:  # noqa: ARG002
        """The next of it."""
        return self.moves.pop(0) if self.moves else STOP


JOB = past("sound=present", "flashlight=image_seen", "strip_tester=dark", "replace_driver=not", "replace_strips=works")


def test_the_shops_own_order_is_what_was_done() -> None:
    """Three tests and two repairs, the second of which helped; the set-up is paid as it was."""
    found = replay(backlight(), JOB, AsDone(backlight()), TRAINED)
    assert (found.steps, found.wanted, found.answered, found.coverage) == (5, 3, 3, 1.0)
    assert (found.right_first, found.cured) == (False, True)
    assert JOB.cure == {"replace_strips"}
    assert [*JOB.recorded] == ["sound", "flashlight", "strip_tester"]
    straight = past("strip_tester=dark", "replace_strips=works")
    one = replay(backlight(), straight, AsDone(backlight()), TRAINED)
    assert (one.right_first, one.steps) == (True, 2)
    # cover off 8, discharge 4, cable out 1, tester 5; opening the panel 30, the strips 60
    assert one.minutes == pytest.approx(8 + 4 + 1 + 5 + 30 + 60)
    assert one.minutes < found.minutes
    assert one.cost < found.cost


def test_a_test_without_a_result_is_passed_over_and_counted() -> None:
    script = Script(("test", "sound"), ("test", "open_voltage"), ("repair", "replace_strips"))
    found = replay(backlight(), JOB, script, TRAINED)
    assert (found.wanted, found.answered, found.coverage, found.steps) == (2, 1, 0.5, 2)
    assert found.right_first
    again = Script(("test", "sound"), ("test", "sound"), ("test", "sound"))
    assert replay(backlight(), JOB, again, TRAINED).wanted == 1


def test_a_wrong_repair_has_failed_and_three_are_the_end() -> None:
    wrong = [("repair", "replace_driver"), ("repair", "replace_supply"), ("repair", "replace_main_board")]
    found = replay(backlight(), JOB, Script(*wrong, ("repair", "replace_strips")), TRAINED)
    assert (found.cured, found.steps) == (False, 3)
    two = replay(backlight(), JOB, Script(*wrong[:2], ("repair", "replace_strips")), TRAINED)
    assert (two.cured, two.right_first, two.steps) == (True, False, 3)
    given_up = replay(backlight(), JOB, Script(), TRAINED)
    assert given_up.cost == pytest.approx(TRAINED.gate_uneconomic * TRAINED.new_set_prices[1])
    assert (given_up.steps, given_up.coverage) == (0, 1.0)


def test_what_is_not_cured_or_set_aside_does_not_count() -> None:
    assert past("strip_tester=dark", "replace_strips=not").cure == frozenset()
    assert [*past("loaded_voltage=170@hot", "sound=present").recorded] == ["sound"]
    both = past("replace_strips+replace_driver=works")
    assert both.cure == {"replace_strips", "replace_driver"}


def test_the_flow_chart_looks_at_the_unplugged_voltage() -> None:
    chart = FlowChart(backlight())
    tests = ("sound=present", "flashlight=image_seen", "loaded_voltage=off_level")
    for shown, first in (("rises_then_off", "replace_strips"), ("zero", "replace_driver")):
        case = Case(tuple(parse_events(backlight(), [*tests, f"open_voltage={shown}"])))
        assert chart.move(case, bench_after_events(backlight(), case)) == ("repair", first)
    assert chart.move(Case(), BenchState()) == ("test", "sound")


def test_advice_is_that_of_the_answer() -> None:
    rule = Advice(backlight(), TRAINED)
    assert rule.move(Case(), BenchState()) == ("test", "sound")


def test_made_up_results_are_the_same_again_and_as_likely_as_the_model_says() -> None:
    """With the strips to blame and the tester unseen: dark as often as a set whose strips or cable are bad shows it."""
    model = backlight()
    seen = [
        imputing(model, past("sound=present", "replace_strips=works", number=str(n)), 3)("strip_tester")
        for n in range(400)
    ]
    again = imputing(model, past("sound=present", "replace_strips=works", number="7"), 3)("strip_tester")
    assert again == seen[7]
    dark = np.mean([isinstance(each, Finding) and each.state == "dark" for each in seen])
    assert 0.5 < dark < 0.8


def test_bootstrap_of_a_mean() -> None:
    """A central 90 % of about 1.645 standard errors each side (Efron & Tibshirani 1993, chapter 13)."""
    values = np.random.default_rng(2).normal(5, 2, 400)
    found = estimated(values, 0)
    error = values.std() / 20
    assert found.mean == pytest.approx(values.mean())
    assert (found.high - found.mean) / error == pytest.approx(1.645, abs=0.2)
    assert (found.mean - found.low) / error == pytest.approx(1.645, abs=0.2)
    assert np.isnan(estimated(np.empty(0), 0).mean)


def test_too_few_jobs_to_compare() -> None:
    with pytest.raises(TooLittleData, match="1 jobs with backlight were cured by a repair; at least 10"):
        backtest(backlight(), [JOB, past("sound=present")], TRAINED)


def test_a_shop_replayed(on_sqlite: Workshop, tmp_path) -> None:  # type: ignore[no-untyped-def]
    """Nothing is learned from the jobs replayed, every way of working is there, and the shop's own order is covered."""
    taken(on_sqlite, written_out(tmp_path / "jobs.csv", made_up(400).jobs[:60]))
    replayed = replay_past(on_sqlite, Wanted("backlight@0", "2028-01-10", most=24, with_imputed=False, looks=1))
    found = replayed.found
    assert (replayed.since, replayed.n_learned, found.model) == ("2028-01-10", 0, "backlight@0")
    rows = {row.rule: row for row in found.rows}
    assert [*rows] == ["plan", "advice", "as_done", "flow_chart"]
    assert rows["as_done"].n_jobs == found.n_jobs >= 10
    assert rows["as_done"].means["cured"].mean == 1
    assert rows["as_done"].beside["minutes"].mean == 0
    assert all(0 <= low <= high <= 1 for low, high in found.bounds.values())
    assert found.bounds["as_done"][0] == found.bounds["as_done"][1]
    assert (found.imputed, found.n_advised) == ((), 0)
    with pytest.raises(UsageProblem, match="write a day as"):
        replay_past(on_sqlite, Wanted("backlight@0", since="spring"))
    with pytest.raises(TooLittleData):
        replay_past(on_sqlite, Wanted("backlight@0", since="2040-01-01"))
