"""`faultnet history import`, `export`, and `simulate`."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from faultnet.cli.blocks import text_of
from faultnet.cli.progress import counted
from faultnet.cli.terminal import note, table
from faultnet.cli.workshop import workshop_of
from faultnet.errors import UsageProblem
from faultnet.files import load_model
from faultnet.files.plain import plain_text, read_plain
from faultnet.files.write import write_whole
from faultnet.history.mapping import as_data
from faultnet.history.open_repair import COLUMNS as OPEN_REPAIR_COLUMNS
from faultnet.history.open_repair import open_repair_row
from faultnet.history.row import columns, row_of
from faultnet.jobs import Job
from faultnet.model import Model
from faultnet.sheets.write import write_table
from faultnet.telling.block import Block, points
from faultnet.telling.incoming import batches_json, found_blocks, found_json, rejected_columns, rejected_rows
from faultnet.workshop.exporting import exported
from faultnet.workshop.importing import Report, Source, batches_of, look_through, take_in, undo
from faultnet.workshop.sourcing import Told, source_of
from faultnet.workshop.workshop import Workshop

OPEN_REPAIR = "open_repair"


@dataclass(frozen=True)
class ImportTyped:
    """What was typed after `history import`."""

    file: Path | None
    model: str
    map: Path | None
    sheet: str
    encoding: str
    delimiter: str
    decimal_comma: bool
    days: str
    rejected: Path
    by: str


# -- import ------------------------------------------------------------------------------------------------------------


def import_(typed: ImportTyped, *, is_sure: bool, partial: bool, db: str, shop: str, as_json: bool) -> None:
    """Look through a table, say what would come of it, and take it in where somebody said so."""
    if typed.file is None:
        raise UsageProblem("name the file to take in: faultnet history import FILE --model backlight")
    workshop = workshop_of(db, shop)
    source = _source(typed, workshop)
    if is_sure:
        with counted("taking in", "rows") as told:
            report = take_in(workshop, source, partial=partial, by=typed.by, told=told)
    else:
        with counted("looking through", "rows") as told:
            report = look_through(workshop, source, told)
    _keep_map(typed.map, source, report)
    n_kept = _write_rejected(typed.rejected, report)
    if as_json:
        print(json.dumps(found_json(report), indent=2))
    else:
        ending = Block(lines=points([_ending(report, is_sure=is_sure)], level=0))
        print(text_of([*found_blocks(report), ending]))
    if n_kept:
        note(f"{report.n_rejected} rows cannot be taken; they are in {typed.rejected}, with the reasons")
    if is_sure and report.n_rejected and report.batch is None:
        raise UsageProblem("nothing was taken in: mend the rows, or take in the others with --partial")


def _ending(report: Report, *, is_sure: bool) -> str:
    """What was done, or what to do."""
    if report.batch is not None:
        again = f"faultnet history import --undo {report.batch}"
        return f"Taken in: {report.n_jobs} jobs as batch {report.batch}; out again: {again}"
    if not report.n_jobs:
        return "There is nothing to take in."
    is_partial = " --partial" if report.n_rejected else ""
    return (
        "Nothing was taken in." if is_sure else f"Nothing was taken in yet. To do it: the same with --yes{is_partial}"
    )


def _source(typed: ImportTyped, workshop: Workshop) -> Source:
    assert typed.file is not None
    told = Told(
        typed.model,
        typed.sheet,
        typed.encoding,
        typed.delimiter,
        typed.decimal_comma,
        typed.days,
        _mapping(typed.map),
    )
    return source_of(workshop, typed.file, told)


def _mapping(file: Path | None) -> Mapping[str, Any] | None:
    """What the columns are by a file; None where there is none."""
    if file is None or not file.exists():
        return None
    data = read_plain(file)
    if not isinstance(data, Mapping):
        raise UsageProblem(f"{file}: a mapping needs `columns`: of each column what it is")
    return data


def _keep_map(file: Path | None, source: Source, report: Report) -> None:
    if file is None or file.exists():
        return
    write_whole(file, plain_text(as_data(report.uses, source.splitting)))
    note(f"what the columns are is in {file}: change it, and use it again with --map")


def _write_rejected(file: Path, report: Report) -> int:
    """Write the rows that cannot be taken; how many."""
    if not report.rejected:
        return 0
    return write_table(file, rejected_columns(report), rejected_rows(report))


def undo_batch_in(number: int, *, db: str, shop: str, as_json: bool) -> None:
    """Take a batch out again."""
    n_jobs = undo(workshop_of(db, shop), number)
    print(json.dumps({"batch": number, "jobs": n_jobs}) if as_json else f"Taken out: batch {number}, {n_jobs} jobs")


def list_batches_in(*, db: str, shop: str, as_json: bool) -> None:
    """Print the batches that came in."""
    found = batches_of(workshop_of(db, shop))
    if as_json:
        print(json.dumps(batches_json(found), indent=2))
    elif not found:
        print("No batch came in yet.")
    else:
        rows = [("batch", "jobs", "day", "file", "")]
        rows += [
            (str(b.number), str(b.n_jobs), b.at.date().isoformat(), b.file, "" if b.undone_at is None else "taken out")
            for b in found
        ]
        print("\n".join(line[2:] for line in table(rows, "rrlll")))


# -- export and simulate -----------------------------------------------------------------------------------------------


def export(file: Path, *, as_: str, provider: str, country: str, db: str, shop: str) -> None:
    """Write every job as a row. as_: `open_repair` for the columns of that standard, else "" for ours."""
    if as_ not in ("", OPEN_REPAIR):
        raise UsageProblem(f"--as {as_}: {OPEN_REPAIR}, or leave it out for our own columns")

    def as_open_repair(job: Job, model: Model) -> Mapping[str, str]:
        return open_repair_row(job, model, provider, country)

    with exported(workshop_of(db, shop), as_open_repair if as_ else row_of) as table_:
        n_rows = write_table(file, OPEN_REPAIR_COLUMNS if as_ else table_.columns, table_.rows)
    print(f"Written: {n_rows} jobs in {file}")


def simulate_to(model: str, *, n_jobs: int, seed: int, out: Path, truth: Path | None) -> None:
    """Write a made-up history, and what was true."""
    from faultnet.simulate.shop import simulate, truth_rows

    known = load_model(model)
    try:
        history = simulate(known, n_jobs, seed)
    except ValueError as error:
        raise UsageProblem(f"{model}: {error}") from None
    beside = truth or out.with_name(f"{out.stem}-truth{out.suffix}")
    write_table(out, columns([known]), (row_of(job, known) for job in history.jobs))
    names = ("job", "group", "month", "habit", "faults", "left", "showed_always", *known.conditions)
    write_table(beside, names, truth_rows(history))
    print(f"Written: {len(history.jobs)} made-up jobs in {out}, what was true in {beside}")
