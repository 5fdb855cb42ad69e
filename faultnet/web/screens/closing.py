"""How a job ended; and a set that came back."""

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.errors import UsageProblem
from faultnet.jobs.closing import COMEBACKS, OUTCOMES, VERIFICATIONS
from faultnet.jobs.replay import has_repairs
from faultnet.telling.job import closing_words
from faultnet.web.answering import back_to_job, go_to, page
from faultnet.web.failures import problems_of
from faultnet.web.rendering import job_path, number_in
from faultnet.web.visit import Form, Sent, Visit, Visiting
from faultnet.workshop.closing_typed import ClosingTyped, closing_typed
from faultnet.workshop.ending import close
from faultnet.workshop.opening import Opening, open_comeback
from faultnet.workshop.workshop import model_of, read_job

router = APIRouter()


@router.get("/jobs/{job}/close")
def shown(job: str, visit: Visiting) -> Response:
    """Ask how it ended."""
    return _asked(visit, number_in(job), Form())


@router.post("/jobs/{job}/close")
def closed(job: str, visit: Visiting, form: Sent) -> Response:
    """Close the job."""
    return visit.house.once.do(form.text("once"), lambda: _closed(job, visit, form))


def _closed(job: str, visit: Visit, form: Form) -> Response:
    number = number_in(job)
    workshop = visit.workshop
    try:
        typed = ClosingTyped(
            outcome=form.text("outcome"),
            verified=form.text("verified"),
            on_test=form.text("hours"),
            minutes=form.text("minutes"),
            parts=form.text("parts"),
            price=form.text("price"),
            note=form.text("note"),
            by=form.text("by") or visit.tablet.who,
        )
        if not typed.outcome:
            raise UsageProblem("say how it ended")
        found = closing_typed(typed, read_job(workshop, number)[0], decimal_comma=workshop.shop.settings.decimal_comma)
        written = close(workshop, number, found, n_seen=form.n_seen)
    except UsageProblem as error:
        return _asked(visit, number, form, error)
    return back_to_job(number, written, form.n_seen)


@router.post("/jobs/{job}/comeback")
def came_back(job: str, visit: Visiting, form: Sent) -> Response:
    """The set came back: a job of its own, with what is known of the set."""
    symptom = form.text("symptom")
    if symptom not in COMEBACKS:
        raise UsageProblem("say what it came back with")
    opening = Opening(form.text("model"), by=visit.tablet.who, note=form.text("note"))

    def done() -> Response:
        return go_to(job_path(open_comeback(visit.workshop, number_in(job), symptom, opening)))

    return visit.house.once.do(form.text("once"), done)


def _asked(visit: Visit, number: str, form: Form, error: UsageProblem | None = None) -> Response:
    job, _ = read_job(visit.workshop, number)
    head = visit.head(job, model_of(visit.workshop, job))
    ends = {name.removeprefix("close_"): "" for name in head.moves if name.startswith("close_")}
    paid = [part.price for part in job.parts if part.price is not None]
    return page(
        visit,
        "close.html",
        problems=problems_of(error),
        head=head,
        outcomes={name: words for name, words in OUTCOMES.items() if name in ends},
        verifications=VERIFICATIONS,
        has_repairs=has_repairs(job),
        is_fixed=job.closing is not None and job.closing.outcome == "fixed",
        ended="" if job.closing is None else closing_words(job.closing),
        parts_paid=f"{sum(paid):.2f}" if paid else "",
        price_named="" if job.price is None else job.price.value,
        currency=visit.workshop.shop.settings.currency,
        typed=form.text,
    )
