"""A table of past jobs handed in: looked through, put right, taken in or forgotten."""

import csv
import io
from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.errors import UsageProblem
from faultnet.files.finder import list_models
from faultnet.history.mapping import from_data
from faultnet.model import Model
from faultnet.sheets.cells import defused
from faultnet.store.reports import Report
from faultnet.telling.incoming import UNMATCHED
from faultnet.telling.job import moment
from faultnet.web.answering import go_to, page
from faultnet.web.failures import problems_of
from faultnet.web.guard import MOST_UPLOADED
from faultnet.web.shown.choices import models_to_choose
from faultnet.web.shown.incoming import (
    DAYS,
    DELIMITERS,
    ENCODINGS,
    MOST_COLUMNS,
    as_said,
    choices_for,
    found_in,
    rejected_table,
)
from faultnet.web.visit import Form, Numbered, Sent, Visit, Visiting
from faultnet.web.worker import Working
from faultnet.workshop.reporting import report_of, reports_of
from faultnet.workshop.uploading import FORGOTTEN, IMPORT, SUFFIXES, forget, keep_upload, look_again, newest

router = APIRouter()

MOST_LISTED = 10


@router.get("/history/import")
def chosen(visit: Visiting) -> Response:
    """Choose a table; and those that wait."""
    return _asked(visit, Form(), ())


@router.post("/history/import")
def handed_in(visit: Visiting, worker: Working, form: Sent) -> Response:
    """Keep it, and have it looked through."""
    file = form.files.get("table")
    try:
        name, content = ("", b"") if file is None else (file.name, file.content)
        number = keep_upload(visit.workshop, name, content, _told(visit, form, {}), visit.tablet.who)
    except UsageProblem as error:
        return _asked(visit, form, problems_of(error))
    worker.take(number)
    return go_to(_address(number))


@router.get("/history/import/{number}")
def looked_through(number: Numbered, visit: Visiting) -> Response:
    """What the table holds, or what became of it."""
    report = newest(visit.workshop, number)
    return _shown(visit, report, ()) if report.id == number else go_to(_address(report.id))


@router.post("/history/import/{number}")
def pressed(number: Numbered, visit: Visiting, worker: Working, form: Sent) -> Response:
    """Look through it in another way, take it in, or forget it."""
    report = report_of(visit.workshop, number)
    try:
        if form.text("press") == "forget":
            forget(visit.workshop, report)
            return go_to("/history/import")
        again = look_again(visit.workshop, report, _anew(visit, report, form), visit.tablet.who)
    except UsageProblem as error:
        return _shown(visit, newest(visit.workshop, number), problems_of(error), form)
    worker.take(again)
    return go_to(_address(again))


@router.get("/history/import/{number}/rejected.csv")
def rejected(number: Numbered, visit: Visiting) -> Response:
    """The rows that cannot be taken, as they stood, with the reasons."""
    heading, rows = rejected_table(newest(visit.workshop, number))
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([defused(cell) for cell in row] for row in (heading, *rows))
    headers = {"Content-Disposition": f'attachment; filename="rejected-{number}.csv"'}
    return Response(text.getvalue(), media_type="text/csv; charset=utf-8", headers=headers)


def _address(number: int) -> str:
    return f"/history/import/{number}"


def _anew(visit: Visit, report: Report, form: Form) -> dict[str, Any]:
    """What is asked of a table next: to be taken in as it was looked through, or looked through as the form says."""
    take = form.text("press")
    if take in ("all", "good"):
        return {**report.asked, "take": take, "by": visit.tablet.who}
    return _told(visit, form, _columns(visit, report, form))


def _columns(visit: Visit, report: Report, form: Form) -> dict[str, str]:
    """What somebody said that columns are, now or before. UsageProblem: they cannot be."""
    model = _model(visit, report)
    if model is None or form.text("model") not in ("", model.id):
        return {}  # another model has other names for them
    assert report.document is not None
    uses: Sequence[Mapping[str, str]] = report.document["json"]["uses"]
    told = dict(report.asked["columns"])
    for number, use in enumerate(uses):
        said = form.text(_field(number))
        if said and said != use["is"]:
            told[use["column"]] = said
    from_data({"columns": told}, [use["column"] for use in uses], model)
    return told


def _field(number: int) -> str:
    """What the field of a column is called."""
    return f"column.{number}"


def _told(visit: Visit, form: Form, columns: Mapping[str, str]) -> dict[str, Any]:
    """What a form says of a table. UsageProblem: what no form of this page can say."""
    model, days = form.text("model"), form.text("days")
    encoding, delimiter = form.text("encoding"), _delimiter(form)
    known = (
        (model, list_models()),
        (days, DAYS),
        (encoding, ENCODINGS),
        (delimiter, DELIMITERS),
    )
    if any(said and said not in possible for said, possible in known):
        raise UsageProblem("this form is not one of this page any more; look again, and send it from there")
    return {
        "model": model,
        "sheet": form.text("sheet")[:200],
        "encoding": encoding,
        "delimiter": delimiter,
        "decimal_comma": form.text("comma") == "yes" or visit.workshop.shop.settings.decimal_comma,
        "days": days,
        "columns": dict(columns),
        "take": "",
        "by": visit.tablet.who,
    }


def _delimiter(form: Form) -> str:
    """The mark between cells; a tab has a name, since forms lose blanks at their ends."""
    return "\t" if form.text("delimiter") == "tab" else form.text("delimiter")


def _asked(visit: Visit, form: Form, problems: Sequence[str]) -> Response:
    waiting = [each for each in reports_of(visit.workshop, IMPORT) if not each.led_to]
    return page(
        visit,
        "import.html",
        problems=problems,
        typed=form.text,
        waiting=waiting[:MOST_LISTED],
        moment=moment,
        suffixes=SUFFIXES,
        most_mb=MOST_UPLOADED // 2**20,
        comma=visit.workshop.shop.settings.decimal_comma,
        **_ways(),
    )


def _shown(visit: Visit, report: Report, problems: Sequence[str], form: Form | None = None) -> Response:
    if report.is_open:
        return page(visit, "import_open.html", problems=problems, report=report)
    model = _model(visit, report)
    choices = {} if model is None else choices_for(model)
    return page(
        visit,
        "looked_through.html",
        problems=problems,
        failed=[as_said(said.removeprefix(f"{report.file}: ")) for said in report.failed.splitlines()],
        report=report,
        found=None if report.document is None else found_in(report, choices),
        is_forgotten=report.led_to == FORGOTTEN,
        choices=choices,
        asked=report.asked,
        typed={} if form is None else {name: form.text(name) for name in form.texts},
        unmatched=UNMATCHED,
        most_columns=MOST_COLUMNS,
        **_ways(),
    )


def _model(visit: Visit, report: Report) -> Model | None:
    """The model that a table was looked through with; None where it was not, or is gone."""
    named = "" if report.document is None else report.document["json"]["model"]
    return visit.workshop.load_model(named) if named in list_models() else None


def _ways() -> dict[str, Any]:
    """In which ways a table may be read."""
    models = models_to_choose()
    return {"models": models, "days": DAYS, "encodings": ENCODINGS, "delimiters": DELIMITERS}
