"""Past jobs in and out: rows and back, batches that can be undone, and what they amount to."""

import csv
import json
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from histories import backlight, jobs_in, kept, made_up, taken, written_out
from hypothesis import given
from hypothesis import strategies as st
from test_cli import run
from test_store import NOW

from faultnet.case import parse_events
from faultnet.errors import UsageProblem
from faultnet.history.items import joined, parted
from faultnet.history.read import RowReader
from faultnet.history.row import row_of
from faultnet.jobs import Entry, Job
from faultnet.jobs.entry import entry_of
from faultnet.sheets.read import read_table
from faultnet.store.jobs import find_job
from faultnet.store.summary import VERIFIED, summarize
from faultnet.workshop.importing import Source, batches_of, take_in, undo
from faultnet.workshop.opening import Opening, open_job
from faultnet.workshop.workshop import Workshop

# -- rows and back -----------------------------------------------------------------------------------------------------

any_text = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp")), max_size=20)


@given(st.lists(any_text.map(str.strip).filter(bool), max_size=5), st.sampled_from(";,"))
def test_items_of_a_cell_come_back(items: list[str], mark: str) -> None:
    assert parted(joined(items, mark), mark) == items


def without_times(job: Job) -> Job:
    """What a row keeps of a job: its entries as they count, not when each was written."""
    kept = [e for e in job.standing if e.kind not in ("stage", "price", "setup")]
    order = {"fact": 0, "given": 1, "skipped": 3, "note": 4}
    kept.sort(key=lambda e: order.get(e.kind, 2))
    entries = tuple(replace(e, seq=0, place=0, supersedes=None, at=None) for e in kept)
    return replace(job, entries=entries, parts=tuple(replace(p, seq=0) for p in job.parts))


def test_made_up_jobs_come_back_from_their_rows() -> None:
    reader = RowReader(backlight())
    for job in made_up(300).jobs:
        assert without_times(reader.job(row_of(job, backlight()))) == without_times(job)


EVENTS = [
    "sound=present",
    "sound=absent@by:anna",
    "loaded_voltage=0.1,0@settled",
    "strip_tester=dark:0.8,abnormal:0.2",
    "bl_on=high@not_showing",
    "open_voltage=OL,?",
    "replace_strips+replace_driver=not",
    "reset_settings=works",
]


@given(st.lists(st.sampled_from(EVENTS), max_size=8), st.lists(any_text.map(str.strip).filter(bool), max_size=3))
def test_jobs_of_any_events_and_notes_come_back(texts: list[str], notes: list[str]) -> None:
    entries = [entry_of(event) for event in parse_events(backlight(), texts)]
    first = next((n for n, entry in enumerate(entries) if entry.kind == "repair"), len(entries))
    before = sorted(entries[:first], key=lambda e: [x.name for x in entries[:first]].index(e.name))
    entries = [*before, *entries[first:], *(Entry("note", note=note) for note in notes)]
    numbered = tuple(replace(e, seq=n, place=n, at=NOW) for n, e in enumerate(entries, start=1))
    job = Job("7", "backlight", "open", NOW, NOW, entries=numbered)
    back = RowReader(backlight()).job(row_of(job, backlight()))
    assert without_times(back) == without_times(job)


def test_everything_wrong_with_a_row_is_told_with_its_column() -> None:
    row = {"opened": "17/5/2031", "sound": "presnt", "size": "fifty", "given": "age=old", "then": "replace_strip=works"}
    row |= {
        "skipped": "smell",
        "outcome": "mended",
        "price": "-3",
        "stage": "lost",
        "parts": "replace_strips: source x",
    }
    with pytest.raises(UsageProblem) as raised:
        RowReader(backlight()).job(row)
    told = {problem.partition(":")[0] for problem in raised.value.problems}
    assert told == set(row)


# -- in and out --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", ["csv", "parquet"])
def test_export_then_import_gives_the_same_history(workshop: Workshop, tmp_path: Path, suffix: str) -> None:
    jobs = made_up(120).jobs
    first = written_out(tmp_path / f"first.{suffix}", jobs)
    report = taken(workshop, first)
    assert (report.n_rows, report.n_jobs, report.n_rejected, report.batch) == (120, 120, 0, 1)
    found = jobs_in(workshop)
    assert list(map(without_times, found)) == list(map(without_times, jobs))
    second = written_out(tmp_path / f"second.{suffix}", tuple(found))
    assert list(read_table(second).rows) == list(read_table(first).rows)


def test_the_same_file_twice_adds_nothing(workshop: Workshop, tmp_path: Path) -> None:
    file = written_out(tmp_path / "jobs.csv", made_up(40).jobs)
    taken(workshop, file)
    before = jobs_in(workshop)
    again = taken(workshop, file)
    assert (again.n_jobs, again.n_known, again.batch) == (0, 40, None)
    assert jobs_in(workshop) == before


