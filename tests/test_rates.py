"""Rates of a history: labels counted, jobs weighed, sets in service, comebacks, and how all of it is shown."""

import csv
import json
import subprocess
import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pytest
from conftest import opened_workshop
from histories import backlight, made_up, taken, written_out
from learners import model_of, pattern
from scipy.stats import gamma
from small_models import TINY

from faultnet.analysis.comebacks import comebacks
from faultnet.analysis.in_service import InService, occurrences, of_cause, read_in_service
from faultnet.analysis.rates import Rates, rates
from faultnet.analysis.targets import NOTHING, SEVERAL, targets_of
from faultnet.analysis.values import shown
from faultnet.analysis.weigh import weigh
from faultnet.counting import count_patterns
from faultnet.counting.ask import models_in
from faultnet.counting.returns import REPAIR, SOURCE, returns
from faultnet.counting.tally import tally
from faultnet.engine.evidence import findings
from faultnet.errors import ContradictoryEvidence, FileProblem, PlacedProblem, TooLittleData, UsageProblem
from faultnet.history.row import columns
from faultnet.jobs.bands import AGE_BANDS, SIZE_BANDS, age_band, size_band
from faultnet.model import Model
from faultnet.patterns import Patterns
from faultnet.plots import draw_comebacks, draw_rates, save
from faultnet.sheets.write import write_frame, write_table
from faultnet.simulate.world import GROUPS
from faultnet.statistics.lifetimes import Lifetimes
from faultnet.statistics.occurrences import gamma_rate
from faultnet.statistics.shares import grid, jeffreys, of_counts, unpooled
from faultnet.statistics.survival import kaplan_meier
from faultnet.telling.rates import words_for
from faultnet.workshop.rating import Wanted, rate
from faultnet.workshop.workshop import Workshop

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "data" / "synthetic" / "jobs.csv"
GROUP_OF = {code: group.name for group in GROUPS for code in group.codes}


def group_of(code: str) -> str:
    return GROUP_OF.get(code, code)


@cache
def demo_rows() -> list[dict[str, str]]:
    with DEMO.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def first_visits() -> list[dict[str, str]]:
    return [row for row in demo_rows() if row["outcome"] and row["comeback"] != "same"]


def cure_of(row: Mapping[str, str]) -> tuple[str, ...]:
    """The repairs of the last entry after which the set worked, by plain reading."""
    made = [item.strip() for item in row["then"].split(";") if item.strip().split("=")[0].split("+")[0] in REPAIRS]
    return tuple(sorted(made[-1].split("=")[0].split("+"))) if made and made[-1].endswith("=works") else ()


REPAIRS = tuple(backlight().repairs)


def history(folder: Path, rows: Sequence[Mapping[str, str]], name: str = "jobs.csv") -> Path:
    """A history of rows with what every job has."""
    file = folder / name
    usual = {"model": "backlight", "outcome": "fixed", "verification": "symptom_cleared", "stage": "done"}
    numbered = ({"job": str(n), **usual, **row} for n, row in enumerate(rows, start=1))
    write_table(file, columns([backlight()]), numbered)
    return file


# -- labels ------------------------------------------------------------------------------------------------------------


def test_labels_are_those_of_a_plain_count() -> None:
    counted: Counter[tuple[str, ...]] = Counter()
    for row in first_visits():
        counted[row["outcome"], "+".join(cure_of(row)), group_of(row["panel"]) if row["panel"] else ""] += 1
    told: Counter[tuple[str, ...]] = Counter()
    for each in tally(DEMO, backlight(), ("panel_group",), group_of=group_of):
        told[each.outcome, "+".join(each.cure), each.values[0]] += each.jobs
    assert told == counted


