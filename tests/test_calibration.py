"""Forecasts of past jobs against the engine's own answers, what is counted and left out, and the command."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from histories import backlight, taken, written_out
from learners import JOBS as SMALL_JOBS
from learners import model_of, pattern
from small_models import TINY
from test_cli import run

from faultnet.analysis.calibration import Calibration, calibration
from faultnet.case.sequence import RepairOutcome
from faultnet.counting import count_jobs, count_patterns
from faultnet.errors import ContradictoryEvidence, TooLittleData, UsageProblem
from faultnet.evaluate import outcomes
from faultnet.evaluate.baselines import baselines
from faultnet.evaluate.forecasts import cause_forecasts, repair_forecasts
from faultnet.evaluate.outcomes import WORKS, Outcomes, causes_of, curable, repairs_of
from faultnet.files import load_model
from faultnet.model import Model
from faultnet.model.chances import chances_of, with_chances
from faultnet.model.pooled import GroupShares, Pooled, in_group
from faultnet.patterns import Pattern, Patterns
from faultnet.plots.figure import check_name, save
from faultnet.plots.reliability import draw_reliability
from faultnet.simulate.world import is_invented
from faultnet.telling.calibration import INVENTED
from faultnet.workshop.calibrating import Wanted, calibrate
from faultnet.workshop.workshop import Workshop

N_JOBS = 260
SINCE, LATE = "2028-01-10", "2028-04-01"

DEMO = Path(__file__).parent.parent / "data" / "synthetic" / "jobs.csv"

RARE = 2e-4
"""What leaving out states that are rare beforehand may move, in the real model; `TINY` has none of them."""


def first_jobs(n: int, file: Path) -> Path:
    """So many jobs of the demo shop in a file of their own."""
    lines = DEMO.read_text(encoding="utf-8").splitlines(keepends=True)
    file.write_text("".join(lines[: 1 + n]), encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return first_jobs(N_JOBS, tmp_path_factory.mktemp("calibration") / "jobs.csv")


@pytest.fixture(scope="module")
def written() -> Model:
    return load_model("backlight@0")


@pytest.fixture(scope="module")
def found(jobs: Path, written: Model) -> Calibration:
    return calibration(jobs, written, since=SINCE, learning=False)


@pytest.fixture(scope="module")
def later(jobs: Path, written: Model) -> Patterns:
    return count_patterns(jobs, written, by=("month", "panel"), since=SINCE, with_returned=False)


# -- forecasts ---------------------------------------------------------------------------------------------------------


def rows_of(told: Outcomes, n: int) -> list[int]:
    """Some rows, spread over all."""
    return [*range(0, len(told.label), max(1, len(told.label) // n))]


def engine_says_it_works(model: Model, known: Pattern, repairs: tuple[str, ...]) -> float:
    """P(the set works after them | what was known), by two beliefs of the engine."""
    cured = replace(known, items=(*known.items, RepairOutcome(repairs, True)))
    belief = model.compiled.engine.belief
    try:
        return float(np.exp(belief(cured.steps(model)).log_evidence - belief(known.steps(model)).log_evidence))
    except ContradictoryEvidence:
        return 0.0


def test_in_a_small_model_the_chance_of_a_cure_is_exact() -> None:
    model = model_of(TINY)
    told = repairs_of(Patterns.of("tiny", [(pattern(model, events), n) for events, n in SMALL_JOBS]))
    chances = repair_forecasts(model, told).chances
    assert told.n_jobs == 56
    for row, number in enumerate(told.pattern.tolist()):
        known = told.evidence[number]
        if not doubtful(known):
            assert chances[row, 0] == pytest.approx(
                engine_says_it_works(model, known, told.first_repair[number]), abs=1e-9
            )


def doubtful(known: Pattern) -> bool:
    """Whether something was seen while nobody knew if the symptom showed: then a set only seems to work."""
    return "not_showing" in repr(known.items) or "unknown" in repr(known.items)


def test_the_chance_of_a_cure_is_the_engines(later: Patterns, written: Model) -> None:
    told = repairs_of(later)
    forecast = repair_forecasts(written, told)
    assert forecast.outcomes.n_jobs == told.n_jobs
    checked = 0
    for row in rows_of(told, 40):
        number = told.pattern[row]
        known = told.evidence[number]
        if not doubtful(known):
            expected = engine_says_it_works(written, known, told.first_repair[number])
            assert forecast.chances[row] == pytest.approx([expected, 1 - expected], abs=RARE)
            checked += 1
    assert checked >= 30


def engine_says_cause(model: Model, known: Pattern, components: tuple[str, ...]) -> np.ndarray:
    """By its table of joint states, in plain loops: a part for each faulty component, of those that can be cured."""
    engine = model.compiled.engine
    targets = engine.belief(known.steps(model)).targets
    sizes = [len(model.components[name].states) for name in engine.targets]
    chances = dict.fromkeys(components, 0.0)
    for place, chance in enumerate(targets):
        faulty = [n for n, s in zip(engine.targets, np.unravel_index(place, sizes), strict=True) if s]
        for name in faulty:
            if name in chances:
                chances[name] += float(chance) / len(faulty)
    values = np.array([*chances.values()])
    return values / values.sum()


def test_the_chances_of_causes_are_the_engines(later: Patterns, written: Model) -> None:
    told = causes_of(written, later, verified=True)
    forecast = cause_forecasts(written, told)
    evidence = [told.evidence[number] for number in told.pattern.tolist()]
    # Where a test may have cured something, the engine's belief is about the set after it, the forecast about before.
    rows = [row for row, known in enumerate(evidence) if "Altered" not in repr(known.items)][:15]
    assert len(rows) >= 5
    for row in rows:
        expected = engine_says_cause(written, evidence[row], told.classes)
        assert forecast.chances[row] == pytest.approx(expected, abs=RARE)
        if not evidence[row].is_told:
            expected = engine_says_cause(written, replace(evidence[row], items=()), told.classes)
            assert forecast.at_intake is not None
            assert forecast.at_intake[row] == pytest.approx(expected, abs=RARE)
    np.testing.assert_allclose(forecast.chances.sum(axis=1), 1)


def test_a_group_has_its_own_odds(later: Patterns, written: Model) -> None:
    """Jobs of a group are forecast by its shares, all others by the shop's."""
    shares, second = (next(c for c in chances_of(written) if c.id == id_) for id_ in ("shares", "second_fault_share"))
    turned = replace(shares, means=tuple(np.roll(shares.means, 3).tolist()))
    own = with_chances(written, [turned], written.version)
    odds = tuple(own.compiled.odds[mode] for mode in written.modes)
    groups = {"HRN-43": GroupShares(turned, second, odds)}
    pooled = replace(written, pooled=Pooled("panel", 10, 5, 20, groups))
    told = repairs_of(later.thinned(0.4))
    is_own = np.array([by[-1] == "HRN-43" for by in told.by])
    assert 5 < is_own.sum() < len(is_own) - 5
    mixed = repair_forecasts(pooled, told).chances
    plain, of_group = (repair_forecasts(model, told).chances for model in (written, in_group(pooled, "HRN-43")))
    np.testing.assert_allclose(mixed[is_own], of_group[is_own], atol=RARE)
    np.testing.assert_allclose(mixed[~is_own], plain[~is_own], atol=RARE)
    assert np.abs(of_group - plain)[is_own].max() > 0.05


