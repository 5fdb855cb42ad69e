"""Past jobs from a table into the shop: looked through first, then put in as one batch, or not at all."""

import hashlib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path

from faultnet.errors import UsageProblem
from faultnet.history.items import joined
from faultnet.history.mapping import Splitting, Use, as_data, match_columns
from faultnet.history.read import RowReader
from faultnet.history.translate import Translator
from faultnet.model import Model
from faultnet.sheets.read import Table, read_column, read_table
from faultnet.store.bulk import (
    Batch,
    Incoming,
    Known,
    insert_batch,
    known_jobs,
    list_batches,
    note_rejected,
    undo_batch,
)
from faultnet.workshop.backup import back_up_before
from faultnet.workshop.workshop import Workshop

MOST_REJECTED_KEPT = 100_000
JOINED = "; "


@dataclass(frozen=True)
class Source:
    """A table to take in: which file, how it is written, which model its jobs are about, what its columns are,
    and how cells with several repairs are taken apart.
    """

    file: Path
    model: Model
    sheet: str = ""
    encoding: str = ""
    delimiter: str = ""
    decimal_comma: bool = False
    uses: Sequence[Use] | None = None
    splitting: Splitting = field(default_factory=Splitting)


@dataclass(frozen=True)
class Rejected:
    """A row that cannot be taken: its number in the sheet, its cells as they stand there, and why."""

    number: int
    cells: tuple[str, ...]
    problems: tuple[str, ...]


@dataclass(eq=False)
class Report:
    """What a table holds. n_jobs: jobs to come in; n_known: there already; n_corrected: to take the place of others.

    n_joined: rows that belong to a job of another row; unmatched: texts that nothing was made of, by column.
    """

    columns: tuple[str, ...]
    uses: tuple[Use, ...]
    notes: tuple[str, ...]
    n_rows: int = 0
    n_jobs: int = 0
    n_known: int = 0
    n_corrected: int = 0
    n_joined: int = 0
    n_rejected: int = 0
    rejected: list[Rejected] = field(default_factory=list)
    unmatched: Counter[tuple[str, str]] = field(default_factory=Counter)
    batch: int | None = None


def look_through(workshop: Workshop, source: Source, told: Callable[[int], object] = lambda _: None) -> Report:
    """What would come of a table; nothing is written. told: is called with the number of rows so far."""
    with workshop.database.read() as connection:
        known = known_jobs(connection)
    report, incoming = _incoming(source, known, told)
    for _ in incoming:
        pass
    return report


def take_in(
    workshop: Workshop, source: Source, *, partial: bool, by: str = "", told: Callable[[int], object] = lambda _: None
) -> Report:
    """Put the jobs of a table in as a batch. partial: although some rows cannot be taken.

    Where rows cannot be taken, and not `partial`, nothing is written: the report then names no batch.
    """
    back_up_before(workshop.database.engine, workshop.shop, "import", workshop.clock())
    with workshop.database.write() as connection:
        inside = connection.begin_nested()
        report, incoming = _incoming(source, known_jobs(connection), told)
        first = next(incoming, None)
        if first is not None:
            report.batch = insert_batch(
                connection,
                source.file.name,
                _digest(source.file),
                as_data(report.uses, source.splitting),
                by,
                workshop.clock(),
                chain([first], incoming),
                workshop.shop.settings.currency,
            )
        if report.batch is not None:
            note_rejected(connection, report.batch, report.n_rejected)
        if report.n_rejected and not partial:
            inside.rollback()
            report.batch = None
        else:
            inside.commit()
    return report


def undo(workshop: Workshop, number: int) -> int:
    """Take a batch out whole; how many jobs. UsageProblem: it is not in."""
    with workshop.database.write() as connection:
        return undo_batch(connection, number, workshop.clock())


def batches_of(workshop: Workshop) -> tuple[Batch, ...]:
    """The batches that came in."""
    with workshop.database.read() as connection:
        return list_batches(connection)