def test_columns_are_cut_into_bands_and_conditions_follow_from_what_is_known() -> None:
    ages = Counter(age_band(row["age"]) for row in first_visits())
    told = Counter({each.values[0]: 0 for each in tally(DEMO, backlight(), ("age",))})
    for each in tally(DEMO, backlight(), ("age", "size", "event_before")):
        told[each.values[0]] += each.jobs
    assert told == ages
    assert (age_band("1.9"), age_band("2"), age_band("12"), age_band("old")) == (*AGE_BANDS[:2], AGE_BANDS[3], "")
    assert [size_band(text) for text in ("32", "39", "40", "70", "")] == [
        SIZE_BANDS[0], SIZE_BANDS[0], SIZE_BANDS[1], SIZE_BANDS[3], ""
    ]  # fmt: skip
    by_condition = Counter[str]()
    for each in tally(DEMO, backlight(), ("event_before",)):
        by_condition[each.values[0]] += each.jobs
    noted = Counter(
        next((g.split("=")[1] for g in row["given"].split("; ") if g.startswith("event_before=")), "")
        for row in first_visits()
    )
    assert by_condition == noted
    young = {"age_band": Counter(e.values[0] for e in tally(DEMO, backlight(), ("age_band",)))}
    assert set(young["age_band"]) <= {"", *backlight().conditions["age_band"].states}


def test_days_bound_what_is_counted() -> None:
    rows = first_visits()
    all_of = sum(each.jobs for each in tally(DEMO, backlight()))
    early = sum(each.jobs for each in tally(DEMO, backlight(), before="2029-01-01"))
    late = sum(each.jobs for each in tally(DEMO, backlight(), since="2029-01-01"))
    assert (all_of, early, late) == (len(rows), sum(r["opened"] < "2029" for r in rows), all_of - early)
    with pytest.raises(UsageProblem, match="write a day"):
        tally(DEMO, backlight(), since="May")
    with pytest.raises(UsageProblem, match="not counted by colour; possible are panel_group"):
        tally(DEMO, backlight(), ("colour",))


def test_a_shop_s_database_and_its_file_tell_the_same(database_url: str, tmp_path: Path) -> None:
    file = written_out(tmp_path / "jobs.csv", made_up(400).jobs)
    for workshop in opened_workshop(database_url):
        taken(workshop, file)
        for by in ((), ("panel_group", "age"), ("month",), ("technician", "event_before")):
            told = [tally(source, backlight(), by, group_of=group_of) for source in (workshop.database, file)]
            assert told[0] == told[1]
        days = {"since": "2028-06-01", "before": "2030-01-01"}
        told = [tally(source, backlight(), ("month",), **days) for source in (workshop.database, file)]
        assert told[0] == told[1]
        assert {each.values[0] for each in told[0]} <= {f"{y}-{m:02}" for y in (2028, 2029) for m in range(1, 13)}
        early = [
            count_patterns(source, backlight(), before="2029-01-01").n_jobs for source in (workshop.database, file)
        ]
        assert early[0] == early[1] > 0
        for by in ((REPAIR,), (SOURCE,), ("panel_group",)):
            told_of = [
                returns(source, backlight(), by, watched_days=90, group_of=group_of)
                for source in (workshop.database, file)
            ]
            assert told_of[0] == told_of[1]


def test_of_many_jobs_in_parquet_the_same_are_drawn_every_time(tmp_path: Path) -> None:
    file = tmp_path / "jobs.parquet"
    frame = pd.read_csv(DEMO, dtype="string")
    write_frame(file, pd.concat([frame] * 5))
    drawn = [count_patterns(file, backlight(), with_returned=False, most_jobs=500) for _ in range(2)]
    assert drawn[0].n_jobs == drawn[1].n_jobs
    assert [repr(each) for each in drawn[0]] == [repr(each) for each in drawn[1]]
    assert 380 <= drawn[0].n_jobs <= 620
    everything = count_patterns(file, backlight(), with_returned=False, most_jobs=10**6)
    assert everything.n_jobs == 5 * len(first_visits())


# -- jobs weighed ------------------------------------------------------------------------------------------------------

TINY_JOBS = (
    (["look=dark", "volts=0.1", "replace_lamp=not"], "a", 4),
    (["look=dark", "volts=30", "replace_lamp=works"], "a", 40),
    (["volts=zero"], "b", 9),
    (["look=lit", "replace_lamp=works"], "b", 12),
    (["look=dark", "volts=normal"], "", 15),
)


