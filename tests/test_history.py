"""Past jobs in and out: rows and back, tables of all kinds, batches that can be undone, and files that are damaged."""

import csv
import json
import random
import zipfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_cli import run
from test_store import NOW
from test_workshop import Clock

from faultnet.case import parse_events
from faultnet.errors import FaultnetError, UsageProblem
from faultnet.files import load_model
from faultnet.history.items import joined, parted
from faultnet.history.mapping import as_data, from_data, match_columns, splitting_from
from faultnet.history.read import RowReader
from faultnet.history.row import columns, row_of
from faultnet.history.translate import Translator
from faultnet.jobs import Entry, Job
from faultnet.jobs.entry import entry_of
from faultnet.model import Model
from faultnet.sheets.read import read_table
from faultnet.sheets.write import write_table
from faultnet.shop import Shop
from faultnet.simulate.shop import History, simulate
from faultnet.store.bulk import all_jobs
from faultnet.store.check import check_database
from faultnet.store.database import open_database
from faultnet.store.jobs import find_job
from faultnet.store.summary import VERIFIED, summarize
from faultnet.workshop.importing import Report, Source, batches_of, look_through, take_in, undo
from faultnet.workshop.opening import Opening, open_job
from faultnet.workshop.workshop import Workshop


@cache
def backlight() -> Model:
    return load_model("backlight")


@cache
def made_up(n: int) -> History:
    return simulate(backlight(), n, seed=11)


@pytest.fixture
def workshop(database_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workshop]:
    monkeypatch.setenv("FAULTNET_DATA", str(tmp_path / "data"))
    opened = Workshop(Shop(), open_database(database_url), Clock())
    yield opened
    opened.database.close()


@pytest.fixture
def on_sqlite(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workshop]:
    monkeypatch.setenv("FAULTNET_DATA", str(tmp_path / "data"))
    opened = Workshop(Shop(), open_database(str(tmp_path / "shop.db")), Clock())
    yield opened
    opened.database.close()


def written_out(file: Path, jobs: tuple[Job, ...]) -> Path:
    write_table(file, columns([backlight()]), (row_of(job, backlight()) for job in jobs))
    return file


def jobs_in(workshop: Workshop) -> list[Job]:
    with workshop.database.read() as connection:
        assert list(check_database(connection)) == []
        return list(all_jobs(connection))


def taken(workshop: Workshop, file: Path, *, partial: bool = False, **told: object) -> Report:
    return take_in(workshop, Source(file, backlight(), **told), partial=partial)  # type: ignore[arg-type]


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


# -- tables as shops keep them -----------------------------------------------------------------------------------------

KEPT = """\
Order No;Date in;Inches;Got sound?;Torch Test;LED plug volts;Parts replaced;Result;Charged;Cat
17;3.5.2031;50;yes;picture;0,2 / 0,1;LED strips + power supply, ok;ok;180,50;grey
18;4.5.2031;43;;no picture seen;36,8;main board, still dark;NFF;;
"""


def kept(folder: Path, text: str = KEPT, encoding: str = "cp1252") -> Path:
    file = folder / "kept.csv"
    file.write_text(text, encoding=encoding)
    return file


def test_columns_are_matched_by_name_by_what_people_say_and_by_likeness() -> None:
    names = ["job", "Date In", "Screen size", "torch_test", "Startup flsh", "loaded voltage", "Cat"]
    uses = match_columns(names, backlight())
    assert [(use.is_, use.how) for use in uses] == [
        ("job", "exact"), ("opened", "synonym"), ("size", "synonym"), ("flashlight", "synonym"),
        ("startup_flash", "nearest"), ("loaded_voltage", "exact"), ("notes", "nearest"),
    ]  # fmt: skip
    assert [use.is_ for use in match_columns(["sound", "Sound"], backlight())] == ["sound", "notes"]