# -- what is asked of jobs ---------------------------------------------------------------------------------------------


def job(*events: str, outcome: str = "fixed", verification: str = "part_tested") -> Pattern:
    return pattern(backlight(), events, outcome=outcome, verification=verification, by=("2030-01", "X"))


JOBS = (
    (job("sound=present", "replace_driver=not", "flashlight=image_seen", "replace_strips=works"), 3),
    (job("sound=present", "replace_strips=works", verification="proved_by_swap"), 2),
    (job("sound=present", "replace_strips=works", verification="symptom_cleared"), 4),
    (job("replace_strips+replace_driver=works"), 5),
    (job("replace_strips=not", outcome="not_worth_repairing", verification=""), 6),
    (job("sound=present", outcome="declined", verification=""), 7),
    (job("sound=present"), 8),
)


def test_each_job_is_asked_what_it_can_answer() -> None:
    """Counted by hand. What was found after the first repair is not known before it; how a job ended is never."""
    patterns = Patterns.of("backlight", JOBS, ("month", "panel"))
    repairs = repairs_of(patterns)
    assert (repairs.classes, repairs.n_jobs) == (WORKS, 20)
    assert [(left.why, left.jobs) for left in repairs.left_out] == [(outcomes.NOT_TRIED, 15)]
    asked = sorted(
        (repairs.first_repair[p], WORKS[n], j)
        for p, n, j in zip(repairs.pattern, repairs.label, repairs.jobs, strict=True)
    )
    assert asked == [
        (("replace_driver",), WORKS[1], 3),
        (("replace_driver", "replace_strips"), WORKS[0], 5),
        (("replace_strips",), WORKS[1], 6),
        (("replace_strips",), WORKS[0], 6),
    ]
    known = {(len(each.items), each.outcome, each.verification) for each in repairs.evidence}
    assert known == {(1, "", ""), (0, "", "")}
    verified = causes_of(backlight(), patterns, verified=True)
    assert {verified.classes[n] for n in verified.label} == {"strips"}
    assert verified.n_jobs == 5
    assert {left.why: left.jobs for left in verified.left_out} == {
        outcomes.NOT_FIXED: 13,
        outcomes.NO_REPAIR: 8,
        outcomes.SEVERAL: 5,
        outcomes.NOT_VERIFIED: 4,
    }
    assert causes_of(backlight(), patterns, verified=False).n_jobs == 9