def tiny_patterns(model: Model) -> Patterns:
    listed = [(pattern(model, events, by=(group,)), n) for events, group, n in TINY_JOBS]
    return Patterns.of(model.id, listed, by=("panel_group",))


def test_what_jobs_say_is_what_the_engine_says_of_each(monkeypatch: pytest.MonkeyPatch) -> None:
    """P(lamp faulty, ... | all of a job), by the engine's own way through its steps. Blanks say nothing here."""
    monkeypatch.setattr("faultnet.analysis.weigh.looked_at", lambda _model, _patterns: ())
    model = model_of(TINY)
    patterns = tiny_patterns(model)
    weighed = weigh(model, patterns, targets_of(model, "mode"), n_draws=0)
    engine = model.compiled.engine
    assert weighed.n_jobs == 80
    for number, each in enumerate(weighed.groups.patterns):
        # what was faulty at intake: repairs change the set, so each fault is put in front of the job's steps
        names = list(model.components)
        chances: Counter[tuple[str, str]] = Counter()
        total = 0.0
        steps = each.steps(model)
        for place in np.ndindex(*(len(model.components[name].states) for name in names)):
            states = {name: model.components[name].states[n] for name, n in zip(names, place, strict=True)}
            try:
                after = engine.belief([*findings(engine.network, states), *steps])
            except ContradictoryEvidence:
                continue
            weight = float(np.exp(after.log_evidence))
            total += weight
            faulty = [(name, state) for name, state in states.items() if state != "ok"]
            for fault in faulty:
                chances[fault] += weight
            chances[NOTHING, ""] += weight * (not faulty)
            chances[SEVERAL, ""] += weight * (len(faulty) > 1)
        for target, said in zip(weighed.targets, weighed.said[0, number], strict=True):
            assert said == pytest.approx(chances[target] / total, abs=1e-9), (target, each)


@pytest.fixture(scope="module")
def by_group() -> Rates:
    return rates(DEMO, backlight(), "component", ("panel_group",), group_of=group_of, n_draws=1, before="2028-05-01")


def test_groups_and_all_jobs_stand_side_by_side(by_group: Rates) -> None:
    rows = [row for row in first_visits() if row["opened"] < "2028-05-01"]
    sizes = Counter(group_of(row["panel"]) if row["panel"] else "not written down" for row in rows)
    assert {values[0]: n for values, n in by_group.groups.items()} == sizes
    assert list(by_group.groups)[-1] == ("not written down",)
    assert by_group.n_jobs == len(rows) == by_group.n_weighed
    strips = {share.values: share for share in by_group.shares if share.name == "strips"}
    cured = [cure_of(row) for row in rows if cure_of(row)]
    mine = [c for c in cured if any("strips" in backlight().repairs[r].fixes for r in c)]
    assert (strips[()].counted, strips[()].counted_of) == (len(mine), len(cured))
    assert strips[()].by_count == jeffreys(len(mine), len(cured))
    for values, share in strips.items():
        assert share.by_jobs is not None
        assert share.by_jobs.low < share.by_jobs.value < share.by_jobs.high
        assert (share.pooled is not None) == (values not in ((), ("not written down",)))
        assert share.is_few == (share.jobs < 20)
    assert by_group.shares[0].name == "strips"
    assert {NOTHING, SEVERAL} <= {share.name for share in by_group.of_group()}


def test_frames_hold_every_number(by_group: Rates) -> None:
    frame = by_group.to_frame()
    assert len(frame) == len(by_group.shares)
    assert list(frame.columns[:5]) == ["panel_group", "name", "jobs", "counted", "counted_of"]
    first = frame.iloc[0]
    assert (first["by_jobs_value"], first["by_jobs_low"]) == by_group.shares[0].by_jobs[:2]  # type: ignore[index]
    assert frame["pooled_value"].notna().sum() == sum(share.pooled is not None for share in by_group.shares)