def test_a_corrected_row_takes_the_place_of_the_first_until_it_is_undone(workshop: Workshop, tmp_path: Path) -> None:
    jobs = made_up(40).jobs
    taken(workshop, written_out(tmp_path / "first.csv", jobs))
    before = jobs_in(workshop)
    changed = tuple(replace(job, opened_by="k9") if n % 10 == 0 else job for n, job in enumerate(jobs))
    report = taken(workshop, written_out(tmp_path / "second.csv", changed))
    assert (report.n_jobs, report.n_corrected, report.n_known, report.batch) == (4, 4, 36, 2)
    assert [job.opened_by == "k9" for job in jobs_in(workshop)] == [n % 10 == 0 for n in range(40)]
    assert undo(workshop, 2) == 4
    assert jobs_in(workshop) == before


def test_a_batch_is_taken_out_whole(workshop: Workshop, tmp_path: Path) -> None:
    taken(workshop, written_out(tmp_path / "first.csv", made_up(40).jobs[:20]))
    before = jobs_in(workshop)
    taken(workshop, written_out(tmp_path / "second.csv", made_up(40).jobs[20:]))
    assert undo(workshop, 2) == 20
    assert jobs_in(workshop) == before
    assert [(b.number, b.undone_at is None) for b in batches_of(workshop)] == [(2, False), (1, True)]
    with pytest.raises(UsageProblem, match="was taken out already; in are 1"):
        undo(workshop, 2)
    with pytest.raises(UsageProblem, match="batch 7: there is none"):
        undo(workshop, 7)


def test_jobs_of_the_bench_are_not_changed_by_a_file(workshop: Workshop, tmp_path: Path) -> None:
    jobs = made_up(40).jobs
    open_job(workshop, Opening("backlight", number=jobs[3].number))
    report = taken(workshop, written_out(tmp_path / "jobs.csv", jobs), partial=True)
    assert report.n_rejected == 1
    assert "was opened at the bench" in report.rejected[0].problems[0]
    with workshop.database.read() as connection:
        assert find_job(connection, jobs[3].number).entries == ()


def test_comebacks_stay_joined_to_their_jobs(workshop: Workshop, tmp_path: Path) -> None:
    jobs = made_up(300).jobs
    taken(workshop, written_out(tmp_path / "jobs.csv", jobs))
    wanted = {job.number: job.after for job in jobs if job.after}
    assert wanted
    assert {job.number: job.after for job in jobs_in(workshop) if job.after} == wanted


def test_an_import_that_is_broken_off_leaves_nothing(workshop: Workshop, tmp_path: Path) -> None:
    file = written_out(tmp_path / "jobs.csv", tuple(replace(j, number=f"{j.number}-{n}") for n in range(20)
                                                    for j in made_up(120).jobs))  # fmt: skip

    def stop(n: int) -> None:
        if n >= 2000:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        take_in(workshop, Source(file, backlight()), partial=False, told=stop)
    assert jobs_in(workshop) == []
    assert batches_of(workshop) == ()


def test_without_partial_one_bad_row_keeps_all_out(workshop: Workshop, tmp_path: Path) -> None:
    file = written_out(tmp_path / "jobs.csv", made_up(40).jobs)
    with file.open("a", encoding="utf-8") as stream:
        stream.write("9001,backlight,soon\n")
    report = taken(workshop, file)
    assert (report.batch, report.n_rejected) == (None, 1)
    assert jobs_in(workshop) == []
    report = taken(workshop, file, partial=True)
    assert (report.batch is not None, report.rejected[0].number) == (True, 42)
    assert [batch.n_rejected for batch in batches_of(workshop)] == [1]
    assert report.rejected[0].cells[:3] == ("9001", "backlight", "soon")
    assert len(jobs_in(workshop)) == 40


def test_a_summary_counts_what_the_jobs_say(workshop: Workshop, tmp_path: Path) -> None:
    """Each count against the jobs themselves, on both kinds of database, with a batch that was corrected."""
    jobs = made_up(120).jobs
    taken(workshop, written_out(tmp_path / "first.csv", tuple(replace(j, opened_by="x") for j in jobs)))
    taken(workshop, written_out(tmp_path / "jobs.csv", jobs))
    with workshop.database.read() as connection:
        found = summarize(connection)
    closings = [job.closing for job in jobs if job.closing is not None]
    fixed = [c for c in closings if c.outcome == "fixed"]
    assert (found.n_jobs, found.n_comebacks) == (120, sum(bool(job.after) for job in jobs))
    assert found.by_outcome == Counter(c.outcome for c in closings)
    assert found.by_verification == Counter(c.verification for c in fixed)
    assert found.by_month == Counter(job.opened_at.isoformat()[:7] for job in jobs)
    assert found.by_panel == Counter(job.facts.get("panel", "") for job in jobs)
    seen = Counter(name for job in jobs for name in {e.name for e in job.entries if e.kind in ("finding", "reading")})
    assert found.tests == seen
    assert found.gaps["no age"] == sum("age" not in job.facts for job in jobs)
    assert found.gaps["no price"] == sum(c.price is None for c in closings)
    cured: Counter[tuple[str, bool]] = Counter()
    for job in jobs:
        if job.closing is not None and job.closing.outcome == "fixed":
            last = [e.name for e in job.entries if e.kind == "repair" and e.state == "works"][-1]
            cured[last, job.closing.verification in VERIFIED] += 1
    assert found.cured_by == {name: (cured[name, True], cured[name, False]) for name, _ in cured}


