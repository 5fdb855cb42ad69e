"""Reports: what took long to work out, kept for every bench; and uploads, for as long as they are looked at."""

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection, Row

from faultnet.errors import NoSuchReport, UsageProblem
from faultnet.store.tables import reports

MOST_KEPT = 50
"""So many reports are kept, the newest."""

AGAIN = "again as "
"""What came of a report whose upload was asked something else; then the number of the new one."""

CONTENT_KEPT = timedelta(days=1)
"""How long an upload is kept that nobody takes in."""


@dataclass(frozen=True)
class Report:
    """A report. asked: what was to be worked out; done_at: None while it is; failed: why it cannot be, "" where it was.

    document: what came out, as plain values, None where nothing did. led_to: what somebody made of it, such as a
    version. file: name of the uploaded table, "" where there is none.
    """

    id: int
    kind: str
    asked: Mapping[str, Any]
    by: str
    at: datetime
    done_at: datetime | None = None
    failed: str = ""
    document: Mapping[str, Any] | None = None
    led_to: str = ""
    file: str = ""

    @property
    def is_open(self) -> bool:
        """Whether it is being worked out, or waits for that."""
        return self.done_at is None


def insert_report(
    connection: Connection,
    kind: str,
    asked: Mapping[str, Any],
    by: str,
    at: datetime,
    *,
    file: str = "",
    content: bytes | None = None,
) -> int:
    """Ask for a report, and give its number. The oldest go, and uploads that were kept long enough."""
    values = {"kind": kind, "asked": json.dumps(asked), "by": by, "at": at, "file": file, "content": content}
    number: int = connection.execute(reports.insert().values(**values).returning(reports.c.id)).scalar_one()
    kept = sa.select(reports.c.id).order_by(reports.c.id.desc()).limit(MOST_KEPT)
    connection.execute(reports.delete().where(reports.c.id.not_in(kept.subquery().select())))
    connection.execute(reports.update().where(reports.c.at < at - CONTENT_KEPT).values(content=None))
    return number


def finish_report(connection: Connection, number: int, document: Mapping[str, Any], at: datetime) -> None:
    """Keep what came out, whatever was thought of it before. A report that is gone stays gone."""
    text = json.dumps(document, separators=(",", ":"))
    _update(connection, number, document=text, done_at=at, failed="")


def fail_report(connection: Connection, number: int, why: str, at: datetime) -> None:
    """Say why nothing comes out; one that was finished stays so."""
    is_open = reports.c.done_at.is_(None)
    connection.execute(reports.update().where(reports.c.id == number, is_open).values(failed=why, done_at=at))


def fail_open_reports(connection: Connection, why: str, at: datetime) -> int:
    """The same of all that are not done; how many."""
    is_open = reports.c.done_at.is_(None)
    return connection.execute(reports.update().where(is_open).values(failed=why, done_at=at)).rowcount


def note_what_came_of(connection: Connection, number: int, led_to: str) -> None:
    """Keep what somebody made of a report; an upload is not needed after that."""
    _update(connection, number, led_to=led_to, content=None)


def ask_again(connection: Connection, report: Report, asked: Mapping[str, Any], by: str, at: datetime) -> int | None:
    """Ask something else of the same upload; the number of the new report. None: something came of the old one.

    UsageProblem: the upload is not kept any more.
    """
    is_free = (reports.c.id == report.id) & reports.c.done_at.is_not(None) & (reports.c.led_to == "")
    if not connection.execute(reports.update().where(is_free).values(led_to=AGAIN)).rowcount:
        return None
    content = read_content(connection, report.id)
    number = insert_report(connection, report.kind, asked, by, at, file=report.file, content=content)
    note_what_came_of(connection, report.id, f"{AGAIN}{number}")
    return number


def _update(connection: Connection, number: int, **values: object) -> None:
    connection.execute(reports.update().where(reports.c.id == number).values(**values))


def read_report(connection: Connection, number: int) -> Report:
    """A report. NoSuchReport: there is none of this number, or no more."""
    row = connection.execute(_all_but_content().where(reports.c.id == number)).first()
    if row is None:
        raise NoSuchReport(f"there is no report {number}: the newest {MOST_KEPT} are kept; ask again")
    return _report(row)


def read_content(connection: Connection, number: int) -> bytes:
    """The uploaded table of a report. UsageProblem: it has none, or no more."""
    query = sa.select(reports.c.content).where(reports.c.id == number)
    content: bytes | None = connection.execute(query).scalar()
    if content is None:
        raise UsageProblem(f"the table of report {number} is not kept any more: choose the file again")
    return content


def list_reports(connection: Connection, kinds: Collection[str]) -> tuple[Report, ...]:
    """The reports of these kinds without what came out, the newest first."""
    query = _all_but_content().where(reports.c.kind.in_([*kinds])).order_by(reports.c.id.desc())
    return tuple(map(_report, connection.execute(query.with_only_columns(*_LISTED))))


_LISTED = [column for column in reports.c if column.name not in ("content", "document")]


def _all_but_content() -> sa.Select[Any]:
    return sa.select(*_LISTED, reports.c.document)


def _report(row: Row[Any]) -> Report:
    told = dict(row._mapping)
    document = told.get("document")
    return Report(
        **{**told, "asked": json.loads(row.asked), "document": None if document is None else json.loads(document)}
    )