def test_of_somebody_with_few_jobs_nothing_is_said_and_names_are_not_shown(tmp_path: Path) -> None:
    rows = [{"opened_by": "k1", "then": "replace_strips=works"}] * 25
    rows += [{"opened_by": "k2", "then": "replace_driver=works"}] * 19
    rows += [{"opened_by": "Anna Smith", "then": "replace_driver=works"}] * 30
    found = rates(history(tmp_path, rows), backlight(), "component", ("technician",), counted_only=True)
    assert list(found.groups) == [("no code",), ("k1",)]
    assert found.n_hidden == 1
    assert found.n_jobs == 74
    assert "Anna" not in found.to_frame().to_csv()
    for by in ((), ("outcome",)):  # the same asked the other way round
        turned = rates(history(tmp_path, rows), backlight(), "technician", by)
        assert ({share.name for share in turned.shares}, turned.n_hidden) == ({"k1", "no code"}, 1)
    assert [shown([name], ["technician"])[0] for name in ("Anna", "Mueller", "ab", "k12", "tech-7", "")] == [
        "no code", "no code", "ab", "k12", "tech-7", "not written down"
    ]  # fmt: skip


def test_days_that_are_none_are_not_taken_for_months(tmp_path: Path) -> None:
    rows = [
        {"opened": opened, "then": "replace_strips=works"}
        for opened in ("17.05.2028", "yesterday", "")
        for _ in range(9)
    ]
    rows += [{"opened": f"2028-0{m}-03", "then": "replace_strips=works"} for m in (1, 2, 3, 4, 5) for _ in range(6)]
    file = history(tmp_path, rows)
    found = rates(file, backlight(), "component", ("month",), counted_only=True)
    assert {values[0]: n for values, n in found.groups.items()} == {
        **{f"2028-0{m}": 6 for m in (1, 2, 3, 4, 5)}, "not written down": 27
    }  # fmt: skip
    assert found.days == ("2028-01-03", "2028-05-03")
    assert rates(file, backlight(), "outcome", since="2028-02-01").n_jobs == 24, "only jobs with a day"
    with pytest.raises(UsageProblem, match="no day lies from 2030-01-01 on and before 2029-01-01"):
        rates(file, backlight(), since="2030-01-01", before="2029-01-01")
    with pytest.raises(UsageProblem, match="2030-13-45: write a day"):
        rates(file, backlight(), since="2030-13-45")


def test_a_share_of_few_labels_is_marked_and_groups_without_any_are_not_pooled(tmp_path: Path) -> None:
    rows = [
        {"board": board, "outcome": outcome, "then": "replace_strips=works" if outcome == "fixed" else ""}
        for board in ("A1", "B2", "C3", "D4")
        for outcome in ["fixed"] * 2 + ["declined"] * 28
    ]
    found = rates(history(tmp_path, rows), backlight(), "component", ("board",), counted_only=True)
    strips = [share for share in found.shares if share.name == "strips" and share.values]
    assert all(share.is_few and share.behind == 2 and share.jobs == 30 and share.pooled is None for share in strips)
    few = rates(history(tmp_path, rows[:20], "few.csv"), backlight())
    assert (few.n_weighed, few.n_jobs) == (0, 20), "too few jobs to weigh"
    with pytest.raises(TooLittleData, match="at least 30 are needed for shares by mode"):
        rates(history(tmp_path, rows[:20], "few.csv"), backlight(), "mode")


def test_plain_columns_are_counted_and_pooled(tmp_path: Path) -> None:
    rows = [
        {"board": board, "outcome": outcome}
        for board, n_fixed in (("A1", 30), ("B2", 5), ("C3", 20), ("D4", 9))
        for outcome in ["fixed"] * n_fixed + ["declined"] * 10
    ]
    found = rates(history(tmp_path, rows), backlight(), "outcome", ("board",))
    fixed = {share.values: share for share in found.shares if share.name == "fixed"}
    assert (fixed["B2",].counted, fixed["B2",].counted_of, fixed["B2",].by_jobs) == (5, 15, None)
    own, drawn = fixed["B2",].by_count, fixed["B2",].pooled
    assert own is not None
    assert drawn is not None
    assert own.value < drawn.value < fixed[()].by_count.value  # type: ignore[union-attr]
    assert fixed["B2",].best == drawn
    assert fixed["A1",].best == fixed["A1",].by_count


