"""Tables that came from a browser: kept in the database while they are looked at, and read again as files."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path, PureWindowsPath
from tempfile import TemporaryDirectory
from typing import Any

from faultnet.errors import FaultnetError, UsageProblem
from faultnet.store.reports import (
    AGAIN,
    CONTENT_KEPT,
    Report,
    ask_again,
    insert_report,
    list_reports,
    note_what_came_of,
    read_content,
    read_report,
)
from faultnet.workshop.workshop import Workshop

IMPORT = "import"
"""The kind of report that an upload waits in."""

SUFFIXES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls", ".ods", ".parquet")

MOST_WAITING = 10
"""So many tables are kept that nobody took in."""

LONGEST_NAME = 80
FORGOTTEN = "forgotten"

CHANGED = "it was looked through again, taken in or forgotten meanwhile; look at it as it is now"


def keep_upload(workshop: Workshop, name: str, content: bytes, asked: Mapping[str, Any], by: str) -> int:
    """Keep a table that somebody's machine calls `name`; the number of its report. UsageProblem: it is no table."""
    shown = file_name(name)
    if not shown or not content:
        raise UsageProblem("choose a file with something in it")
    if Path(shown).suffix.lower() not in SUFFIXES:
        raise UsageProblem(f"{shown}: a table ends in one of {', '.join(SUFFIXES)}")
    with workshop.database.write() as connection:
        waiting = [report for report in list_reports(connection, [IMPORT]) if not report.led_to]
        if sum(report.at > workshop.clock() - CONTENT_KEPT for report in waiting) >= MOST_WAITING:
            raise UsageProblem(f"{MOST_WAITING} tables wait already: take one in, or forget it")
        return insert_report(connection, IMPORT, asked, by, workshop.clock(), file=shown, content=content)


def look_again(workshop: Workshop, report: Report, asked: Mapping[str, Any], by: str) -> int:
    """Have a table looked through in another way, or taken in; the number of the report about that.

    UsageProblem: somebody else did something with it, or it is not kept any more.
    """
    with workshop.database.write() as connection:
        number = ask_again(connection, report, asked, by, workshop.clock())
        if number is None:
            raise UsageProblem(CHANGED)
    return number


def newest(workshop: Workshop, number: int) -> Report:
    """What was asked last of the upload of a report. UsageProblem: it is of none. NoSuchReport: it is gone."""
    with workshop.database.read() as connection:
        report = read_report(connection, number)
        while report.led_to.startswith(AGAIN):
            report = read_report(connection, int(report.led_to.removeprefix(AGAIN)))
    if report.kind != IMPORT:
        raise UsageProblem(f"report {number} is of no table; look at the tables that wait")
    return report


def forget(workshop: Workshop, report: Report) -> None:
    """Keep a table no longer. UsageProblem: something came of it."""
    with workshop.database.write() as connection:
        if read_report(connection, report.id).led_to:
            raise UsageProblem(CHANGED)
        note_what_came_of(connection, report.id, FORGOTTEN)


@contextmanager
def uploaded(workshop: Workshop, report: Report) -> Iterator[Path]:
    """The table of a report as a file, for as long as it is read; errors name it as its owner does.

    UsageProblem: it is not kept any more.
    """
    with workshop.database.read() as connection:
        content = read_content(connection, report.id)
    with TemporaryDirectory() as folder:
        file = Path(folder) / report.file
        file.write_bytes(content)
        del content
        try:
            yield file
        except FaultnetError as error:
            raise UsageProblem(*str(error).replace(f"{file}", report.file).splitlines()) from None


def file_name(told: str) -> str:
    """The name of a file as another machine tells it, without folders and what cannot be printed; "" if none is left.

    >>> file_name("C:\\\\shop\\\\jobs.csv"), file_name("../../etc/passwd"), file_name("..")
    ('jobs.csv', 'passwd', '')
    """
    name = "".join(c for c in PureWindowsPath(told).name if c.isprintable()).replace(":", "").strip(". ")
    path = Path(name)
    stem = path.stem.encode()[:LONGEST_NAME].decode(errors="ignore")  # what disks count are bytes
    return f"{stem}{path.suffix[:10]}"
