"""A history in a shop's database, asked there: its entries are turned into a row for each job first."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection

from faultnet.counting.columns import Lookup
from faultnet.counting.statement import PLAIN, seen_column
from faultnet.jobs.entry import SEEN
from faultnet.model import Model
from faultnet.store.database import Database
from faultnet.store.tables import closings, jobs

_AT_ONCE = 10_000

_FACTS = ("size", "age", "nominal", "leds")
"""Facts taken from the entries, as they were written; `jobs` has some of them as numbers."""

_PARTED = "; "


@dataclass(frozen=True, eq=False)
class Asked:
    """A history in a database, as `count` asks it."""

    connection: Connection

    def rows(self, query: str) -> Iterator[Sequence[Any]]:
        """The rows of an answer, a batch at a time."""
        answer = self.connection.exec_driver_sql(query, execution_options={"stream_results": True})
        while batch := answer.fetchmany(_AT_ONCE):
            yield from batch

    def keep(self, lookup: Lookup, rows: Iterable[tuple[str, ...]]) -> None:
        """Make the relation of a lookup."""
        columns = (*lookup.columns, "said")
        self.make(f"CREATE TEMPORARY TABLE {lookup.name} ({', '.join(f'{name} TEXT' for name in columns)})")
        mark = "?" if self.connection.dialect.paramstyle == "qmark" else "%s"
        listed = list(rows)
        if listed:
            self.connection.exec_driver_sql(
                f"INSERT INTO {lookup.name} VALUES ({', '.join(mark for _ in columns)})", listed
            )
        self.make(f"CREATE INDEX ix_{lookup.name} ON {lookup.name} ({', '.join(lookup.columns)})")

    def drawn(self, where: str, most_jobs: int) -> str:  # noqa: ARG002  as the protocol has it
        """All of it: a database that people write into is never so large."""
        return "history"

    def make(self, command: str) -> None:
        """Run a command that answers nothing."""
        self.connection.exec_driver_sql(command)


@contextmanager
def asked_database(database: Database, model: Model) -> Iterator[Asked]:
    """The history in this database as it stands now; nothing in it is changed."""
    with database.scratch() as connection:
        asked = Asked(connection)
        asked.make(f"CREATE TEMPORARY TABLE placed AS {PLACED}")
        asked.make("CREATE INDEX ix_placed ON placed (job_id)")
        asked.make(f"CREATE TEMPORARY TABLE history AS {_rows(asked, model)}")
        asked.make("CREATE INDEX ix_history ON history (job)")
        yield asked


def models_in_database(database: Database) -> dict[str, int]:
    """How many jobs that ended each model has."""
    query = (
        sa.select(jobs.c.model, sa.func.count(sa.distinct(jobs.c.id)))
        .join(closings, closings.c.job_id == jobs.c.id)
        .where(jobs.c.superseded_by.is_(None))
        .group_by(jobs.c.model)
        .order_by(jobs.c.model)
    )
    with database.read() as connection:
        return {str(model): int(n) for model, n in connection.execute(query)}


def _told(column: str, usual: str = "", before: str = "") -> str:
    said = f"'+{before}' || REPLACE(REPLACE(REPLACE({column}, ';', ','), '+', '-'), '\\', '/')"
    return f"CASE WHEN {column} NOT IN ('', '{usual}') THEN {said} ELSE '' END"


_CIRCUMSTANCES = " || ".join(
    [
        _told("e.hold"),
        _told("e.against", "chassis"),
        _told("e.meter", before="meter:"),
        _told("e.symptom", "showing"),
        _told("e.by", before="by:"),
    ]
)

_SEEN = ", ".join(f"'{kind}'" for kind in SEEN)

PLACED = f"""\
SELECT job_id, kind, name, said, is_first,
       ROW_NUMBER() OVER (PARTITION BY job_id, is_first, is_event ORDER BY place) AS nth,
       ROW_NUMBER() OVER (PARTITION BY job_id, is_first, is_event, name ORDER BY place) AS nth_of_name,
       ROW_NUMBER() OVER (PARTITION BY job_id, kind, name ORDER BY place DESC) AS nth_from_last