def test_what_cannot_be_asked_is_said_all_at_once(tmp_path: Path) -> None:
    with pytest.raises(UsageProblem) as told:
        rates(DEMO, backlight(), "colour", ("moon", "age", "size"))
    assert len(told.value.problems) == 3
    with pytest.raises(UsageProblem, match="one column or two, other than age"):
        rates(DEMO, backlight(), "age", ("age",))
    with pytest.raises(UsageProblem, match="not in which mode"):
        rates(DEMO, backlight(), "mode", counted_only=True)
    with pytest.raises(TooLittleData, match="3 jobs with backlight have ended; at least 10"):
        rates(history(tmp_path, [{}] * 3), backlight())


def test_months_have_trends(tmp_path: Path) -> None:
    """Thirty jobs a month; strips are 10 % of what cures in a first year, then 60 %."""
    rows = []
    for month in range(24):
        n_strips = 3 if month < 12 else 18
        opened = f"{2028 + month // 12}-{month % 12 + 1:02}-10T09:00:00+00:00"
        rows += [{"opened": opened, "then": f"{repair}=works"}
                 for repair in ["replace_strips"] * n_strips + ["replace_driver"] * (30 - n_strips)]  # fmt: skip
    found = rates(history(tmp_path, rows), backlight(), "component", ("month",), counted_only=True)
    told = {each.name: each for each in found.trends}
    assert told["strips"].chance > 0.99
    (change,) = told["strips"].changes
    assert (change.after, change.before_it.value, change.after_it.value) == (
        "2028-12", pytest.approx(0.1, abs=0.01), pytest.approx(0.6, abs=0.01)
    )  # fmt: skip
    assert told["strips"].yearly.low > 1
    assert told["led_cable"].changes == ()


# -- sets in service ---------------------------------------------------------------------------------------------------


def test_rates_per_set_year(tmp_path: Path) -> None:
    file = tmp_path / "base.csv"
    file.write_text(
        "Panel_Group,sets,from,to,note\nheron,1000,2028-01-01,2029-12-31,x\nlynx,500,2028-07-01,2029-01-01,\n"
    )
    base = read_in_service(file, backlight(), ("panel_group",))
    days = {("heron",): 1000 * 730, ("lynx",): 500 * 184}
    assert base.set_years == pytest.approx(
        {(): sum(days.values()) / 365.25, **{values: n / 365.25 for values, n in days.items()}}
    )
    bounded = read_in_service(file, backlight(), ("panel_group",), since="2028-10-01", before="2028-12-01")
    assert bounded.set_years["heron",] == pytest.approx(1000 * 61 / 365.25)
    jobs = {(): 50, ("heron",): 30, ("lynx",): 4, ("otter",): 6, ("not written down",): 10}
    all_of, heron, lynx = occurrences(jobs, base.matched(jobs))
    assert (all_of.values, all_of.jobs, all_of.set_years) == ((), 34, base.set_years[()]), "only groups in the table"
    closed = gamma(30.5, scale=1000 / base.set_years["heron",])
    assert heron.rate == pytest.approx((closed.mean(), *closed.ppf([0.05, 0.95])))
    assert heron.rate.value == pytest.approx(gamma_rate(30, base.set_years["heron",]).mean * 1000)
    assert (lynx.jobs, heron.pooled) == (4, None), "too few groups to pool"


def test_groups_in_service_are_found_however_they_are_written(tmp_path: Path) -> None:
    file = tmp_path / "base.csv"
    file.write_text("panel_group,sets,years\nMRT-32 a,100,2\nmrt32A,50,2\nunknown,10,1\n")
    base = read_in_service(file, backlight(), ("panel_group",))
    jobs = {(): 9, ("MRT32A",): 9}
    assert base.matched(jobs) == {(): 310, ("MRT32A",): 300, ("unknown",): 10}
    told = {each.values: (each.jobs, each.set_years) for each in occurrences(jobs, base.matched(jobs))}
    assert told == {(): (9, 310), ("MRT32A",): (9, 300), ("unknown",): (0, 10)}, (
        "no job in ten set-years is said as well"
    )


