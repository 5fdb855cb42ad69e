"""How often what was the case: asked about the shop's own jobs."""

from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.analysis.targets import COMEBACKS
from faultnet.errors import UsageProblem
from faultnet.files import load_model
from faultnet.web.answering import go_to, page
from faultnet.web.failures import problems_of
from faultnet.web.shown.choices import by_to_choose, models_to_choose, rated_to_choose, usual_model
from faultnet.web.shown.reports import report_rows
from faultnet.web.visit import Form, Sent, Visit, Visiting
from faultnet.web.worker import Working
from faultnet.workshop.reporting import ask, reports_of

router = APIRouter()

KIND = "rates"


@router.get("/rates")
def shown(visit: Visiting) -> Response:
    """What to ask."""
    return _asked(visit, Form({name: [text] for name, text in visit.query.items()}))


@router.post("/rates")
def asked(visit: Visiting, form: Sent, worker: Working) -> Response:
    """Have it worked out."""
    wanted: dict[str, Any] = {name: form.text(name) for name in ("model", "of", "since", "before")}
    wanted["by"] = [column for column in (form.text("by"), form.text("and_by")) if column]
    if form.text("counted_only"):
        wanted["counted_only"] = True
    if wanted["of"] == COMEBACKS:
        wanted["any_symptom"] = bool(form.text("any_symptom"))
        wanted["watched_days"] = form.text("watched_days") or "90"
    try:
        number = ask(visit.workshop, KIND, wanted, visit.tablet.who)
    except UsageProblem as error:
        return _asked(visit, form, error)
    worker.take(number)
    return go_to(f"/reports/{number}")


def _asked(visit: Visit, form: Form, error: UsageProblem | None = None) -> Response:
    models = models_to_choose()
    chosen = usual_model(form.text("model"))
    model = load_model(f"{chosen if chosen in models else next(iter(models))}@0")
    return page(
        visit,
        "rates.html",
        problems=problems_of(error),
        models=models,
        model=model.id,
        rated=rated_to_choose(model),
        columns=by_to_choose(model),
        comebacks=COMEBACKS,
        typed=form.text,
        reports=report_rows(reports_of(visit.workshop, KIND)),
    )