def test_only_what_a_repair_fixes_can_be_the_cause() -> None:
    assert "other" not in curable(backlight())
    assert {"strips", "driver", "panel"} < {*curable(backlight())}


def test_baselines_survive_small_classes_and_silence() -> None:
    """A class nobody had gets half a job's chance; one class alone, or no job at all, leaves the base rate."""
    later = causes_of(backlight(), Patterns.of("backlight", JOBS, ("month", "panel")), verified=False)
    several = tuple((job(f"{made}=works"), n) for made, n in (("replace_strips", 30), ("replace_driver", 1)))
    earlier = causes_of(backlight(), Patterns.of("backlight", several, ("month", "panel")), verified=False)
    for name, chances in baselines(earlier, later).items():
        assert chances.sum(axis=1) == pytest.approx(1), name
        assert (chances > 0).all(), name
        assert chances[0, later.classes.index("panel")] == pytest.approx(
            0.5 / (31 + 0.5 * len(later.classes)), rel=1e-9
        )
        assert chances[0].argmax() == later.classes.index("strips")
    for few in (several[:1], ()):
        earlier = causes_of(backlight(), Patterns.of("backlight", few, ("month", "panel")), verified=False)
        every = [*baselines(earlier, later).values()]
        np.testing.assert_array_equal(every[0], every[1])
        np.testing.assert_array_equal(every[0], every[2])


def test_baselines_learn_what_there_is_to_learn() -> None:
    """Findings that say the cause, in a made-up history of 80 jobs."""
    told = {"dark": "replace_strips", "all_light_ok": "replace_driver"}
    listed = tuple((job(f"strip_tester={state}", f"{made}=works"), 40) for state, made in told.items())
    both = causes_of(backlight(), Patterns.of("backlight", listed, ("month", "panel")), verified=False)
    for name, chances in baselines(both, both).items():
        right = chances[np.arange(len(both.label)), both.label]
        assert (right > 0.85).all() == (name != "base_rate"), name


# -- the whole ---------------------------------------------------------------------------------------------------------


def test_every_later_job_is_judged_or_left_out_with_its_reason(found: Calibration, jobs: Path, written: Model) -> None:
    by_day = count_jobs(jobs, written, ("day",))
    n_later = sum(n for (day,), n in by_day.items() if day >= SINCE)
    assert sum(by_day.values()) == N_JOBS
    assert found.causes is not None
    for judged in (found.repairs, found.causes):
        assert judged.n_jobs + sum(left.jobs for left in judged.left_out) == n_later
        assert sum(period.n for period in judged.watch.periods) == judged.n_jobs
    assert sum(each.n for each in found.repairs.by_part) == found.repairs.n_jobs
    assert sum(each.happened for each in found.causes.by_part) == found.causes.n_jobs == found.n_verified
    assert (found.n_learned, found.may_know, found.model) == (0, False, "backlight@0")