def test_sets_in_service_count_on_the_days_on_which_jobs_came_in(tmp_path: Path, on_sqlite: Workshop) -> None:
    rows = [{"opened": f"2028-0{month}-01T08:00:00+00:00"} for month in (1, 2, 3, 4) for _ in range(5)]
    base = tmp_path / "base.csv"
    base.write_text("sets,from,to\n1000,2010-01-01,2030-01-01\n")
    found = rate(on_sqlite, Wanted("backlight", "outcome", files=(history(tmp_path, rows),), in_service=base))
    assert isinstance(found, Rates)
    assert found.days == ("2028-01-01", "2028-04-01")
    (all_of,) = found.occurrences
    assert all_of.set_years == pytest.approx(1000 * 92 / 365.25)


def test_a_cause_s_rate_is_the_rate_of_jobs_times_its_share() -> None:
    nodes = grid(50)
    sure = np.zeros(len(nodes))
    sure[len(nodes) // 2] = 1.0  # one half, surely
    half = of_cause(80, 2_000, sure, 1 / (1 + np.exp(-nodes)))
    closed = gamma(80.5, scale=1 / 2)
    assert half == pytest.approx((closed.mean() / 2, *closed.ppf([0.05, 0.95]) / 2), rel=3e-3)
    posterior = unpooled(of_counts([12], [50]))
    told = of_cause(50, 1_000, posterior.values[0], posterior.shares)
    rng = np.random.default_rng(1)
    drawn = rng.gamma(50.5, 1.0, 400_000) * rng.beta(12.5, 38.5, 400_000)
    assert told == pytest.approx((drawn.mean(), *np.quantile(drawn, [0.05, 0.95])), rel=5e-3)


def test_everything_wrong_in_a_table_of_sets_is_said(tmp_path: Path) -> None:
    file = tmp_path / "base.csv"
    file.write_text("sets,from,to\nmany,2028-01-01,2029-01-01\n5,1.1.2028,2029-01-01\n5,2029-01-01,2028-01-01\n")
    with pytest.raises(PlacedProblem) as told:
        read_in_service(file, backlight())
    assert [(each.line, each.message) for each in told.value.problems] == [
        (2, "sets: many is no number from 0 on"),
        (3, "from: 1.1.2028 is no day; write it as 2031-05-17"),
        (4, "from 2029-01-01 comes after to 2028-01-01"),
    ]
    file.write_text("sets,from\n5,2028-01-01\n")
    with pytest.raises(FileProblem, match=r"no column panel_group, years \(or from and to\)"):
        read_in_service(file, backlight(), ("panel_group",))
    file.write_text("sets,years\n0,3\n")
    with pytest.raises(FileProblem, match="no set was in service"):
        read_in_service(file, backlight())
    file.write_text("sets;years\n1000,5;2\n")
    assert read_in_service(file, backlight(), decimal_comma=True) == InService({(): 2001.0})


# -- comebacks ---------------------------------------------------------------------------------------------------------


def closed(day: str, **cells: str) -> dict[str, str]:
    return {"opened": f"{day}T08:00:00+00:00", "closed": f"{day}T16:00:00+00:00", **cells}


def test_sets_are_watched_until_they_come_back_or_nobody_knows(tmp_path: Path) -> None:
    strips = {"then": "replace_strips=not; replace_driver=works", "parts": "replace_driver: old A, new B, source used"}
    rows = [
        closed("2028-01-01", **strips),  # back after 10 days
        closed("2028-01-11", after="1", comeback="same", outcome="declined"),
        closed("2028-01-01", then="replace_driver=works"),  # back with something else after 20
        closed("2028-01-21", after="3", comeback="other", outcome="declined"),
        closed("2028-01-05", then="replace_driver=works", parts="replace_driver: old A, new C, source new, paid 7.5"),
        closed("2028-02-20", then="replace_strips=works"),  # the history ends 9 days later
        closed("2028-02-29", outcome="declined"),
        {"opened": "2028-01-01", "then": "replace_driver=works"},  # nobody knows when it went home
        closed("2028-01-02", then="replace_driver=not", outcome="harmed"),  # not repaired
    ]
    file = history(tmp_path, rows)
    told = {
        (each.values, each.days, each.is_back): each.jobs
        for each in returns(file, backlight(), (REPAIR,), watched_days=40)
    }
    assert told == {
        (("replace_driver",), 10.0, True): 1,
        (("replace_driver",), 20.0, False): 1,
        (("replace_driver",), 40.0, False): 1,
        (("replace_strips",), 9.0, False): 1,
    }
    any_symptom = returns(file, backlight(), (), watched_days=40, any_symptom=True)
    assert sorted(each.days for each in any_symptom if each.is_back) == [10, 20]
    sources = {each.values[0] for each in returns(file, backlight(), (SOURCE,), watched_days=40)}
    assert sources == {"used", "new", ""}
    with pytest.raises(TooLittleData, match="closed with its day"):
        returns(history(tmp_path, [{"then": "replace_driver=works"}], "other.csv"), backlight(), watched_days=40)


def test_comebacks_of_the_demo_shop_against_a_plain_reading() -> None:
    rows = {row["job"]: row for row in demo_rows()}
    last = max(row["opened"] for row in rows.values())[:10]
    days, is_back = [], []
    later = {}
    for row in rows.values():
        if row["after"]:
            later.setdefault(row["after"], []).append(row)
    for row in first_visits():
        if row["outcome"] == "fixed":
            home = pd.Timestamp(row["closed"][:10])
            ends = [(pd.Timestamp(last) - home).days, 90]
            back = [(pd.Timestamp(r["opened"][:10]) - home).days for r in later.get(row["job"], ())]
            same = [r["comeback"] == "same" for r in later.get(row["job"], ())]
            days.append(max(min([*ends, *back]), 0.5))
            is_back.append(bool(same and same[0] and back[0] <= min(ends)))
    curve = kaplan_meier(Lifetimes.of(days, is_back))
    found = comebacks(DEMO, backlight())
    everybody = found.groups[0]
    assert (everybody.jobs, everybody.n_back, found.n_jobs) == (len(days), sum(is_back), len(days))
    assert everybody.back is not None
    assert everybody.back.value == pytest.approx(1 - curve.survival[-1], abs=0.002)  # last days of the history differ
    assert found.apart is not None
    assert (
        found.apart.degrees == sum(1 for e in found.groups if e.values and not e.is_few and e.values != ("others",)) - 1
    )
    frame = found.curves_frame()
    assert (frame["not_back"].between(0, 1)).all()
    assert len(found.to_frame()) == len(found.groups)
    with pytest.raises(UsageProblem, match="comebacks by colour: possible are repair, part_source"):
        comebacks(DEMO, backlight(), ("colour",))


# -- the command -------------------------------------------------------------------------------------------------------


def run(*typed: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "faultnet", "rates", *typed], capture_output=True, encoding="utf-8", timeout=250
    )