def test_a_table_as_a_shop_keeps_it_is_understood(on_sqlite: Workshop, tmp_path: Path) -> None:
    """Semicolons, a decimal comma, days with points, words for states, two repairs in a cell, a column of no use."""
    file = kept(tmp_path)
    head = read_table(file)
    told = {
        "Got sound?": {"is": "sound", "states": {"yes": "present"}},
        "LED plug volts": {"is": "loaded_voltage"},
        "Torch Test": {"is": "flashlight", "states": {"picture": "image_seen"}},
    }
    uses = from_data({"columns": told}, head.columns, backlight())
    report = taken(on_sqlite, file, uses=uses, decimal_comma=True)
    assert (report.n_jobs, report.n_rejected) == (2, 0)
    first, second = jobs_in(on_sqlite)
    seen = [(e.name, e.state or e.value) for e in first.entries if e.kind in ("finding", "reading", "repair")]
    assert seen == [
        ("sound", "present"), ("flashlight", "image_seen"), ("loaded_voltage", "0.2,0.1"),
        ("replace_strips+replace_supply", "works"),
    ]  # fmt: skip
    assert first.closing is not None
    assert (first.number, first.opened_at.date().isoformat(), first.facts["size"]) == ("17", "2031-05-03", "50")
    assert (first.closing.outcome, first.closing.price) == ("fixed", 180.5)
    assert [e.note for e in first.entries if e.kind == "note"] == ["Cat: grey"]
    assert second.closing is not None
    assert second.closing.outcome == "no_fault_found"
    events = {e.name: e.state or e.value for e in second.entries}
    assert "sound" not in events, "a blank is not recorded, never normal"
    assert (events["flashlight"], events["replace_main_board"]) == ("no_image", "not")


def test_a_blank_is_normal_only_where_the_mapping_says_so(on_sqlite: Workshop, tmp_path: Path) -> None:
    file = kept(tmp_path)
    told = {"columns": {"Got sound?": {"is": "sound", "states": {"yes": "present"}, "blank": "present"}}}
    uses = from_data(told, read_table(file).columns, backlight())
    taken(on_sqlite, file, uses=uses, decimal_comma=True, partial=True)
    for job in jobs_in(on_sqlite):
        assert ("sound", "present") in [(e.name, e.state) for e in job.entries]


def test_what_matched_nothing_is_counted_and_kept_as_a_note() -> None:
    uses = match_columns(["sound", "repairs"], backlight())
    translator = Translator(backlight(), uses)
    for cells in (("buzzing", "strips + gizmo"), ("buzzing", ""), ("present", "driver=not")):
        row = translator.row(cells)
    assert translator.unmatched == {("sound", "buzzing"): 2, ("repairs", "gizmo"): 1}
    assert row == {"sound": "present", "then": "replace_driver=not"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("strips + supply, ok", "replace_strips+replace_supply=works"),
        ("LED cable & driver - no", ""),
        ("new_strips=not", "replace_strips=not"),
        ("main board", "replace_main_board=works"),
        ("Strips/PSU, still dark", "replace_strips+replace_supply=not"),
        ("prayer", ""),
    ],
)
def test_repairs_as_people_write_them(text: str, said: str) -> None:
    row = Translator(backlight(), match_columns(["repairs"], backlight())).row((text,))
    assert row.get("then", "") == said or (not said and text.split()[-1] in row["notes"])


def test_two_columns_of_notes_or_of_repairs_are_both_kept() -> None:
    told = {"A": "notes", "B": "notes", "C": "repairs", "D": "repairs"}
    uses = from_data({"columns": told}, [*told], backlight())
    row = Translator(backlight(), uses).row(("one; two", "three", "driver=not", "strips"))
    assert parted(row["notes"]) == ["one; two", "three"]
    assert parted(row["then"]) == ["replace_driver=not", "replace_strips=works"]


