"""The jobs of the shop: those on the bench, all of them, and a new one."""

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.errors import UsageProblem
from faultnet.jobs.facts import FACTS, OCCURRENCES
from faultnet.jobs.stage import BEFORE_THE_END, STAGES
from faultnet.web.answering import go_to, page
from faultnet.web.failures import problems_of
from faultnet.web.rendering import job_path
from faultnet.web.shown.choices import models_to_choose, usual_model
from faultnet.web.shown.jobs import MOST_LISTED, JobRows, jobs_listed
from faultnet.web.visit import Form, Sent, Visit, Visiting
from faultnet.workshop.opening import Opening, open_job
from faultnet.workshop.workshop import read_job

router = APIRouter()


@router.get("/")
def at_work(visit: Visiting) -> Response:
    """The jobs that are at work."""
    return _listed(visit, jobs_listed(visit.workshop, BEFORE_THE_END))


@router.get("/jobs")
def all_jobs(visit: Visiting) -> Response:
    """All jobs, or those at one stage, or with a panel code; by number, that job."""
    number = visit.query.get("number", "").strip()
    if number:
        read_job(visit.workshop, number)
        return go_to(job_path(number))
    stage, panel = visit.query.get("stage", ""), visit.query.get("panel", "").strip()
    found = jobs_listed(visit.workshop, (stage,) if stage in STAGES else None, panel)
    return _listed(visit, found, stage, panel, is_all=True)


@router.get("/new")
def new(visit: Visiting) -> Response:
    """Take in a set."""
    return _asked(visit, Form())


@router.post("/new")
def opened(visit: Visiting, form: Sent) -> Response:
    """Open its job."""
    facts = {name: form.text(name) for name in FACTS if form.text(name)}
    opening = Opening(form.text("model"), form.text("number"), facts, note=form.text("note"), by=visit.tablet.who)

    def done() -> Response:
        try:
            if not opening.model:
                raise UsageProblem("say what it came in with")
            return go_to(job_path(open_job(visit.workshop, opening)))
        except UsageProblem as error:
            return _asked(visit, form, error)

    return visit.house.once.do(form.text("once"), done)


def _listed(visit: Visit, found: JobRows, stage: str = "", panel: str = "", *, is_all: bool = False) -> Response:
    return page(
        visit, "jobs.html", jobs=found, stages=STAGES, stage=stage, panel=panel, is_all=is_all, most=MOST_LISTED
    )


def _asked(visit: Visit, form: Form, error: UsageProblem | None = None) -> Response:
    models = models_to_choose()
    return page(
        visit,
        "new.html",
        problems=problems_of(error),
        models=models,
        usual_model=usual_model(form.text("model")),
        facts=FACTS,
        occurrences=OCCURRENCES,
        typed=form.text,
    )
