"""The demo shop's files: made again byte for byte, and the messy ones say what the clean ones do."""

import runpy
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import pytest

from faultnet.files import load_model
from faultnet.files.plain import read_plain
from faultnet.history.mapping import from_data
from faultnet.history.read import RowReader
from faultnet.jobs import Job
from faultnet.sheets.read import read_table
from faultnet.shop import Shop
from faultnet.shop.voltages import nominal_of
from faultnet.shop.voltages_file import read_entries
from faultnet.simulate.world import GROUPS
from faultnet.store.bulk import all_jobs
from faultnet.store.database import open_database
from faultnet.workshop.importing import Source, look_through, take_in
from faultnet.workshop.nominals import keep_nominals, learn_nominals
from faultnet.workshop.workshop import Workshop

FOLDER = Path(__file__).parent.parent / "data" / "synthetic"
MADE = ("jobs.csv", "jobs-truth.csv", "jobs-as-kept.xlsx", "columns.yaml", "voltages.csv")


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):  # type: ignore[no-untyped-def]
    monkeypatch.setenv("FAULTNET_DATA", str(tmp_path / "data"))
    opened = Workshop(Shop(), open_database(str(tmp_path / "shop.db")), lambda: datetime(2031, 1, 3, tzinfo=UTC))
    yield opened
    opened.database.close()


def clean() -> dict[str, Job]:
    reader, table = RowReader(load_model("backlight")), read_table(FOLDER / "jobs.csv")
    rows = (dict(zip(table.columns, row.cells, strict=True)) for row in table.rows)
    return {job.number: job for job in map(reader.job, rows)}


def test_the_same_command_makes_the_same_bytes(tmp_path: Path) -> None:
    make = runpy.run_path(str(FOLDER / "make.py"))["make"]
    for name in ("one", "two"):
        make(tmp_path / name, n_jobs=60)
    for name in MADE:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes(), name


@pytest.mark.slow
def test_the_files_here_are_what_the_command_makes(tmp_path: Path) -> None:
    runpy.run_path(str(FOLDER / "make.py"))["make"](tmp_path)
    for name in MADE:
        assert (tmp_path / name).read_bytes() == (FOLDER / name).read_bytes(), name


def test_all_of_it_is_under_three_megabytes() -> None:
    assert sum(file.stat().st_size for file in FOLDER.iterdir()) < 3 * 2**20
    assert len(clean()) == 2000
    assert len(read_entries(FOLDER / "voltages.csv")) > 20


def test_the_clean_jobs_come_in_without_a_word(workshop: Workshop) -> None:
    report = look_through(workshop, Source(FOLDER / "jobs.csv", load_model("backlight")))
    assert (report.n_jobs, report.n_rejected, report.unmatched) == (2000, 0, Counter())


def test_the_jobs_as_kept_say_what_the_clean_ones_do(workshop: Workshop) -> None:
    """Job by job: outcome, price, size, the findings that have a column, and how the last repair ended."""
    model = load_model("backlight")
    file = FOLDER / "jobs-as-kept.xlsx"
    uses = from_data(read_plain(FOLDER / "columns.yaml"), read_table(file).columns, model)
    report = take_in(workshop, Source(file, model, decimal_comma=True, uses=uses), partial=True)
    assert report.n_rejected == 22
    assert report.unmatched == Counter()
    with workshop.database.read() as connection:
        kept = {job.number: job for job in all_jobs(connection)}
    assert len(kept) == report.n_jobs > 1950
    wanted = clean()
    for number, job in kept.items():
        true = wanted[number]
        assert job.closing is not None
        assert true.closing is not None
        assert (job.closing.outcome, job.closing.price) == (true.closing.outcome, true.closing.price), number
        assert job.facts.get("size") == true.facts.get("size")
        assert _findings(job) == _findings(true), number
        assert _last_repair(job) == _last_repair(true), number


def _findings(job: Job) -> list[tuple[str, str]]:
    in_columns = ("sound", "flashlight", "startup_flash", "strip_tester")
    first = next((e.seq for e in job.entries if e.kind == "repair"), 10**6)
    return sorted((e.name, e.state) for e in job.entries if e.name in in_columns and e.state and e.seq < first)


def _last_repair(job: Job) -> tuple[str, ...]:
    made = [e for e in job.entries if e.kind == "repair"]
    return (*sorted(made[-1].name.split("+")), made[-1].state) if made else ()


def test_nominal_voltages_are_learned_from_normal_readings(workshop: Workshop) -> None:
    """Against the invented panels' own: what is learned lies within its spread, and off by chance only rarely.

    One code has the volts of its group (GROUPS); a set differs by 2 %, a meter by about 1 % (GUM).
    """
    take_in(workshop, Source(FOLDER / "jobs.csv", load_model("backlight")), partial=False)
    found = learn_nominals(workshop)
    assert found.n_jobs == 2000
    true = {code: group.volts for group in GROUPS for code in group.codes}
    off = [entry.loaded_volts / true[entry.code] - 1 for entry in found.entries if entry.loaded_volts]
    assert len(off) > 15
    assert sum(abs(each) < 0.08 for each in off) > 0.9 * len(off)
    for code in {entry.code for entry in found.entries}:
        nominal = nominal_of(found.entries, "panel", code)
        assert nominal is not None
        if nominal.readings >= 5:
            assert nominal.volts == pytest.approx(true[code], rel=0.06)
    keep_nominals(workshop, found)
    again = learn_nominals(workshop)
    assert (again.entries, again.n_known) == ((), len(found.entries))
