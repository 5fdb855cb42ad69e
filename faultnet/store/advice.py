"""What was advised at every step of a job, with which model: so that learning can tell advice from evidence."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy import Connection

from faultnet.store.tables import advice, jobs


@dataclass(frozen=True)
class Advised:
    """One piece of advice. n_entries: how many entries the job had then; shown_in: `job next`, `bench`, `page`.

    faults: how likely each component was to be faulty, to six digits; trained: whether the bench was.
    """

    n_entries: int
    version: str
    digest: str
    kind: str
    what: str
    verdict: str
    why: str
    shown_in: str
    trained: bool
    faults: Mapping[str, float]
    at: datetime


def insert_advice(connection: Connection, number: str, told: Advised) -> bool:
    """Note a piece of advice; whether it is new: the same, shown again before anything was entered, is noted once."""
    job_id = connection.execute(sa.select(jobs.c.id).where(jobs.c.number == number)).scalar_one()
    before = connection.execute(
        advice.select().where(advice.c.job_id == job_id).order_by(advice.c.id.desc()).limit(1)
    ).first()
    key = (told.n_entries, told.version, told.digest, told.kind, told.what, told.shown_in, int(told.trained))
    if before is not None:
        last = (before.n_entries, before.version, before.digest, before.kind, before.what)
        if key == (*last, before.shown_in, before.trained):
            return False
    names = ("n_entries", "version", "digest", "kind", "what", "shown_in", "trained")
    rest = {"verdict": told.verdict, "why": told.why, "faults": json.dumps(dict(told.faults)), "at": told.at}
    connection.execute(advice.insert().values(job_id=job_id, **dict(zip(names, key, strict=True)), **rest))
    return True


def advice_of(connection: Connection, number: str) -> tuple[Advised, ...]:
    """All that was advised in a job, in order."""
    query = advice.select().join(jobs, jobs.c.id == advice.c.job_id).where(jobs.c.number == number)
    return tuple(
        Advised(
            row.n_entries,
            row.version,
            row.digest,
            row.kind,
            row.what,
            row.verdict,
            row.why,
            row.shown_in,
            bool(row.trained),
            json.loads(row.faults),
            row.at,
        )
        for row in connection.execute(query.order_by(advice.c.id))
    )


def advised_jobs(connection: Connection) -> frozenset[str]:
    """The numbers of all jobs that something was advised in."""
    query = sa.select(jobs.c.number).join(advice, jobs.c.id == advice.c.job_id).distinct()
    return frozenset(connection.execute(query).scalars())