def test_the_owner_says_how_cells_are_taken_apart() -> None:
    """A mapping is written with the usual rules, which can be changed: other marks, words of the shop's own."""
    uses = match_columns(["repairs"], backlight())
    usual = as_data(uses)["repairs"]
    assert {"+", "and"} <= set(usual["parted_by"])
    own = {
        "parted_by": ["then"],
        "works": ["heureka"],
        "not": ["nope", False],
        "words": {"light bars": "replace_strips"},
    }
    splitting = splitting_from({"repairs": own}, backlight())
    translator = Translator(backlight(), uses, splitting=splitting)
    for text, said in (
        ("light bars then driver then heureka", "replace_strips+replace_driver=works"),
        ("light bars then nope", "replace_strips=not"),
        ("light bars then no", "replace_strips=not"),
        ("light bars + driver", ""),
    ):
        assert translator.row((text,)).get("then", "") == said
    assert splitting_from({"repairs": as_data(uses, splitting)["repairs"]}, backlight()) == splitting
    with pytest.raises(UsageProblem) as raised:
        splitting_from({"repairs": {"split": ["+"], "works": "ok", "words": {"x": "pray"}}}, backlight())
    assert len(raised.value.problems) == 3


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (("17/5/2031", "50"), "say how days are written with --days"),
        (("2031-05-17", "about"), "about is no number"),
        (("2031-05-17", "49,5"), "is the comma a decimal sign"),
    ],
)
def test_a_cell_that_is_wrong_is_told(cells: tuple[str, str], said: str) -> None:
    with pytest.raises(UsageProblem, match=said):
        Translator(backlight(), match_columns(["opened", "size"], backlight())).row(cells)


def test_a_mapping_is_written_and_used_again() -> None:
    uses = match_columns(["Date in", "torch", "Cat"], backlight())
    again = from_data(as_data(uses), ["Date in", "torch", "Cat"], backlight())
    assert [use.is_ for use in again] == [use.is_ for use in uses]
    with pytest.raises(UsageProblem) as raised:
        from_data(
            {"columns": {"a": "nonsense", "b": {"is": "sound", "states": {"x": "loud"}}}}, ["a", "b"], backlight()
        )
    assert len(raised.value.problems) == 2


def test_rows_of_one_job_are_joined_wherever_they_stand(on_sqlite: Workshop, tmp_path: Path) -> None:
    text = "job,opened,sound,size,notes\n7,2031-05-17,present,,first\n8,2031-05-17,absent,,\n7,2031-05-17,,50,second\n"
    file = kept(tmp_path, text)
    report = taken(on_sqlite, file)
    assert (report.n_rows, report.n_jobs, report.n_joined) == (3, 2, 1)
    with on_sqlite.database.read() as connection:
        job = find_job(connection, "7")
    assert [(e.kind, e.state or e.note) for e in job.entries] == [
        ("fact", "50"), ("finding", "present"), ("note", "first"), ("note", "second"),
    ]  # fmt: skip


# -- files of all kinds ------------------------------------------------------------------------------------------------


def spreadsheet(file: Path, rows: list[list[object]], *, hidden: bool = False) -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Jobs"
    for row in rows:
        sheet.append(row)
    if hidden:
        other = book.create_sheet("Prices", 0)
        other.sheet_state = "hidden"
    book.save(file)
    return file


def test_a_spreadsheet_is_read_as_people_see_it(tmp_path: Path) -> None:
    from datetime import date

    rows: list[list[object]] = [["job", "opened", "size", "sound"], [17, date(2031, 5, 17), 50.0, "present"], [], [18]]
    table = read_table(spreadsheet(tmp_path / "jobs.xlsx", rows, hidden=True))
    assert table.columns == ("job", "opened", "size", "sound")
    read = [(row.number, row.cells) for row in table.rows]
    assert read[0] == (2, ("17", "2031-05-17", "50", "present"))
    assert (read[1][0], read[1][1][0]) == (4, "18")
    assert "sheet Jobs" in table.notes[0]


def test_an_open_document_spreadsheet_is_read(tmp_path: Path) -> None:
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    book, sheet = OpenDocumentSpreadsheet(), Table(name="Jobs")
    for row in (("job", "sound"), ("17", "present")):
        line = TableRow()
        for text in row:
            cell = TableCell(valuetype="string")
            cell.addElement(P(text=text))
            line.addElement(cell)
        sheet.addElement(line)
    book.spreadsheet.addElement(sheet)
    book.save(str(tmp_path / "jobs.ods"))
    table = read_table(tmp_path / "jobs.ods")
    assert (table.columns, [row.cells for row in table.rows]) == (("job", "sound"), [("17", "present")])


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252", "cp1250"])
@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_text_in_any_encoding_and_with_any_delimiter_is_read(tmp_path: Path, encoding: str, mark: str) -> None:
    rows = [["job", "notes", "sound"], *[[str(n), "Gehäuse geöffnet, für später", "present"] for n in range(30)]]
    file = tmp_path / "jobs.csv"
    with file.open("w", encoding=encoding, newline="") as stream:
        csv.writer(stream, delimiter=mark).writerows(rows)
    table = read_table(file)
    assert [list(table.columns), *(list(row.cells) for row in table.rows)] == rows