def test_jobs_go_out_in_the_columns_of_the_open_repair_data_standard(tmp_path: Path) -> None:
    """Columns and statuses of the Open Repair Data Standard v0.3, from memory."""
    here, out = {"FAULTNET_DATA": str(tmp_path / "data")}, tmp_path / "shared.csv"
    file = written_out(tmp_path / "jobs.csv", made_up(120).jobs)
    run("history", "import", str(file), "--yes", **here)
    run(
        "history", "export", str(out), "--as", "open_repair", "--provider", "Lantern Street", "--country", "XXX", **here
    )
    with out.open(encoding="utf-8", newline="") as stream:
        rows = {row["id"]: row for row in csv.DictReader(stream)}
    assert set(rows["1001"]) >= {
        "product_age",
        "repair_status",
        "repair_barrier_if_end_of_life",
        "problem",
        "event_date",
    }
    for job in made_up(120).jobs:
        row = rows[job.number]
        assert job.closing is not None
        assert row["repair_status"] in ("Fixed", "Repairable", "End of life", "Unknown")
        assert (row["repair_status"] == "Fixed") == (job.closing.outcome == "fixed")
        has_barrier = job.closing.outcome in ("not_worth_repairing", "no_part")
        assert bool(row["repair_barrier_if_end_of_life"]) == has_barrier
        assert row["problem"].startswith("sound")
        assert not any(code and code in row["problem"] for code in (job.facts.get("panel"), job.facts.get("board")))
    assert "--as excel" in run("history", "export", str(out), "--as", "excel", expect=2, **here).stderr


# -- at the terminal ---------------------------------------------------------------------------------------------------


def test_history_at_the_terminal(tmp_path: Path) -> None:
    here = {"FAULTNET_DATA": str(tmp_path / "data")}
    out = str(tmp_path / "made_up.csv")
    run("simulate", "backlight", "--jobs", "40", "--seed", "4", "--out", out)
    assert (tmp_path / "made_up-truth.csv").exists()
    looked = run("history", "import", out, **here).stdout
    assert "40  jobs to take in" in looked
    assert "Nothing was taken in yet" in looked
    assert "as batch 1" in run("history", "import", out, "--yes", **here).stdout
    assert "40  there already" in " ".join(run("history", "import", out, "--yes", **here).stdout.split("\n"))
    text = run("history", "summary", **here).stdout
    assert "40 jobs from 2028-01" in text
    assert max(map(len, text.splitlines())) <= 80
    assert json.loads(run("history", "summary", "--json", **here).stdout)["n_jobs"] == 40
    exported = str(tmp_path / "out.csv")
    run("history", "export", exported, **here)
    assert Path(exported).read_text(encoding="utf-8") == Path(out).read_text(encoding="utf-8")
    assert json.loads(run("history", "import", "--batches", "--json", **here).stdout)["batches"][0]["jobs"] == 40
    assert "Taken out: batch 1, 40 jobs" in run("history", "import", "--undo", "1", **here).stdout
    file = kept(tmp_path)
    assert "--model: say which model" in run("history", "import", str(file), expect=2, **here).stderr
    options = [
        "--model",
        "backlight",
        "--map",
        str(tmp_path / "map.yaml"),
        "--rejected",
        str(tmp_path / "rejected.csv"),
    ]
    told = run("history", "import", str(file), *options, **here)
    assert "Cat" in told.stdout
    assert "rows cannot be taken; they are in" in told.stderr
    rejected = list(read_table(tmp_path / "rejected.csv").rows)
    assert rejected[0].cells[:2] == ("2", "17")
    assert "decimal sign" in rejected[0].cells[-1]
    mapping = (tmp_path / "map.yaml").read_text(encoding="utf-8")
    assert "is: size" in mapping
    assert "parted_by" in mapping
    done = run("history", "import", str(file), *options, "--decimal-comma", "--yes", **here).stdout
    assert "as batch" in done
    assert max(map(len, done.splitlines())) <= 80
