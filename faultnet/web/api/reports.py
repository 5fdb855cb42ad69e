"""Reports of past jobs, for programs: asked for, and read once they are worked out."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path
from pydantic import Field

from faultnet.store.reports import Report
from faultnet.store.tables import moment_text
from faultnet.web.api.bodies import REFUSALS, Body, Json, Word
from faultnet.web.visit import Visiting
from faultnet.web.worker import Working
from faultnet.workshop.reporting import ask, report_of, reports_of

router = APIRouter(prefix="/api/reports", tags=["reports"], responses=REFUSALS)

ReportPath = Annotated[int, Path(ge=1, le=10**9, description="The report's number.")]

Kind = Literal["tune", "rates", "calibration"]


class ReportBody(Body):
    """What to work out. asked: by the names of the command's options, such as model, of, by, since, before."""

    kind: Kind = Field(examples=["rates"])
    asked: dict[Word, str | bool | int | float | list[Word] | None] = Field(
        default_factory=dict, max_length=20, examples=[{"model": "backlight", "by": ["panel_group"]}]
    )
    by: Word = ""


@router.get("")
def listed(visit: Visiting, kind: Kind | None = None) -> Json:
    """The reports that are kept, the newest first."""
    kinds = ("tune", "rates", "calibration") if kind is None else (kind,)
    return {"reports": [_head(report) for report in reports_of(visit.workshop, *kinds)]}


@router.post("", status_code=202)
def asked(visit: Visiting, worker: Working, body: ReportBody) -> Json:
    """Have a report worked out; it is there when its `stands` is no longer `open`."""
    number = ask(visit.workshop, body.kind, body.asked, body.by)
    worker.take(number)
    return _head(report_of(visit.workshop, number))


@router.get("/{report}")
def shown(visit: Visiting, report: ReportPath) -> Json:
    """A report; in `answer` what came out, as `faultnet tune`, `rates` or `calibration` says it with --json."""
    found = report_of(visit.workshop, report)
    return {**_head(found), "answer": None if found.document is None else found.document.get("json")}


def _head(report: Report) -> dict[str, Any]:
    return {
        "report": report.id,
        "kind": report.kind,
        "asked": report.asked,
        "by": report.by,
        "at": moment_text(report.at),
        "done_at": None if report.done_at is None else moment_text(report.done_at),
        "stands": "open" if report.is_open else "failed" if report.failed else "done",
        "problems": report.failed.splitlines(),
        "led_to": report.led_to or None,
    }
