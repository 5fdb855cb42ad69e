"""One job: where things stand, what to do next, and what was seen, entered by one press."""

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.errors import ContradictoryEvidence, FaultnetError, UsageProblem
from faultnet.jobs.replay import usual_symptom
from faultnet.web.answering import back_to_job, page
from faultnet.web.failures import problems_of
from faultnet.web.reading import check_read
from faultnet.web.rendering import number_in
from faultnet.web.screens.entries import all_entries
from faultnet.web.shown.now import now
from faultnet.web.visit import Form, Sent, Visit, Visiting
from faultnet.workshop.entering import enter, go_on_with, skip
from faultnet.workshop.workshop import read_job

router = APIRouter()

SYMPTOMS = ("showing", "not_showing", "unknown")


@router.get("/jobs/{job}")
def shown(job: str, visit: Visiting) -> Response:
    """Where the job stands now."""
    return job_page(visit, number_in(job))


@router.post("/jobs/{job}/seen")
def seen(job: str, visit: Visiting, form: Sent) -> Response:
    """What a test showed; nothing is written again that is there since the form was shown."""
    number = number_in(job)
    try:
        texts = _texts(visit, number, form)
        entered = enter(visit.workshop, number, texts, note=form.text("note"), n_seen=form.n_seen)
    except UsageProblem as error:
        return job_page(visit, number, error)
    return back_to_job(number, entered, form.n_seen)


@router.post("/jobs/{job}/skip")
def skipped(job: str, visit: Visiting, form: Sent) -> Response:
    """A test that will not be made, and why."""
    number = number_in(job)
    entered = skip(visit.workshop, number, form.text("test"), form.text("why"))
    return back_to_job(number, entered, form.n_seen)


@router.post("/jobs/{job}/model")
def other_model(job: str, visit: Visiting, form: Sent) -> Response:
    """Another model goes on."""
    number = number_in(job)
    return back_to_job(number, go_on_with(visit.workshop, number, form.text("model")), form.n_seen)


def job_page(visit: Visit, number: str, error: FaultnetError | None = None) -> Response:
    """The screen of a job. error: what was wrong with what was sent."""
    problems = problems_of(error)
    try:
        found = visit.look(number)
    except ContradictoryEvidence as contradiction:
        return all_entries(visit, number, contradiction)
    job, model = found.bench.job, found.bench.model
    head = visit.head(job, model)
    told = now(found, head, _numbers(visit.query.get("written", "")), _number(visit.query.get("seen", "")))
    visit.house.ahead.think_of(visit.workshop, found, visit.trained)
    shown = page(visit, "job.html", problems=problems, now=told, head=head)
    shown.background = visit.noting(found)
    return shown


def _numbers(text: str) -> tuple[int, ...]:
    return tuple(n for each in text.split(",")[:50] if (n := _number(each)) is not None)


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else None


def _texts(visit: Visit, number: str, form: Form) -> list[str]:
    """The events of a form, as they are typed elsewhere.

    UsageProblem: nothing was chosen, or the cautions of a dangerous step were not read.
    """
    events = [text for name in form.texts if name == "event" or name.startswith("event.") for text in form.all(name)]
    if not events:
        raise UsageProblem("nothing was chosen; press what was seen")
    check_read(visit, number, form, events)
    job, _ = read_job(visit.workshop, number)
    symptom = form.text("symptom")
    if symptom in SYMPTOMS and symptom != usual_symptom(job):
        events = [text if "@" in text else f"{text}@{symptom}" for text in events]
    return events