FROM (
    SELECT job_id, kind, name, place, is_event, is_first,
           CASE WHEN circumstances = '' THEN what ELSE what || '@' || SUBSTR(circumstances, 2) END AS said
    FROM (
        SELECT e.job_id, e.kind, e.name, e.place,
               CASE WHEN e.kind IN ({_SEEN}, 'repair') THEN 1 ELSE 0 END AS is_event,
               CASE WHEN e.epoch = 0 AND e.kind <> 'repair' THEN 1 ELSE 0 END AS is_first,
               CASE WHEN e.kind IN ('soft', 'reading') THEN e.value ELSE e.state END AS what,
               CASE WHEN e.kind IN ({_SEEN}) THEN {_CIRCUMSTANCES} ELSE '' END AS circumstances
        FROM standing_entries e
        WHERE e.kind IN ({_SEEN}, 'repair', 'given', 'fact')
    ) told
) placed_so_far"""
"""Every entry that stands and matters, as it can be typed, with its place among others like it: the same text for
SQLite, PostgreSQL and DuckDB."""


def _rows(asked: Asked, model: Model) -> str:
    """The query that makes a row of each job."""
    most = (
        f"SELECT MAX(CASE WHEN is_first = 1 THEN nth END), MAX(CASE WHEN is_first = 1 THEN nth_of_name END), "
        f"MAX(CASE WHEN is_first = 0 THEN nth END) FROM placed WHERE kind IN ({_SEEN}, 'repair')"
    )
    n_tests, n_of_name, n_then = (int(each or 0) for each in next(iter(asked.rows(most))))
    most_parts = "SELECT MAX(n) FROM (SELECT COUNT(*) AS n FROM parts GROUP BY job_id) counted"
    n_parts = int(next(iter(asked.rows(most_parts)))[0] or 0)
    return rows_query(model, n_tests, n_of_name, n_then, n_parts)


def rows_query(model: Model, n_tests: int, n_of_name: int, n_then: int, n_parts: int) -> str:
    """The query that makes a row of each job, from the relation `placed`: the same text everywhere.

    n_tests, n_of_name, n_then, n_parts: at most so many tests before the first repair, of them of one observation,
    events from there on and parts stand in one job.
    """
    names = ", ".join(f"'{name}'" for name in model.visible)
    seen = f"p.is_first = 1 AND p.kind IN ({_SEEN}) AND p.name IN ({names})"
    later = f"p.is_first = 0 AND (p.kind = 'repair' OR p.kind IN ({_SEEN}) AND p.name IN ({names}))"
    cells = {
        "tests": _listed("p.name", seen, "p.nth", n_tests, " "),
        "afterwards": _listed("p.name || '=' || p.said", later, "p.nth", n_then),
        "given": _listed_given(model),
        **{PLAIN[fact]: _latest(f"p.kind = 'fact' AND p.name = '{fact}'", "p.said") for fact in _FACTS},
        **{
            seen_column(o): _listed("p.said", f"{seen} AND p.name = '{o}'", "p.nth_of_name", n_of_name)
            for o in model.visible
        },
    }
    fitted = _listed("p.said", "p.nth > 0", "p.nth", n_parts)
    columns = {**_OF_JOB, **{name: f"COALESCE(w.{name}, '')" for name in cells}}
    return f"""\
SELECT {_named(columns)}
FROM jobs j
LEFT JOIN jobs b ON b.id = j.after_id
LEFT JOIN (SELECT l.job_id, l.outcome, l.verification, l.at FROM closings l
           JOIN (SELECT MAX(id) AS id FROM closings GROUP BY job_id) latest ON latest.id = l.id) c
       ON c.job_id = j.id
LEFT JOIN (SELECT p.job_id, {fitted} AS parts
           FROM (SELECT p.job_id, p.repair || ': source ' || p.source AS said,
                        ROW_NUMBER() OVER (PARTITION BY p.job_id ORDER BY p.id) AS nth
                 FROM parts p JOIN standing_entries e ON e.job_id = p.job_id AND e.seq = p.seq) p
           GROUP BY p.job_id) f ON f.job_id = j.id
LEFT JOIN (SELECT p.job_id,
       {_named(cells)}
       FROM placed p GROUP BY p.job_id) w ON w.job_id = j.id
WHERE j.superseded_by IS NULL AND j.model = '{model.id}'"""


_OF_JOB = {
    "job": "j.number",
    "model": "j.model",
    "opened": "j.opened_at",
    "opened_by": "j.opened_by",
    "came_from": "COALESCE(b.number, '')",
    "came_with": "j.comeback",
    "panel": "COALESCE(j.panel, '')",
    "board": "COALESCE(j.board, '')",
    "outcome": "COALESCE(c.outcome, '')",
    "verification": "COALESCE(c.verification, '')",
    "stage": "j.stage",
    "closed": "COALESCE(c.at, '')",
    "fitted": "COALESCE(f.parts, '')",
}
"""Columns that need no entries."""


def _named(columns: Mapping[str, str]) -> str:
    return ",\n       ".join(f"{cell} AS {name}" for name, cell in columns.items())


def _listed(what: str, where: str, place: str, most: int, mark: str = _PARTED) -> str:
    """Up to so many items in one cell, in their order. Aggregates of text are not the same in every database."""
    items = [f"MAX(CASE WHEN {where} AND {place} = {n} THEN {what} END)" for n in range(1, most + 1)]
    joined = " || ".join(f"COALESCE('{mark}' || {item}, '')" for item in items)
    return f"SUBSTR({joined}, {len(mark) + 1})" if items else "''"


def _latest(where: str, what: str) -> str:
    return f"COALESCE(MAX(CASE WHEN {where} AND p.nth_from_last = 1 THEN {what} END), '')"


def _listed_given(model: Model) -> str:
    """The given conditions, as `name=state` each."""
    each = (
        f"COALESCE('{_PARTED}' || MAX(CASE WHEN p.kind = 'given' AND p.name = '{name}' AND p.nth_from_last = 1 "
        f"THEN p.name || '=' || p.said END), '')"
        for name in model.conditions
    )
    joined = " || ".join(each)
    return f"SUBSTR({joined}, {len(_PARTED) + 1})" if joined else "''"
