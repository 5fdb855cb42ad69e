"""Whether a database is whole, and says the same thing in both places where it says it."""

from collections.abc import Iterator
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection, Row

from faultnet.jobs import Job
from faultnet.store.jobs import FACT_COLUMNS, assembled
from faultnet.store.tables import IN_ORDER, jobs

AT_ONCE = 2_000
"""Jobs that are read together."""


def check_database(connection: Connection) -> Iterator[str]:
    """Everything that is wrong, one sentence each; nothing where all is well."""
    if connection.dialect.name == "sqlite":
        for row in connection.exec_driver_sql("PRAGMA integrity_check").scalars():
            if row != "ok":
                yield f"the file is damaged: {row}"
        for row in connection.exec_driver_sql("PRAGMA foreign_key_check"):
            yield f"a row of {row[0]} belongs to a row of {row[2]} that is not there"
    last = 0
    while rows := connection.execute(jobs.select().where(jobs.c.id > last).order_by(jobs.c.id).limit(AT_ONCE)).all():
        for row, job in zip(rows, assembled(connection, rows), strict=True):
            yield from _check_job(row, job)
        last = rows[-1].id


def _check_job(row: Row[Any], job: Job) -> Iterator[str]:
    """Everything that is wrong with one job: its row against its entries."""
    number = job.number
    numbers = [entry.seq for entry in job.entries]
    if numbers != [*range(1, row.n_entries + 1)]:
        yield f"job {number} has {row.n_entries} entries, but their numbers are {_listed(numbers)}"
    known = {entry.seq: entry for entry in job.entries}
    for entry in job.entries:
        before = known.get(entry.supersedes or entry.seq)
        if before is None or entry.place != (before.place if entry.supersedes else entry.seq):
            yield f"job {number}: entry {entry.seq} supersedes {entry.supersedes}, which does not fit its place"
    for fact, column in FACT_COLUMNS.items():
        kept, told = getattr(row, column), job.facts.get(fact)
        if (None if told is None else told) != (None if kept is None else _written(kept)):
            yield f"job {number}: its {fact} is {told} by its entries, but {kept} in lists"
    if (ended := _ended(job)) is not None and ended != row.stage:
        yield f"job {number} is {row.stage}, but its last move went to {ended}"


def count_rows(connection: Connection) -> dict[str, int]:
    """How many rows each table has."""
    return {
        table.name: connection.execute(sa.select(sa.func.count()).select_from(table)).scalar_one() for table in IN_ORDER
    }


def _ended(job: Job) -> str | None:
    """The stage that the last move led to, where nothing was seen or made since."""
    last = next(
        (entry for entry in reversed(job.entries) if entry.kind in ("stage", "price", "repair", "finding")), None
    )
    return last.state if last is not None and last.kind in ("stage", "price") else None


def _written(value: str | float) -> str:
    return f"{value:g}" if isinstance(value, float) else value


def _listed(numbers: list[int]) -> str:
    return f"{numbers[0]} to {numbers[-1]}, {len(numbers)} in all" if numbers else "none"