def test_cells_that_would_run_as_formulas_are_defused_and_come_back(tmp_path: Path) -> None:
    file = tmp_path / "jobs.csv"
    write_table(file, ["job", "notes"], [{"job": "=1+1", "notes": "@SUM(A1) and 'quoted'"}])
    with file.open(encoding="utf-8", newline="") as stream:
        _, row = csv.reader(stream)
    assert all(cell.startswith("'") for cell in row)
    assert [row.cells for row in read_table(file).rows] == [("=1+1", "@SUM(A1) and 'quoted'")]


def small_files(folder: Path) -> list[Path]:
    jobs = made_up(40).jobs[:8]
    files = [written_out(folder / "a.csv", jobs), written_out(folder / "a.parquet", jobs)]
    rows: list[list[object]] = [[*columns([backlight()])]]
    rows += [[row_of(job, backlight()).get(name, "") for name in columns([backlight()])] for job in jobs]
    return [*files, spreadsheet(folder / "a.xlsx", rows)]


def test_five_hundred_damaged_files_give_messages_and_no_traceback(on_sqlite: Workshop, tmp_path: Path) -> None:
    """Cut short, bits flipped, pieces swapped or doubled: an error of ours, or rows that say what is wrong."""
    rng = random.Random(3)
    originals = [(file.suffix, file.read_bytes()) for file in small_files(tmp_path)]
    refused = 0
    for number in range(500):
        suffix, raw = originals[number % len(originals)]
        content = bytearray(raw)
        kind = rng.randrange(5)
        if kind == 0:
            content = content[: rng.randrange(len(content))]
        elif kind == 1:
            for _ in range(rng.choice([1, 10, 200])):
                content[rng.randrange(len(content))] ^= 1 << rng.randrange(8)
        elif kind == 2:
            at = rng.randrange(len(content))
            content[at:at] = rng.randbytes(rng.randrange(1, 400))
        elif kind == 3:
            a, b = sorted((rng.randrange(len(content)), rng.randrange(len(content))))
            content = content[:a] + content[b:] + content[a:b]
        else:
            content = bytearray(rng.randbytes(rng.randrange(2000)))
        file = tmp_path / f"damaged{suffix}"
        file.write_bytes(bytes(content))
        try:
            look_through(on_sqlite, Source(file, backlight()))
        except FaultnetError:
            refused += 1
    assert refused > 150


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("empty.csv", b"", "empty"),
        ("blank.csv", b"\n \n", "empty"),
        ("nulls.csv", b"\0\1\2" * 100, "no text"),
        ("letter.xlsx", b"Dear customer", "no spreadsheet"),
        ("letter.parquet", b"PAR1 Dear customer", "no Parquet file"),
        ("jobs.docx", b"", "a table ends in one of"),
        ("wide.csv", b",".join(b"c" for _ in range(2000)) + b"\n1\n", "2000 columns"),
    ],
)
def test_what_is_no_table_is_told(tmp_path: Path, name: str, content: bytes, said: str) -> None:
    file = tmp_path / name
    file.write_bytes(content)
    with pytest.raises(FaultnetError, match=said):
        list(read_table(file).rows)


def test_a_zip_that_unpacks_to_fill_the_memory_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b"0" * 200_000_000)
    with pytest.raises(FaultnetError, match="far more than a table of its size"):
        read_table(file)


def test_absurd_cells_are_rows_that_cannot_be_taken(on_sqlite: Workshop, tmp_path: Path) -> None:
    text = "job,opened,size,sound,loaded_voltage\n1,0000-99-99,50,present,1\n2,2031-05-17,1e9,present,1\n"
    text += f"3,2031-05-17,50,present,{'9' * 5000}\n4,2031-05-17,50,present,37\n5,9999-12-31,50,{'x' * 40_000},37\n"
    report = look_through(on_sqlite, Source(kept(tmp_path, text), backlight()))
    assert (report.n_jobs, report.n_rejected) == (2, 3)


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