def test_scores_stand_beside_the_baselines(found: Calibration) -> None:
    assert found.causes is not None
    assert [each.way for each in found.repairs.scores] == ["faultnet", "base_rate", "naive_bayes", "boosted_trees"]
    own, intake, base = found.causes.scores[:3]
    assert (own.log_more.mean, own.brier_more.low) == (0, 0)
    assert intake.log_more.low > 0, "findings tell something"
    assert base.log.mean == pytest.approx(own.log.mean + base.log_more.mean)
    assert found.causes.parts.score == pytest.approx(own.brier.mean), "the parts are those of the score"
    assert found.repairs.parts.score == pytest.approx(found.repairs.scores[0].brier.mean)


def test_frames_hold_numbers(found: Calibration) -> None:
    frame = found.to_frame()
    assert {*frame["asked"]} == {"repairs", "causes"}
    pooled = frame[(frame["asked"] == "repairs") & (frame["of"] == "all")]
    assert pooled["n"].sum() == found.repairs.n_jobs
    assert len(found.scores_frame()) == 9
    assert {"strips", "replace_strips"} < {*found.by_part_frame()["name"]}
    assert found.over_time_frame()["log_score"].dtype == float


def test_too_sure_numbers_are_told_from_the_file_s(found: Calibration, jobs: Path, written: Model) -> None:
    """Rows of all tables sharpened by a power of 3: jobs surprise them more than they expect, far beyond the file's."""
    sharp = []
    for each in chances_of(written):
        if each.kind == "row":
            raised = np.array(each.means) ** 3
            sharp.append(replace(each, means=tuple((raised / raised.sum()).tolist())))
    odds = tuple(written.compiled.odds[mode] for mode in written.modes)
    sure = replace(with_chances(written, sharp, "backlight@0"), root_odds=odds)
    of_sure = calibration(jobs, sure, since=SINCE, learning=False)
    assert of_sure.repairs.watch.overall_z > found.repairs.watch.overall_z + 5
    assert not of_sure.repairs.diagram.holds
    assert of_sure.repairs.scores[0].log.mean > found.repairs.scores[0].log.mean


def test_numbers_are_learned_from_earlier_jobs_only(written: Model, tmp_path: Path) -> None:
    file, since = first_jobs(120, tmp_path / "few.csv"), "2028-01-23"
    told = calibration(file, written, since=since, seed=3)
    earlier = count_patterns(file, written, before=since, with_returned=False)
    assert 30 <= earlier.n_jobs <= 60
    assert (told.n_learned, told.model) == (earlier.n_jobs, "backlight@tuned")
    assert told.repairs.n_before == repairs_of(earlier).n_jobs
    assert min(period.name for period in told.repairs.watch.periods) >= "2028-01"


def test_two_thirds_are_learned_from_where_nobody_says_a_day(jobs: Path, written: Model) -> None:
    told = calibration(jobs, written, learning=False)
    n_before = sum(n for (day,), n in count_jobs(jobs, written, ("day",)).items() if day < told.since)
    assert abs(n_before - 2 / 3 * N_JOBS) < 6


def test_the_shop_s_database_says_the_same_as_its_file(on_sqlite: Workshop, jobs: Path) -> None:
    taken(on_sqlite, jobs)
    of_shop = calibrate(on_sqlite, Wanted("backlight@0", LATE))
    of_file = calibrate(on_sqlite, Wanted("backlight@0", LATE, (jobs,)))
    assert repr(of_shop) == repr(of_file), "by their text: the interval of a single job is no number"


def test_too_few_jobs_and_what_cannot_be_judged(jobs: Path, written: Model, tmp_path: Path) -> None:
    with pytest.raises(TooLittleData, match="something was repaired; at least 30 are needed"):
        calibration(jobs, written, since="2040-01-01", learning=False)
    with pytest.raises(TooLittleData, match="no job has ended"):
        calibration(written_out(tmp_path / "none.csv", ()), written)
    with pytest.raises(UsageProblem, match="write a day as"):
        calibration(jobs, written, since="spring")
    with pytest.raises(UsageProblem, match="has learned from jobs already"):
        calibration(jobs, replace(written, version="backlight@3"))
    with pytest.raises(UsageProblem, match="has no repairs"):
        repair_forecasts(replace(written, repairs={}), repairs_of(Patterns.of("backlight", JOBS)))


