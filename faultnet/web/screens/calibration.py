"""Whether a model's chances hold: asked about the shop's own jobs."""

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.errors import UsageProblem
from faultnet.web.answering import go_to, page
from faultnet.web.failures import problems_of
from faultnet.web.shown.choices import models_to_choose, usual_model
from faultnet.web.shown.reports import report_rows
from faultnet.web.visit import Form, Sent, Visit, Visiting
from faultnet.web.worker import Working
from faultnet.workshop.reporting import ask, reports_of

router = APIRouter()

KIND = "calibration"


@router.get("/calibration")
def shown(visit: Visiting) -> Response:
    """What to ask."""
    return _asked(visit, Form({name: [text] for name, text in visit.query.items()}))


@router.post("/calibration")
def asked(visit: Visiting, form: Sent, worker: Working) -> Response:
    """Have it worked out."""
    wanted = {name: form.text(name) for name in ("model", "since")}
    try:
        number = ask(visit.workshop, KIND, wanted, visit.tablet.who)
    except UsageProblem as error:
        return _asked(visit, form, error)
    worker.take(number)
    return go_to(f"/reports/{number}")


def _asked(visit: Visit, form: Form, error: UsageProblem | None = None) -> Response:
    return page(
        visit,
        "calibration.html",
        problems=problems_of(error),
        models=models_to_choose(),
        model=usual_model(form.text("model")),
        typed=form.text,
        reports=report_rows(reports_of(visit.workshop, KIND)),
    )
