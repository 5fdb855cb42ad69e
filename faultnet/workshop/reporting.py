"""Reports: asked for, read, and accepted where they tell of what was learned."""

from collections.abc import Mapping
from typing import Any

from faultnet.errors import Stale, StoreProblem, UsageProblem
from faultnet.model.version import Version, version_from_document
from faultnet.store.reports import (
    Report,
    fail_open_reports,
    fail_report,
    finish_report,
    insert_report,
    list_reports,
    note_what_came_of,
    read_report,
)
from faultnet.workshop.versions import accept_version, number_in_use
from faultnet.workshop.workshop import Workshop

MOST_OPEN = 10
"""So many reports wait at most: each takes a processor for a while."""

BROKEN_OFF = "It was broken off before it was done, for the program or the machine stopped: ask again."


def ask(workshop: Workshop, kind: str, asked: Mapping[str, Any], by: str) -> int:
    """The number of a report that is to be worked out: a new one, or one that somebody waits for already.

    kind: `tune`, `rates` or `calibration`. UsageProblem: all that is wrong with what is asked, or too many wait.
    """
    from faultnet.workshop.asked import WANTED, as_asked, wanted_of  # what it takes to count: not needed to read

    if kind not in WANTED:
        raise UsageProblem(f"{kind}: no report of this kind; possible are {', '.join(WANTED)}")
    asked = as_asked(wanted_of(workshop, kind, asked), asked)
    with workshop.database.write() as connection:
        waiting = [report for report in list_reports(connection, WANTED) if report.is_open]
        for other in waiting:
            if (other.kind, other.asked) == (kind, asked):
                return other.id
        if len(waiting) >= MOST_OPEN:
            raise UsageProblem(f"{MOST_OPEN} reports are being worked out or wait for it: ask again when some are done")
        return insert_report(connection, kind, asked, by, workshop.clock())


def report_of(workshop: Workshop, number: int) -> Report:
    """A report. NoSuchReport: there is none of this number."""
    with workshop.database.read() as connection:
        return read_report(connection, number)


def reports_of(workshop: Workshop, *kinds: str) -> tuple[Report, ...]:
    """The reports of some kinds without what came out, the newest first."""
    with workshop.database.read() as connection:
        return list_reports(connection, kinds)


def finish(workshop: Workshop, number: int, document: Mapping[str, Any]) -> None:
    """Keep what came out of a report."""
    with workshop.database.write() as connection:
        finish_report(connection, number, document, workshop.clock())


def fail(workshop: Workshop, number: int, why: str) -> None:
    """Say why nothing came out of a report."""
    with workshop.database.write() as connection:
        fail_report(connection, number, why, workshop.clock())


def fail_broken_off(workshop: Workshop) -> int:
    """Say of every report that nobody works on any more what to do; how many. To be called when a server starts."""
    with workshop.database.write() as connection:
        return fail_open_reports(connection, BROKEN_OFF, workshop.clock())


def accept_report(workshop: Workshop, number: int, by: str, reason: str) -> Version:
    """Make the numbers that a report shows the model's newest version, without learning them again.

    Stale: another version was accepted meanwhile. UsageProblem: no name or reason, nothing was learned, or the model's
    file was changed.
    """
    report = report_of(workshop, number)
    learned = (report.document or {}).get("version")
    if learned is None:
        raise UsageProblem(f"report {number} has no learned numbers to accept")
    try:
        version = version_from_document(learned)
    except (ValueError, KeyError, TypeError) as error:
        raise StoreProblem(f"report {number} is damaged ({type(error).__name__}): tune again") from None
    in_use = number_in_use(workshop, version.model)
    if in_use != version.parent:
        raise Stale(
            f"{version.model}@{in_use} was accepted meanwhile; this was learned beside {version.model}@"
            f"{version.parent}, and is stale: ask again"
        )
    accepted = accept_version(workshop, version, by, reason)
    with workshop.database.write() as connection:
        note_what_came_of(connection, number, accepted.id)
    return accepted
