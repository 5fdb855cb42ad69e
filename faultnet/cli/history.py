"""`faultnet history import`, `export`, and `simulate`."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from faultnet.cli.progress import counted
from faultnet.cli.terminal import bold, note, table, wrapped, wrapped_table
from faultnet.cli.workshop import workshop_of
from faultnet.errors import UsageProblem
from faultnet.files import load_model
from faultnet.files.plain import plain_text, read_plain
from faultnet.files.write import write_whole
from faultnet.history.mapping import KEPT_AS_NOTE, Splitting, Use, as_data, from_data, match_columns, splitting_from
from faultnet.history.open_repair import COLUMNS as OPEN_REPAIR_COLUMNS
from faultnet.history.open_repair import open_repair_row
from faultnet.history.row import columns, row_of
from faultnet.history.translate import DAYS
from faultnet.model import Model
from faultnet.sheets.read import read_table
from faultnet.sheets.write import write_table
from faultnet.store.bulk import all_jobs
from faultnet.workshop.importing import Report, Source, batches_of, look_through, take_in, undo
from faultnet.workshop.workshop import Workshop

MOST_SHOWN = 10

OPEN_REPAIR = "open_repair"

_HOW = {"told": "as told", "synonym": "also called so", "nearest": "guessed"}


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
        print(json.dumps(_report_json(report), indent=2))
    else:
        print("\n".join(_found(report)))
        print(wrapped(_ending(report, is_sure=is_sure), 0, 2))
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
    comma = typed.decimal_comma or workshop.shop.settings.decimal_comma
    head = read_table(typed.file, typed.sheet, typed.encoding, typed.delimiter)
    model = load_model(typed.model or _model_in(head.columns, typed.file))
    uses, splitting = _mapping(typed, head.columns, model)
    if typed.days:
        uses = tuple(replace(use, format=typed.days) if use.is_ in DAYS else use for use in uses)
    return Source(typed.file, model, typed.sheet, head.encoding, head.delimiter, comma, uses, splitting)


def _model_in(columns_: tuple[str, ...], file: Path) -> str:
    """The model that a table of ours names in its rows. UsageProblem: it names none, or several."""
    if "model" in columns_:
        place = columns_.index("model")
        named = {row.cells[place] for row in read_table(file).rows if place < len(row.cells)} - {""}
        if len(named) == 1:
            return named.pop()
        if named:
            raise UsageProblem(f"{file} has jobs of {', '.join(sorted(named))}; take them in one after the other")
    raise UsageProblem("--model: say which model the jobs are about, such as --model backlight")


def _mapping(typed: ImportTyped, columns_: tuple[str, ...], model: Model) -> tuple[tuple[Use, ...], Splitting]:
    """What the columns are, and how repairs are taken apart: as the file says, else as they look."""
    if typed.map is None or not typed.map.exists():
        return match_columns(columns_, model), Splitting()
    data = read_plain(typed.map)
    if not isinstance(data, Mapping):
        raise UsageProblem(f"{typed.map}: a mapping needs `columns`: of each column what it is")
    return from_data(data, columns_, model), splitting_from(data, model)


def _keep_map(file: Path | None, source: Source, report: Report) -> None:
    if file is None or file.exists():
        return
    write_whole(file, plain_text(as_data(report.uses, source.splitting)))
    note(f"what the columns are is in {file}: change it, and use it again with --map")


def _found(report: Report) -> Iterator[str]:
    """What a table holds, as text."""
    yield from (wrapped(each, 0, 2) for each in report.notes)
    yield bold("Columns")
    ours = [use for use in report.uses if use.how == "exact"]
    if ours:
        yield f"  {len(ours)} by the names of our own columns"
    rows = [(use.column, _is(use), _HOW[use.how]) for use in report.uses if use.how != "exact"]
    yield from wrapped_table(rows, "lll") if rows else ()
    yield ""
    yield bold("Rows")
    counts = [
        (report.n_rows, "rows"),
        (report.n_jobs, "jobs to take in"),
        (report.n_joined, "rows that belong to a job of another row"),
        (report.n_known, "there already, or twice in the file"),
        (report.n_corrected, "take the place of jobs that came in before"),
        (report.n_rejected, "cannot be taken"),
    ]
    yield from table([(str(n), what) for n, what in counts if n or what in ("rows", "jobs to take in")], "rl")
    for each in report.rejected[:MOST_SHOWN]:
        yield wrapped(f"row {each.number}: {'; '.join(each.problems)}", 2, 4)
    if report.unmatched:
        yield ""
        yield bold("Kept as notes") + "  (nothing of ours was found for it, the most frequent first)"
        shown = [(str(n), f"{column}: {text}") for (column, text), n in report.unmatched.most_common(MOST_SHOWN)]
        yield from wrapped_table(shown, "rl")
    yield ""


def _is(use: Use) -> str:
    return "kept as a note" if use.is_ == KEPT_AS_NOTE else "left out" if use.is_ == "ignore" else use.is_


def _report_json(report: Report) -> dict[str, Any]:
    return {
        "schema_version": 1,
        "columns": as_data(report.uses)["columns"],
        "rows": report.n_rows,
        "jobs": report.n_jobs,
        "joined": report.n_joined,
        "known": report.n_known,
        "corrected": report.n_corrected,
        "rejected": [{"row": each.number, "problems": list(each.problems)} for each in report.rejected],
        "unmatched": [{"column": c, "text": t, "times": n} for (c, t), n in report.unmatched.most_common()],
        "batch": report.batch,
    }


def _write_rejected(file: Path, report: Report) -> int:
    """Write the rows that cannot be taken as they stood, with their numbers and the reasons; how many."""
    if not report.rejected:
        return 0
    names = ("row", *report.columns, "why")

    def rows() -> Iterator[Mapping[str, str]]:
        for each in report.rejected:
            cells = dict(zip(report.columns, each.cells, strict=False))
            yield {"row": str(each.number), **cells, "why": "; ".join(each.problems)}

    return write_table(file, names, rows())


def undo_batch_in(number: int, *, db: str, shop: str, as_json: bool) -> None:
    """Take a batch out again."""
    n_jobs = undo(workshop_of(db, shop), number)
    print(json.dumps({"batch": number, "jobs": n_jobs}) if as_json else f"Taken out: batch {number}, {n_jobs} jobs")


def list_batches_in(*, db: str, shop: str, as_json: bool) -> None:
    """Print the batches that came in."""
    found = batches_of(workshop_of(db, shop))
    if as_json:
        told = [
            {"batch": b.number, "file": b.file, "jobs": b.n_jobs, "at": b.at.isoformat(), "in": b.undone_at is None}
            for b in found
        ]
        print(json.dumps({"batches": told}, indent=2))
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
    workshop = workshop_of(db, shop)
    models: dict[str, Model] = {}
    with workshop.database.read() as connection:
        names = dict.fromkeys(job.model for job in all_jobs(connection))
        models = {name: load_model(name) for name in names}

        def rows() -> Iterator[Mapping[str, str]]:
            for job in all_jobs(connection):
                model = models[job.model]
                yield open_repair_row(job, model, provider, country) if as_ else row_of(job, model)

        n_rows = write_table(file, OPEN_REPAIR_COLUMNS if as_ else columns([*models.values()]), rows())
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