@pytest.fixture(scope="module")
def half_a_year(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("rates") / "jobs.csv"
    frame = pd.read_csv(DEMO, dtype="string")
    write_frame(file, frame[frame["opened"] < "2028-05-01"])
    return file


def test_the_answer_at_80_columns(half_a_year: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    shown = run("--from", str(half_a_year), "--as-is", "--by", "age", "--out", str(tmp_path / "r.parquet"))
    assert shown.returncode == 0, shown.stderr
    assert max(map(len, shown.stdout.splitlines())) <= 80
    assert "Shares by component, for each age" in shown.stdout
    assert "numbers of backlight@0, as in the file" in shown.stdout.replace("\n    ", " ")
    assert "LED strips" in shown.stdout
    assert "not one" not in shown.stdout
    written = duckdb.sql(f"SELECT * FROM '{tmp_path / 'r.parquet'}'").df()
    assert written["by_jobs_value"].dtype == float
    assert f"{len(written)} rows written" in shown.stderr


def test_the_answer_as_json_and_as_a_table(half_a_year: Path, tmp_path: Path) -> None:
    shown = run("outcome", "--from", str(half_a_year), "--by", "panel", "--json", "--out", str(tmp_path / "r.csv"))
    told = json.loads(shown.stdout)
    assert told["schema_version"] == 1
    assert told["shares"][0].keys() >= {"values", "name", "jobs", "counted", "by_count", "pooled", "is_few"}
    assert told["shares"][0]["by_count"].keys() == {"value", "low", "high"}
    assert len(pd.read_csv(tmp_path / "r.csv")) == len(told["shares"])
    back = json.loads(run("comebacks", "--from", str(half_a_year), "--json").stdout)
    assert back["groups"][0]["jobs"] == back["n_jobs"]


def test_plots_are_the_same_bytes_each_time_and_need_a_known_name(half_a_year: Path, tmp_path: Path) -> None:
    typed = ("comebacks", "--from", str(half_a_year), "--model", "backlight", "--plot")
    shown = run(*typed, str(tmp_path / "one.svg"))
    assert shown.returncode == 0, shown.stderr
    assert "may have gone elsewhere" in shown.stdout.replace("\n  ", " ")
    found = comebacks(half_a_year, backlight())
    save(draw_comebacks(found), tmp_path / "two.svg")
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()
    refused = run(*typed, str(tmp_path / "plot.pdf"))
    assert (refused.returncode, ".svg or .png" in refused.stderr) == (2, True)


@pytest.mark.parametrize("by", [(), ("age",), ("month",)])
def test_plots_say_what_they_show(by: tuple[str, ...], half_a_year: Path, tmp_path: Path) -> None:
    found = rates(half_a_year, backlight(), "outcome", by)
    for name in ("one.svg", "two.svg", "three.png"):
        save(draw_rates(found, words_for(found, backlight())), tmp_path / name)
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()
    assert (tmp_path / "three.png").read_bytes().startswith(b"\x89PNG")
    words = (tmp_path / "one.svg").read_text(encoding="utf-8")
    axis = "share (%)" if by == ("month",) else "share of jobs (%)"
    for told in (axis, "fixed"):
        assert f"<!-- {told}" in words, "text of figures stands in comments beside its outlines"


def test_exit_codes(tmp_path: Path, half_a_year: Path) -> None:
    few = history(tmp_path, [{}] * 3)
    assert run("--from", str(few)).returncode == 4
    assert run("--from", str(half_a_year), "--by", "colour").returncode == 2
    base = tmp_path / "base.csv"
    base.write_text("sets,years\nmany,1\n")
    refused = run("outcome", "--from", str(half_a_year), "--in-service", str(base))
    assert refused.returncode == 3
    assert "base.csv:2:1: sets: many is no number" in refused.stderr


def test_whose_jobs_are_counted_is_plain_or_said(tmp_path: Path, on_sqlite: Workshop) -> None:
    assert models_in(history(tmp_path, [{}] * 3)) == {"backlight": 3}
    mixed = history(tmp_path, [{}] * 3 + [{"model": "backlight_combined"}] * 2, "mixed.csv")
    refused = run("--from", str(mixed))
    assert (refused.returncode, "3 of backlight, 2 of backlight_combined" in refused.stderr) == (2, True)
    nothing = tmp_path / "nothing.csv"
    nothing.write_text("sound,panel\npresent,x\n")
    assert (run("--from", str(nothing)).returncode, run("comebacks", "--counted", "--from", str(mixed)).returncode) == (
        3,
        2,
    )
    with pytest.raises(TooLittleData, match="no job has ended yet"):
        rate(on_sqlite, Wanted(""))
    taken(on_sqlite, written_out(tmp_path / "made_up.csv", made_up(400).jobs[:50]))
    assert models_in(on_sqlite.database) == {"backlight": 50}
    found = rate(on_sqlite, Wanted("", "outcome"))
    assert isinstance(found, Rates)
    assert found.model == "backlight@0"
