"""A report: being worked out, or what came of it; learned numbers are accepted here, as they were shown."""

from typing import Annotated

from fastapi import APIRouter, Path
from markupsafe import Markup
from starlette.responses import Response

from faultnet.errors import NoSuchReport, UsageProblem
from faultnet.reports.document import document_from_data
from faultnet.store.reports import Report
from faultnet.telling.job import moment
from faultnet.web.answering import go_to, page
from faultnet.web.failures import problems_of
from faultnet.web.shown.reports import KINDS, WHERE, asked_words
from faultnet.web.visit import Form, Sent, Visit, Visiting
from faultnet.workshop.reporting import accept_report, report_of
from faultnet.workshop.versions import unsaid

router = APIRouter()

REFRESH_S = 3

Number = Annotated[int, Path(ge=1, le=10**9)]


@router.get("/reports/{number}")
def shown(number: Number, visit: Visiting) -> Response:
    """The report as far as it is."""
    report = _of_past_jobs(visit, number)
    head = {"title": KINDS[report.kind], "asked": asked_words(report), "where": WHERE[report.kind]}
    if report.is_open:
        return page(visit, "waiting.html", report=report, head=head, refresh_s=REFRESH_S)
    if report.document is None:
        return page(visit, "unanswered.html", report=report, head=head, reasons=report.failed.splitlines())
    document, is_full = document_from_data(report.document), visit.query.get("full") == "yes"
    return page(
        visit,
        "report.html",
        report=report,
        head=head,
        blocks=document.everything if is_full else document.blocks,
        is_full=is_full,
        has_more=document.everything != document.blocks,
        pictures={name: Markup(svg) for name, svg in document.pictures.items()},  # made by ourselves, texts escaped
        can_accept=document.version is not None and not report.led_to,
        made=moment(report.done_at),
    )


@router.get("/reports/{number}/{picture}.svg")
def drawn(number: Number, picture: str, visit: Visiting) -> Response:
    """A picture of it by itself, to look at closely."""
    document = _of_past_jobs(visit, number).document or {}
    svg = document.get("pictures", {}).get(picture)
    if svg is None:
        raise NoSuchReport(f"report {number} has no such picture")
    return Response(svg, media_type="image/svg+xml")


@router.get("/reports/{number}/accept")
def doubted(number: Number, visit: Visiting) -> Response:
    """The question before its numbers are used."""
    return _question(visit, number, Form())


@router.post("/reports/{number}/accept")
def accepted(number: Number, visit: Visiting, form: Sent) -> Response:
    """Use its numbers from now on."""
    by, reason = form.text("by"), form.text("reason")
    try:
        if problems := unsaid(by, reason):
            raise UsageProblem(*problems)
        version = accept_report(visit.workshop, number, by, reason)
    except UsageProblem as error:
        return _question(visit, number, form, error)
    return go_to("/tuning", model=version.model, done="accepted")


def _of_past_jobs(visit: Visit, number: int) -> Report:
    """NoSuchReport: it is of another kind, or there is none."""
    report = report_of(visit.workshop, number)
    if report.kind not in KINDS:
        raise NoSuchReport(f"report {number} is not one of past jobs")
    return report


def _question(visit: Visit, number: int, form: Form, error: UsageProblem | None = None) -> Response:
    report = _of_past_jobs(visit, number)
    learned = (report.document or {}).get("version")
    if learned is None:
        raise UsageProblem(f"report {number} has no learned numbers to accept")
    return page(
        visit,
        "accept.html",
        problems=problems_of(error),
        report=report,
        model=learned["model"],
        version=f"{learned['model']}@{learned['number']}",
        n_jobs=learned["n_jobs"],
        by=form.text("by") or visit.tablet.who,
        reason=form.text("reason"),
    )
