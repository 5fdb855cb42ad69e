"""What past jobs change of a model's numbers: asked, its versions, and the newest one taken back."""

from datetime import datetime
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.errors import UsageProblem
from faultnet.model.version import Version
from faultnet.telling.job import moment
from faultnet.web.answering import go_to, page
from faultnet.web.failures import problems_of
from faultnet.web.shown.choices import models_to_choose, usual_model
from faultnet.web.shown.reports import report_rows
from faultnet.web.visit import Form, Sent, Visit, Visiting
from faultnet.web.worker import Working
from faultnet.workshop.reporting import ask, reports_of
from faultnet.workshop.versions import take_back, unsaid, versions_of

router = APIRouter()

KIND = "tune"

NO_GROUPS = "none"

GROUPS = {
    "panel_group": "panel group",
    "panel": "panel code",
    "age": "age",
    "size": "size",
    NO_GROUPS: "nothing: the whole shop alike",
}
"""By what shares are learned, in words."""


@router.get("/tuning")
def shown(visit: Visiting) -> Response:
    """The versions of a model, and what to ask."""
    return _asked(visit, Form({name: [text] for name, text in visit.query.items()}))


@router.post("/tuning")
def asked(visit: Visiting, form: Sent, worker: Working) -> Response:
    """Have it worked out."""
    wanted: dict[str, Any] = {"model": form.text("model"), "before": form.text("before")}
    groups = form.text("groups")
    wanted["groups"] = "" if groups == NO_GROUPS else groups
    wanted |= {name: form.text(name) for name in ("half_life_months", "strength") if form.text(name)}
    try:
        number = ask(visit.workshop, KIND, wanted, visit.tablet.who)
    except UsageProblem as error:
        return _asked(visit, form, error)
    worker.take(number)
    return go_to(f"/reports/{number}")


@router.get("/tuning/undo")
def doubted(visit: Visiting) -> Response:
    """The question before the newest version is taken back."""
    return _question(visit, visit.query.get("model", ""), Form())


@router.post("/tuning/undo")
def undone(visit: Visiting, form: Sent) -> Response:
    """The numbers from before it again."""
    model, by, reason = form.text("model"), form.text("by"), form.text("reason")
    try:
        if problems := unsaid(by, reason):
            raise UsageProblem(*problems)
        version = take_back(visit.workshop, model, by, reason, form.number("newest"))
    except UsageProblem as error:
        return _question(visit, model, form, error)
    return go_to("/tuning", model=version.model, done="undone")


def _asked(visit: Visit, form: Form, error: UsageProblem | None = None) -> Response:
    models = models_to_choose()
    model = usual_model(form.text("model"))
    known = versions_of(visit.workshop, model)
    return page(
        visit,
        "tuning.html",
        problems=problems_of(error),
        models=models,
        model=model,
        versions=[*map(_told, reversed(known))],
        can_undo=bool(known and known[-1].chances),
        groups=GROUPS,
        typed=form.text,
        done=_done(known[-1], visit.query.get("done", "")) if known else "",
        reports=report_rows(reports_of(visit.workshop, KIND)),
    )


def _told(version: Version) -> dict[str, str]:
    """A version in words."""
    return {
        "id": version.id,
        "when": moment(datetime.fromisoformat(version.at)),
        "by": version.by,
        "reason": version.reason,
        "from": f"from {version.n_jobs} past jobs" if version.n_jobs else "as the file was written",
        "undoes": "" if version.undoes is None else f"takes {version.model}@{version.undoes} back",
    }


def _done(newest: Version, what: str) -> str:
    """What was just done to a model's versions, in words; "" where nothing was."""
    if what == "undone" and newest.undoes is not None:
        return f"{newest.model}@{newest.undoes} was taken back: {newest.id} is in use"
    return f"{newest.id} is in use from now on" if what == "accepted" else ""


def _question(visit: Visit, model: str, form: Form, error: UsageProblem | None = None) -> Response:
    known = versions_of(visit.workshop, model)
    if not known or not known[-1].chances:
        raise UsageProblem(f"{model or 'no model'} is in use as its file was written; there is nothing to take back")
    return page(
        visit,
        "undo.html",
        problems=problems_of(error),
        model=model,
        version=known[-1],
        by=form.text("by") or visit.tablet.who,
        reason=form.text("reason"),
    )
