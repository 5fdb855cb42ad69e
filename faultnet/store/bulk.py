"""Many past jobs at once: put in as a numbered batch, taken out as one, and read back in order."""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection

from faultnet.errors import UsageProblem
from faultnet.jobs import Job
from faultnet.store.jobs import FACT_COLUMNS, assembled
from faultnet.store.sums import in_coins
from faultnet.store.tables import batches, closings, entries, jobs, moment_text, parts

AT_ONCE = 2_000
"""Jobs that are put in with one call."""

_JOB = ("id", "number", "model", "after_id", "comeback", "opened_at", "opened_by", "stage", "stage_since", "n_entries",
        "panel", "board", "inches", "age_years", "occurrence", "batch_id", "row_digest")  # fmt: skip
_ENTRY = ("job_id", "seq", "place", "kind", "name", "state", "value", "unit", "hold", "against", "meter", "symptom",
          "by", "note", "at")  # fmt: skip
_PART = ("job_id", "seq", "repair", "old_code", "new_code", "source", "leds", "strips", "price_minor", "currency")
_CLOSING = ("job_id", "outcome", "verification", "hours_on_test", "minutes", "parts_minor", "price_minor", "currency",
            "note", "by", "at")  # fmt: skip


@dataclass(frozen=True)
class Incoming:
    """A past job with the digest of the row it came from. Its entries count from 1, as they stand."""

    job: Job
    digest: str


@dataclass(frozen=True)
class Batch:
    """A batch of past jobs. undone_at: when it was taken out, None while it is in."""

    number: int
    file: str
    n_jobs: int
    n_rejected: int
    at: datetime
    undone_at: datetime | None


@dataclass(frozen=True)
class Known:
    """What the database holds of jobs that are about to come in: ids of those that came in before, digests of rows.

    own: numbers of jobs that were opened at the bench, which no file may change.
    """

    imported: Mapping[str, int]
    digests: frozenset[str]
    own: frozenset[str]


def known_jobs(connection: Connection) -> Known:
    """The jobs that are there."""
    rows = connection.execute(
        sa.select(jobs.c.id, jobs.c.number, jobs.c.batch_id, jobs.c.row_digest).where(jobs.c.superseded_by.is_(None))
    ).all()
    return Known(
        {row.number: row.id for row in rows if row.batch_id is not None},
        frozenset(row.row_digest for row in rows if row.row_digest),
        frozenset(row.number for row in rows if row.batch_id is None),
    )


def insert_batch(
    connection: Connection,
    file: str,
    digest: str,
    mapping: Mapping[str, Any],
    by: str,
    at: datetime,
    incoming: Iterable[Incoming],
    currency: str,
) -> int:
    """Put past jobs in as a batch; its number.

    A job with the number of one that came in before takes its place; that one is kept aside, until the batch is taken
    out again.
    """
    number: int = connection.execute(
        batches.insert()
        .values(file=file, digest=digest, mapping=json.dumps(mapping), n_jobs=0, n_rejected=0, by=by, at=at)
        .returning(batches.c.id)
    ).scalar_one()
    before = dict(known_jobs(connection).imported)
    ids: dict[str, int] = {}
    links: list[tuple[int, str]] = []
    n_jobs = 0
    for some in _chunks(incoming):
        first = _new_ids(connection, len(some))
        for each, job_id in zip((one.job for one in some), first, strict=True):
            if each.number in before:
                _set_aside(connection, before.pop(each.number), job_id, each.number)
            ids[each.number] = job_id
            links += [(job_id, each.after)] if each.after else []
        _insert(connection, some, first, number, currency)
        n_jobs += len(some)
    _link(connection, links, ids)
    connection.execute(batches.update().where(batches.c.id == number).values(n_jobs=n_jobs))
    return number


def note_rejected(connection: Connection, number: int, n_rejected: int) -> None:
    """Note how many rows of a batch's file could not be taken."""
    connection.execute(batches.update().where(batches.c.id == number).values(n_rejected=n_rejected))