def _incoming(source: Source, known: Known, told: Callable[[int], object]) -> tuple[Report, Iterator[Incoming]]:
    table = read_table(source.file, source.sheet, source.encoding, source.delimiter)
    uses = tuple(source.uses) if source.uses is not None else match_columns(table.columns, source.model)
    report = Report(table.columns, uses, table.notes)
    translator = Translator(source.model, uses, source.decimal_comma, source.splitting)
    report.unmatched = translator.unmatched
    return report, _jobs(source, table, translator, known, report, told)


def _jobs(
    source: Source, table: Table, translator: Translator, known: Known, report: Report, told: Callable[[int], object]
) -> Iterator[Incoming]:
    reader, repeated = RowReader(source.model), _repeated(source, translator.uses)
    seen: set[str] = set()
    for number, cells, row, problems in _joined(table, translator, report, repeated, told):
        incoming = None
        if not problems:
            incoming, problems = _one(reader, row, known, seen, report)
        if problems:
            report.n_rejected += 1
            if len(report.rejected) < MOST_REJECTED_KEPT:
                report.rejected.append(Rejected(number, cells, problems))
        elif incoming is not None:
            report.n_jobs += 1
            seen.add(incoming.digest)
            yield incoming


def _one(
    reader: RowReader, row: Mapping[str, str], known: Known, seen: set[str], report: Report
) -> tuple[Incoming | None, tuple[str, ...]]:
    """The job of a row; None where it is there already. With it, what is wrong."""
    digest = _row_digest(row)
    if digest in known.digests or digest in seen:
        report.n_known += 1
        return None, ()
    number = row.get("job") or f"past-{digest[:12]}"
    if number in known.own:
        return None, (f"job {number} was opened at the bench; a file does not change it",)
    try:
        job = reader.past({**row, "job": number})
    except UsageProblem as error:
        return None, error.problems
    if number in known.imported:
        report.n_corrected += 1
    return Incoming(job, digest), ()


Joined = tuple[int, tuple[str, ...], dict[str, str], tuple[str, ...]]
"""Number of the first row, its cells as they stand there, the row in our columns, and what is wrong with it."""


def _joined(
    table: Table, translator: Translator, report: Report, repeated: Counter[str], told: Callable[[int], object]
) -> Iterator[Joined]:
    """Rows with the same job number as one, told once the last of them was read. repeated: how many rows such have."""
    waiting: dict[str, Joined] = {}
    for row in table.rows:
        report.n_rows += 1
        if report.n_rows % 1000 == 0:
            told(report.n_rows)
        problems: tuple[str, ...] = ()
        try:
            cells = translator.row(row.cells)
        except UsageProblem as error:
            cells, problems = {}, error.problems
        number = cells.get("job", "")
        if number not in repeated:
            yield row.number, row.cells, cells, problems
            continue
        if number in waiting:
            report.n_joined += 1
            first, shown, before, _ = waiting[number]
            waiting[number] = (first, shown, _together(before, cells), ())
        else:
            waiting[number] = (row.number, row.cells, cells, problems)
        repeated[number] -= 1
        if repeated[number] == 0:
            yield waiting.pop(number)
    yield from waiting.values()


def _repeated(source: Source, uses: Sequence[Use]) -> Counter[str]:
    """Job numbers that stand in several rows, with how many."""
    place = next((n for n, use in enumerate(uses) if use.is_ == "job"), None)
    if place is None:
        return Counter()
    counts = Counter(read_column(source.file, place, source.sheet, source.encoding, source.delimiter))
    return Counter({number: n for number, n in counts.items() if n > 1 and number})


def _together(one: Mapping[str, str], other: Mapping[str, str]) -> dict[str, str]:
    """Two rows of one job: what only one says; lists one after the other; of what differs, the later, and a note."""
    both = dict(one)
    for name, text in other.items():
        if both.get(name, text) == text:
            both[name] = text
        elif name in ("notes", "then", "skipped", "parts"):
            both[name] += JOINED + text
        else:
            note = f"{name}: {both[name]} in another row"
            both[name] = text
            both["notes"] = JOINED.join(filter(None, (both.get("notes", ""), joined([note]))))
    return both


def _row_digest(row: Mapping[str, str]) -> str:
    text = "\x1f".join(f"{name}\x1e{row[name]}" for name in sorted(row))
    return hashlib.sha256(text.encode()).hexdigest()[:32]


def _digest(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
