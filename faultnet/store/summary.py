"""What a shop's jobs amount to, counted in the database."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection, Select

from faultnet.jobs.entry import SEEN
from faultnet.store.tables import closings, entries, jobs

VERIFIED = ("part_tested", "proved_by_swap")
"""Verifications that say more than that the symptom is gone."""

Counts = Mapping[str, int]

standing = sa.table("standing_entries", *(sa.column(name) for name in ("job_id", "kind", "name", "state", "place")))
"""The view of the entries that stand."""


@dataclass(frozen=True)
class Summary:
    """Jobs counted. by_month: `2031-05` to the jobs that came in; by_outcome, by_verification: of those that ended;
    by_panel: of all, "" where no code was written; tests: of each observation the jobs in which it is recorded.

    gaps: jobs without something; cured_by: of jobs that were fixed, the repair that was made last, verified ones and
    others apart.
    """

    n_jobs: int
    n_comebacks: int
    by_month: Counts
    by_outcome: Counts
    by_verification: Counts
    by_panel: Counts
    by_stage: Counts
    tests: Counts
    gaps: Counts
    cured_by: Mapping[str, tuple[int, int]]


def summarize(connection: Connection) -> Summary:
    """All jobs of a database, those left out that a later import replaced."""
    mine = sa.select(jobs.c.id).where(jobs.c.superseded_by.is_(None))
    ended = _latest_closings(mine)
    n_jobs = _one(connection, sa.select(sa.func.count()).select_from(mine.subquery()))
    month = sa.func.substr(sa.type_coerce(jobs.c.opened_at, sa.Text), 1, 7)
    seen = standing.c.job_id.in_(mine) & standing.c.kind.in_(SEEN)
    return Summary(
        n_jobs=n_jobs,
        n_comebacks=_one(
            connection, sa.select(sa.func.count()).where(jobs.c.after_id.is_not(None), jobs.c.superseded_by.is_(None))
        ),
        by_month=_counts(connection, _grouped(month, jobs.c.superseded_by.is_(None)).order_by("what")),
        by_outcome=_counts(connection, _most_first(_grouped(ended.c.outcome))),
        by_verification=_counts(connection, _most_first(_grouped(ended.c.verification, ended.c.outcome == "fixed"))),
        by_panel=_counts(
            connection, _most_first(_grouped(sa.func.coalesce(jobs.c.panel, ""), jobs.c.superseded_by.is_(None)))
        ),
        by_stage=count_stages(connection),
        tests=_counts(
            connection,
            _most_first(
                sa.select(standing.c.name.label("what"), sa.func.count(sa.distinct(standing.c.job_id)).label("n"))
                .where(seen)
                .group_by(standing.c.name)
            ),
        ),
        gaps=_gaps(connection, mine, ended, n_jobs),
        cured_by=_cured_by(connection, ended),
    )


def count_stages(connection: Connection) -> Counts:
    """How many jobs stand at each stage, as it was written last; the most frequent first."""
    return _counts(connection, _most_first(_grouped(jobs.c.stage, jobs.c.superseded_by.is_(None))))


def _latest_closings(mine: Select[Any]) -> sa.Subquery:
    """The last closing of each job."""
    last = sa.select(sa.func.max(closings.c.id)).where(closings.c.job_id.in_(mine)).group_by(closings.c.job_id)
    return closings.select().where(closings.c.id.in_(last)).subquery()


def _gaps(connection: Connection, mine: Select[Any], ended: sa.Subquery, n_jobs: int) -> Counts:
    """Jobs in which something is not recorded."""
    told = {
        "no finding or reading": sa.select(sa.func.count(sa.distinct(entries.c.job_id))).where(
            entries.c.job_id.in_(mine), entries.c.kind.in_(SEEN)
        ),
        "no outcome": sa.select(sa.func.count()).select_from(ended),
        "no minutes": sa.select(sa.func.count()).where(ended.c.minutes.is_not(None)),
        "no price": sa.select(sa.func.count()).where(ended.c.price_minor.is_not(None)),
    }
    for name, column in (("panel code", jobs.c.panel), ("screen size", jobs.c.inches), ("age", jobs.c.age_years)):
        told[f"no {name}"] = sa.select(sa.func.count()).where(column.is_not(None), jobs.c.superseded_by.is_(None))
    return {name: n_jobs - _one(connection, query) for name, query in told.items()}


def _cured_by(connection: Connection, ended: sa.Subquery) -> dict[str, tuple[int, int]]:
    """Of jobs that were fixed, the last repair that stands: how many verified, and how many not.

    Put together here: joined to a view that counts over windows, SQLite works that out again for each job.
    """
    made = sa.select(standing.c.job_id, standing.c.name).where(standing.c.kind == "repair", standing.c.state == "works")
    last = {row.job_id: row.name for row in connection.execute(made.order_by(standing.c.place))}
    fixed = sa.select(ended.c.job_id, ended.c.verification).where(ended.c.outcome == "fixed")
    verified, n = Counter[str](), Counter[str]()
    for job, verification in connection.execute(fixed):
        if job in last:
            n[last[job]] += 1
            verified[last[job]] += verification in VERIFIED
    return {name: (verified[name], n[name] - verified[name]) for name in sorted(n, key=lambda each: (-n[each], each))}


def _grouped(what: Any, *where: Any) -> Select[Any]:
    return sa.select(what.label("what"), sa.func.count().label("n")).where(*where).group_by("what")


def _most_first(query: Select[Any]) -> Select[Any]:
    return query.order_by(sa.desc("n"), "what")


def _counts(connection: Connection, query: Select[Any]) -> dict[str, int]:
    return {row.what: int(row.n) for row in connection.execute(query)}


def _one(connection: Connection, query: Select[Any]) -> int:
    return int(connection.execute(query).scalar_one())