def undo_batch(connection: Connection, number: int, at: datetime) -> int:
    """Take a batch out whole, and put back what it had replaced; how many jobs. UsageProblem: it is not in."""
    row = connection.execute(batches.select().where(batches.c.id == number)).first()
    if row is None or row.undone_at is not None:
        there = [str(batch.number) for batch in list_batches(connection) if batch.undone_at is None]
        told = "was taken out already" if row is not None else "there is none"
        raise UsageProblem(f"batch {number}: {told}; in are {', '.join(there) or 'none'}")
    mine = sa.select(jobs.c.id).where(jobs.c.batch_id == number)
    later = (
        connection.execute(
            sa.select(jobs.c.number).where(
                jobs.c.after_id.in_(mine), sa.or_(jobs.c.batch_id != number, jobs.c.batch_id.is_(None))
            )
        )
        .scalars()
        .all()
    )
    if later:
        raise UsageProblem(f"batch {number}: jobs {', '.join(later[:5])} came back from its jobs; take those out first")
    n_jobs = connection.execute(sa.select(sa.func.count()).select_from(mine.subquery())).scalar_one()
    replaced = connection.execute(
        sa.select(jobs.c.id, jobs.c.number, jobs.c.superseded_by).where(jobs.c.superseded_by.in_(mine))
    ).all()
    connection.execute(jobs.update().where(jobs.c.batch_id == number).values(after_id=None))
    for table in (parts, closings, entries):
        connection.execute(table.delete().where(table.c.job_id.in_(mine)))
    connection.execute(jobs.delete().where(jobs.c.batch_id == number))
    for old in replaced:
        connection.execute(
            jobs.update().where(jobs.c.id == old.id).values(number=old.number.rpartition("~")[0], superseded_by=None)
        )
    connection.execute(batches.update().where(batches.c.id == number).values(undone_at=at))
    return n_jobs


def list_batches(connection: Connection) -> tuple[Batch, ...]:
    """Every batch, the newest first."""
    return tuple(
        Batch(row.id, row.file, row.n_jobs, row.n_rejected, row.at, row.undone_at)
        for row in connection.execute(batches.select().order_by(batches.c.id.desc()))
    )


def all_jobs(connection: Connection) -> Iterator[Job]:
    """Every job, in the order in which they came in."""
    query = jobs.select().where(jobs.c.superseded_by.is_(None)).order_by(jobs.c.opened_at, jobs.c.id)
    last: tuple[datetime, int] | None = None
    while True:
        later = (
            query if last is None else query.where(sa.tuple_(jobs.c.opened_at, jobs.c.id) > sa.tuple_(*_bound(last)))
        )
        rows = connection.execute(later.limit(AT_ONCE)).all()
        if not rows:
            return
        yield from assembled(connection, rows)
        last = (rows[-1].opened_at, rows[-1].id)


def models_of_jobs(connection: Connection) -> tuple[str, ...]:
    """The models that jobs are of, in the order in which those came in."""
    query = sa.select(jobs.c.model).where(jobs.c.superseded_by.is_(None)).order_by(jobs.c.opened_at, jobs.c.id)
    return tuple(dict.fromkeys(connection.execute(query).scalars()))


def _bound(last: tuple[datetime, int]) -> tuple[Any, Any]:
    """The place of the last job that was read, as the database compares it."""
    return sa.bindparam(None, last[0], type_=jobs.c.opened_at.type), sa.bindparam(None, last[1])


def _chunks(incoming: Iterable[Incoming]) -> Iterator[list[Incoming]]:
    some: list[Incoming] = []
    for each in incoming:
        some.append(each)
        if len(some) == AT_ONCE:
            yield some
            some = []
    if some:
        yield some


