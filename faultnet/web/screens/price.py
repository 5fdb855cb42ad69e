"""Parts and price: what to name to the customer, what was named, what the customer said; where the job goes then."""

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.errors import UsageProblem
from faultnet.telling.job import part_words
from faultnet.web.answering import back_to_job, page
from faultnet.web.failures import problems_of
from faultnet.web.rendering import number_in
from faultnet.web.shown.price import price_shown
from faultnet.web.visit import Form, Sent, Visit, Visiting
from faultnet.workshop.ending import answer_price, move, name_price
from faultnet.workshop.sums import parse_sum

router = APIRouter()


@router.get("/jobs/{job}/price")
def shown(job: str, visit: Visiting) -> Response:
    """What to name, and the parts that went in."""
    return _price(visit, number_in(job))


@router.post("/jobs/{job}/price")
def named(job: str, visit: Visiting, form: Sent) -> Response:
    """The price that was named to the customer."""
    return visit.house.once.do(form.text("once"), lambda: _named(job, visit, form))


def _named(job: str, visit: Visit, form: Form) -> Response:
    number, comma = number_in(job), visit.workshop.shop.settings.decimal_comma
    try:
        price = parse_sum("the price:", form.text("price"), decimal_comma=comma)
        written = name_price(visit.workshop, number, price, form.text("note"), n_seen=form.n_seen)
    except UsageProblem as error:
        return _price(visit, number, error, form.text("price"))
    return back_to_job(number, written, form.n_seen)


@router.post("/jobs/{job}/answer")
def answered(job: str, visit: Visiting, form: Sent) -> Response:
    """What the customer said to it."""
    number, agreed = number_in(job), form.text("agreed")
    try:
        if agreed not in ("yes", "no"):
            raise UsageProblem("say whether the customer agreed")
        written = answer_price(visit.workshop, number, agreed=agreed == "yes", n_seen=form.n_seen)
    except UsageProblem as error:
        return _price(visit, number, error)
    return back_to_job(number, written, form.n_seen)


@router.post("/jobs/{job}/move")
def moved(job: str, visit: Visiting, form: Sent) -> Response:
    """To another stage: waiting for a part, on test, gone home."""
    number = number_in(job)
    written = move(visit.workshop, number, form.text("to"), form.text("note"), n_seen=form.n_seen)
    return back_to_job(number, written, form.n_seen)


def _price(visit: Visit, number: str, error: UsageProblem | None = None, typed: str = "") -> Response:
    found = visit.look(number)
    job, model = found.bench.job, found.bench.model
    currency = visit.workshop.shop.settings.currency
    return page(
        visit,
        "price.html",
        problems=problems_of(error),
        head=visit.head(job, model),
        price=price_shown(found),
        currency=currency,
        named="" if job.price is None else f"{job.price.value} {job.price.unit}".rstrip(),
        parts=[part_words(part, currency) for part in job.parts],
        typed=typed,
        decimal_comma=visit.workshop.shop.settings.decimal_comma,
    )