def test_numbers_that_may_know_the_jobs_are_said_to(jobs: Path, written: Model) -> None:
    tuned = replace(written, version="backlight@3")
    told = calibration(jobs, tuned, since=LATE, learning=False)
    assert told.may_know
    assert told.causes is None or told.n_verified >= 30


def test_the_invented_shop_is_known_by_its_panels() -> None:
    assert is_invented({"MRT-32A": 10, "hrn 43": 3, "": 50, "PX-1": 12})
    assert not is_invented({"MRT-32A": 10, "": 50, "PX-1": 12})
    assert not is_invented({"": 50})
    assert not is_invented({})


# -- at the terminal, and drawn ----------------------------------------------------------------------------------------


def test_the_command_says_it_within_80_columns(jobs: Path, tmp_path: Path) -> None:
    data = {"FAULTNET_DATA": str(tmp_path), "FAULTNET_NOW": "2031-05-17T09:00:00+00:00"}
    rows, drawn = tmp_path / "rows.csv", tmp_path / "drawn.svg"
    asked = ("calibration", "backlight@0", "--from", str(jobs), "--since", SINCE)
    done = run(*asked, "--out", str(rows), "--plot", str(drawn), **data)
    lines = done.stdout.splitlines()
    assert lines[0] == INVENTED
    assert [line for line in lines if len(line) > 80] == []
    assert "\x1b" not in done.stdout
    for part in ("Does the first repair cure the set?", "Which component is the cause?", "When it says", "LED strips"):
        assert part in done.stdout
    assert rows.read_text(encoding="utf-8").startswith("of,forecast,observed,n,happened,low,high,is_outside,asked\n")
    assert drawn.read_text(encoding="utf-8").count("<svg") == 1


def test_the_command_as_json_and_its_exit_codes(jobs: Path, tmp_path: Path) -> None:
    data = {"FAULTNET_DATA": str(tmp_path)}
    asked = ("calibration", "backlight@0", "--from", str(jobs), "--since")
    told = json.loads(run(*asked, LATE, "--json", **data).stdout)
    assert (told["schema_version"], told["invented_shop"], told["n_learned"]) == (1, True, 0)
    assert told["repairs"]["diagram"]["bins"][0].keys() >= {"n", "forecast", "observed", "low", "high", "is_outside"}
    assert "at least 30 are needed" in run(*asked, "2040-01-01", expect=4, **data).stderr
    assert "ends in .svg or .png" in run(*asked, SINCE, "--plot", "x.gif", expect=2, **data).stderr


def test_a_plot_is_the_same_bytes_each_time(found: Calibration, tmp_path: Path) -> None:
    for suffix in (".svg", ".png"):
        files = [tmp_path / f"{name}{suffix}" for name in ("one", "two")]
        for file in files:
            save(draw_reliability(found), file)
        assert files[0].read_bytes() == files[1].read_bytes()
    with pytest.raises(UsageProblem):
        check_name(tmp_path / "x.pdf")


def test_a_plot_shows_what_is_few_and_what_is_outside(found: Calibration) -> None:
    figure = draw_reliability(found)
    diagrams = figure.axes[:2]
    for axes, judged in zip(diagrams, (found.repairs, found.causes), strict=True):
        assert judged is not None
        marks = [line for line in axes.lines if line.get_marker() == "o"]
        assert len(marks) == len(judged.diagram.bins)
        hollow = sum(mark.get_markerfacecolor() == "white" for mark in marks)
        assert hollow == sum(max(b.happened, b.n * b.forecast) < 10 for b in judged.diagram.bins)
        crossed = sum(line.get_marker() == "x" for line in axes.lines)
        assert crossed == sum(b.is_outside for b in judged.diagram.bins)
        assert axes.get_ylabel() == "it was so (%)"
    counts = [sum(bar.get_height() for bar in axes.patches) for axes in figure.axes[2:]]
    assert counts[0] == found.repairs.n_jobs