def _new_ids(connection: Connection, n: int) -> list[int]:
    if connection.dialect.name == "postgresql":
        taken = sa.text("SELECT nextval(pg_get_serial_sequence('jobs', 'id')) FROM generate_series(1, :n)")
        return list(connection.execute(taken, {"n": n}).scalars())
    last = connection.execute(sa.select(sa.func.max(jobs.c.id))).scalar() or 0
    return [*range(last + 1, last + 1 + n)]


def _set_aside(connection: Connection, old: int, new: int, number: str) -> None:
    aside = {"number": f"{number}~{old}", "superseded_by": new}
    connection.execute(jobs.update().where(jobs.c.id == old).values(**aside))


def _insert(connection: Connection, some: Sequence[Incoming], ids: Sequence[int], batch: int, currency: str) -> None:
    job_rows, entry_rows, part_rows, closing_rows = [], [], [], []
    for each, job_id in zip(some, ids, strict=True):
        job = each.job
        facts = {entry.name: entry.state for entry in job.entries if entry.kind == "fact"}
        kept = {column: facts.get(fact) for fact, column in FACT_COLUMNS.items()}
        numbers = [None if kept[c] is None else float(kept[c] or 0) for c in ("inches", "age_years")]
        job_rows.append((
            job_id, job.number, job.model, None, job.comeback, moment_text(job.opened_at), job.opened_by, job.stage,
            moment_text(job.stage_since), len(job.entries), kept["panel"], kept["board"], *numbers, kept["occurrence"],
            batch, each.digest,
        ))  # fmt: skip
        at = moment_text(job.opened_at)
        entry_rows += [
            (job_id, n, n, e.kind, e.name, e.state, e.value, e.unit, e.hold, e.against, e.meter, e.symptom, e.by,
             e.note, at)
            for n, e in enumerate(job.entries, start=1)
        ]  # fmt: skip
        paid_in = (job.closing.currency if job.closing is not None else "") or currency
        part_rows += [
            (job_id, p.seq, p.repair, p.old_code, p.new_code, p.source, p.leds, p.strips, in_coins(p.price, paid_in),
             paid_in)
            for p in job.parts
        ]  # fmt: skip
        if (end := job.closing) is not None:
            closing_rows.append((
                job_id, end.outcome, end.verification, end.hours_on_test, end.minutes, in_coins(end.parts, paid_in),
                in_coins(end.price, paid_in), paid_in, end.note, end.by, moment_text(end.at or job.stage_since),
            ))  # fmt: skip
    _many(connection, "jobs", _JOB, job_rows)
    _many(connection, "entries", _ENTRY, entry_rows)
    _many(connection, "parts", _PART, part_rows)
    _many(connection, "closings", _CLOSING, closing_rows)


def _many(connection: Connection, table: str, columns: Sequence[str], rows: list[tuple[Any, ...]]) -> None:
    """Rows by the driver itself: a statement built once, no work for each value."""
    if rows:
        mark = "?" if connection.dialect.name == "sqlite" else "%s"
        named = ", ".join(f'"{column}"' for column in columns)
        marks = ", ".join([mark] * len(columns))
        connection.exec_driver_sql(f"INSERT INTO {table} ({named}) VALUES ({marks})", rows)


def _link(connection: Connection, links: Sequence[tuple[int, str]], ids: Mapping[str, int]) -> None:
    """Jobs that came back, with those they came back from, in this batch or before it."""
    known = dict(ids)
    missing = {after for _, after in links if after not in known}
    if missing:
        for row in connection.execute(sa.select(jobs.c.id, jobs.c.number).where(jobs.c.superseded_by.is_(None))):
            if row.number in missing:
                known[row.number] = row.id
    rows = [(known[after], job_id) for job_id, after in links if after in known]
    if rows:
        mark = "?" if connection.dialect.name == "sqlite" else "%s"
        connection.exec_driver_sql(f"UPDATE jobs SET after_id = {mark} WHERE id = {mark}", rows)
