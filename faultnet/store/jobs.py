"""Jobs in the database: written entry by entry, read as values. Every function works inside a caller's transaction."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection, Row
from sqlalchemy.exc import IntegrityError

from faultnet.case.entry import nearest
from faultnet.errors import NoSuchJob, UsageProblem
from faultnet.jobs.closing import Closing, Part
from faultnet.jobs.entry import Entry
from faultnet.jobs.job import Job
from faultnet.store.sums import from_coins, in_coins
from faultnet.store.tables import closings, entries, jobs, parts

FACT_COLUMNS: Mapping[str, str] = {
    "panel": "panel",
    "board": "board",
    "size": "inches",
    "age": "age_years",
    "occurrence": "occurrence",
}
"""Facts that have a column in `jobs`, for lists and for questions over many jobs."""

_NUMBERS = frozenset(("inches", "age_years"))

_NUMBERING = 7_215_019_447
"""The number of a server's lock that whoever takes a new job's number holds; any other would do."""


@dataclass(frozen=True)
class Listed:
    """A job in one line. outcome: "" while it is open; after: the job it came back from, or ""."""

    number: str
    model: str
    stage: str
    stage_since: datetime
    opened_at: datetime
    panel: str
    inches: float | None
    outcome: str
    after: str


def insert_job(connection: Connection, job: Job) -> None:
    """Put a new job in, without entries. UsageProblem: there is one of this number."""
    after_id = None if not job.after else _row(connection, job.after).id
    values = {
        "number": job.number,
        "model": job.model,
        "after_id": after_id,
        "comeback": job.comeback,
        "opened_at": job.opened_at,
        "opened_by": job.opened_by,
        "stage": job.stage,
        "stage_since": job.stage_since,
    }
    try:
        connection.execute(jobs.insert().values(values))
    except IntegrityError:
        raise UsageProblem(f"there is a job {job.number} already; leave out --number, or take another") from None


def next_number(connection: Connection) -> str:
    """The number after the highest whole one there is; the first is 1001. No other job is opened meanwhile."""
    if connection.dialect.name == "postgresql":
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_NUMBERING)))
    if connection.dialect.name == "postgresql":
        is_whole = jobs.c.number.regexp_match("^[0-9]+$")
    else:
        is_whole = jobs.c.number.op("NOT GLOB")("*[^0-9]*")
    whole = sa.select(sa.cast(jobs.c.number, sa.BigInteger)).where(is_whole, sa.func.length(jobs.c.number) <= 15)
    return str(max(1000, connection.execute(sa.select(sa.func.max(whole.subquery().c[0]))).scalar() or 0) + 1)


def find_job(connection: Connection, number: str, *, to_write: bool = False) -> Job:
    """The job of this number. to_write: nobody else writes to it before this transaction ends.

    UsageProblem: there is none, with the nearest numbers.
    """
    return assembled(connection, [_row(connection, number, to_write=to_write)])[0]


def assembled(connection: Connection, rows: Sequence[Row[Any]]) -> list[Job]:
    """Jobs with all that belongs to them, from their own rows, in that order."""
    ids = [row.id for row in rows]
    earlier = jobs.alias("earlier")
    before = sa.select(jobs.c.id, earlier.c.number).join(earlier, earlier.c.id == jobs.c.after_id)
    after = {row.id: row.number for row in connection.execute(before.where(jobs.c.id.in_(ids)))}
    written: dict[int, list[Entry]] = {job_id: [] for job_id in ids}
    for found in connection.execute(entries.select().where(entries.c.job_id.in_(ids)).order_by(entries.c.seq)):
        written[found.job_id].append(_entry(found))
    fitted: dict[int, list[Part]] = {job_id: [] for job_id in ids}
    for found in connection.execute(parts.select().where(parts.c.job_id.in_(ids)).order_by(parts.c.id)):
        fitted[found.job_id].append(_part(found))
    closed = connection.execute(closings.select().where(closings.c.job_id.in_(ids)).order_by(closings.c.id))
    ended = {found.job_id: _closing(found) for found in closed}  # the last one counts
    return [
        Job(
            number=row.number,
            model=row.model,
            stage=row.stage,
            stage_since=row.stage_since,
            opened_at=row.opened_at,
            opened_by=row.opened_by,
            after=after.get(row.id, ""),
            comeback=row.comeback,
            entries=tuple(written[row.id]),
            parts=tuple(fitted[row.id]),
            closing=ended.get(row.id) if row.stage in ("closed", "watched", "done") else None,
        )
        for row in rows
    ]


def comebacks_of(connection: Connection, number: str) -> tuple[str, ...]:
    """The numbers of the jobs that came back from this one."""
    row = _row(connection, number)
    return tuple(
        connection.execute(sa.select(jobs.c.number).where(jobs.c.after_id == row.id).order_by(jobs.c.id)).scalars()
    )


def append(
    connection: Connection,
    number: str,
    written: Sequence[Entry],
    at: datetime,
    *,
    fitted: Iterable[Part] = (),
    currency: str = "",
) -> tuple[Entry, ...]:
    """Add entries to a job, numbered; facts among them also go where lists look for them.

    An entry that supersedes another must carry its place. fitted: parts of the first repair among the entries.
    """
    if not written:
        return ()
    job_id, last = connection.execute(
        jobs.update()
        .where(jobs.c.number == number)
        .values(n_entries=jobs.c.n_entries + len(written))
        .returning(jobs.c.id, jobs.c.n_entries)
    ).one()
    first = last - len(written) + 1
    numbered = tuple(
        replace(entry, seq=seq, place=entry.place or seq, at=at) for seq, entry in enumerate(written, start=first)
    )
    connection.execute(entries.insert(), [{"job_id": job_id, **_values(entry)} for entry in numbered])
    repair = next((entry.seq for entry in numbered if entry.kind == "repair"), None)
    rows = [{"job_id": job_id, **_part_values(replace(p, seq=repair or 0), currency)} for p in fitted]
    if rows:
        connection.execute(parts.insert(), rows)
    _keep_facts(connection, job_id, numbered)
    return numbered


def move_stage(connection: Connection, number: str, stage: str, at: datetime) -> None:
    """Note the stage of a job; its entry is written by the caller."""
    connection.execute(jobs.update().where(jobs.c.number == number).values(stage=stage, stage_since=at))


def change_model(connection: Connection, number: str, model: str) -> None:
    """Note the model that goes on; its entry is written by the caller."""
    connection.execute(jobs.update().where(jobs.c.number == number).values(model=model))


def insert_closing(connection: Connection, number: str, closing: Closing) -> None:
    """Note how a job ended."""
    values = {
        "job_id": _row(connection, number).id,
        "outcome": closing.outcome,
        "verification": closing.verification,
        "hours_on_test": closing.hours_on_test,
        "minutes": closing.minutes,
        "parts_minor": in_coins(closing.parts, closing.currency),
        "price_minor": in_coins(closing.price, closing.currency),
        "currency": closing.currency,
        "note": closing.note,
        "by": closing.by,
        "at": closing.at,
    }
    connection.execute(closings.insert().values(values))


def list_jobs(connection: Connection, stages: Iterable[str] | None = None, panel: str = "") -> tuple[Listed, ...]:
    """Jobs in one line each, the newest first; only those in some stages, or with a panel code."""
    earlier = jobs.alias("earlier")
    latest = sa.select(closings.c.job_id, sa.func.max(closings.c.id).label("id")).group_by(closings.c.job_id).subquery()
    query = (
        sa.select(jobs, closings.c.outcome, earlier.c.number.label("after_number"))
        .join_from(jobs, latest, latest.c.job_id == jobs.c.id, isouter=True)
        .join(closings, closings.c.id == latest.c.id, isouter=True)
        .join(earlier, earlier.c.id == jobs.c.after_id, isouter=True)
        .where(jobs.c.superseded_by.is_(None))
        .order_by(jobs.c.opened_at.desc(), jobs.c.id.desc())
    )
    if stages is not None:
        query = query.where(jobs.c.stage.in_(list(stages)))
    if panel:
        query = query.where(sa.func.upper(jobs.c.panel) == panel.upper())
    return tuple(
        Listed(
            row.number,
            row.model,
            row.stage,
            row.stage_since,
            row.opened_at,
            row.panel or "",
            row.inches,
            row.outcome or "",
            row.after_number or "",
        )
        for row in connection.execute(query)
    )


def _row(connection: Connection, number: str, *, to_write: bool = False) -> Row[Any]:
    query = jobs.select().where(jobs.c.number == number)
    row = connection.execute(query.with_for_update() if to_write else query).first()
    if row is None:
        known = list(connection.execute(sa.select(jobs.c.number).order_by(jobs.c.id.desc()).limit(1000)).scalars())
        hint = nearest(number, known) or ("" if known else "; there is none yet: faultnet job open --model backlight")
        raise NoSuchJob(f"there is no job {number}{hint}")
    return row


def _values(entry: Entry) -> dict[str, Any]:
    return {column.name: getattr(entry, column.name) for column in entries.columns if column.name != "job_id"}


def _entry(row: Row[Any]) -> Entry:
    values = dict(row._mapping)
    del values["job_id"]
    return Entry(**values)


def _part_values(part: Part, currency: str) -> dict[str, Any]:
    return {
        "seq": part.seq,
        "repair": part.repair,
        "old_code": part.old_code,
        "new_code": part.new_code,
        "source": part.source,
        "leds": part.leds,
        "strips": part.strips,
        "price_minor": in_coins(part.price, currency),
        "currency": currency,
    }


def _part(row: Row[Any]) -> Part:
    price = from_coins(row.price_minor, row.currency)
    return Part(row.seq, row.repair, row.old_code, row.new_code, row.source, row.leds, row.strips, price)


def _closing(row: Row[Any]) -> Closing:
    return Closing(
        row.outcome,
        row.verification,
        row.hours_on_test,
        row.minutes,
        from_coins(row.parts_minor, row.currency),
        from_coins(row.price_minor, row.currency),
        row.currency,
        row.note,
        row.by,
        row.at,
    )


def _keep_facts(connection: Connection, job_id: int, numbered: Iterable[Entry]) -> None:
    changed: dict[str, Any] = {}
    for entry in numbered:
        column = FACT_COLUMNS.get(entry.name) if entry.kind == "fact" else None
        if column:
            changed[column] = float(entry.state) if column in _NUMBERS else entry.state
    if changed:
        connection.execute(jobs.update().where(jobs.c.id == job_id).values(**changed))
