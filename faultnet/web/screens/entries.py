"""Everything written down about a job: taken back, put right, or added as it is typed elsewhere."""

from collections.abc import Sequence

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.case.entry import written as as_typed
from faultnet.errors import ContradictoryEvidence, FaultnetError, UsageProblem
from faultnet.jobs.entry import EVENTS, event_of
from faultnet.jobs.facts import FACTS
from faultnet.model.work import SETUP_PARTS
from faultnet.store.advice import advice_of
from faultnet.store.jobs import comebacks_of
from faultnet.telling.job import closing_words, part_words
from faultnet.web.answering import back_to_job, page
from faultnet.web.failures import problems_of
from faultnet.web.reading import cautions_of, check_read
from faultnet.web.rendering import number_in
from faultnet.web.shown.entries import advised_words, entry_rows
from faultnet.web.visit import Sent, Visit, Visiting
from faultnet.workshop.entering import correct, enter, take_back
from faultnet.workshop.workshop import model_of, read_job

router = APIRouter()


@router.get("/jobs/{job}/entries")
def shown(job: str, visit: Visiting) -> Response:
    """All entries, with what each was understood as."""
    return all_entries(visit, number_in(job))


@router.post("/jobs/{job}/entries")
def added(job: str, visit: Visiting, form: Sent) -> Response:
    """Findings as they are typed for `job add`, how the set stands, facts about it, a note."""
    number = number_in(job)
    at = ",".join(f"{part}={state}" for part in SETUP_PARTS if (state := form.text(f"at.{part}")))
    facts = [(name, text) for name in FACTS if (text := form.text(f"fact.{name}"))]
    events = form.text("events").split()
    try:
        check_read(visit, number, form, events)
        entered = enter(
            visit.workshop,
            number,
            events,
            at=at,
            given=form.all("given"),
            facts=facts,
            note=form.text("note"),
            n_seen=form.n_seen,
        )
    except UsageProblem as error:
        return all_entries(
            visit, number, error, typed={name: form.text(name) for name in form.texts}, given=form.all("given")
        )
    return back_to_job(number, entered, form.n_seen)


@router.post("/jobs/{job}/entries/{seq}/back")
def taken_back(job: str, seq: int, visit: Visiting, form: Sent) -> Response:
    """An entry that does not stand any more."""
    number = number_in(job)
    try:
        entered = take_back(visit.workshop, number, seq, form.text("why"))
    except UsageProblem as error:
        return all_entries(visit, number, error)
    return back_to_job(number, entered, form.n_seen)


@router.get("/jobs/{job}/entries/{seq}")
def one(job: str, seq: int, visit: Visiting) -> Response:
    """One entry, to be put right."""
    return _to_correct(visit, number_in(job), seq)


@router.post("/jobs/{job}/entries/{seq}")
def corrected(job: str, seq: int, visit: Visiting, form: Sent) -> Response:
    """What stands in the place of an entry."""
    number = number_in(job)
    try:
        check_read(visit, number, form, [form.text("event")])
        entered = correct(visit.workshop, number, seq, form.text("event"))
    except UsageProblem as error:
        return _to_correct(visit, number, seq, error, form.text("event"))
    return back_to_job(number, entered, form.n_seen)


def _to_correct(visit: Visit, number: str, seq: int, error: UsageProblem | None = None, typed: str = "") -> Response:
    job, _ = read_job(visit.workshop, number)
    model = model_of(visit.workshop, job)
    entry = next((each for each in job.standing if each.seq == seq and each.kind in EVENTS), None)
    if entry is None:
        raise UsageProblem(
            f"entry {seq} does not stand any more, or is none that can be put right; look at the job again"
        )
    return page(
        visit,
        "correct.html",
        problems=problems_of(error),
        head=visit.head(job, model),
        row=next(row for row in entry_rows(job, model) if row.seq == seq),
        typed=typed or as_typed(event_of(entry, model), model),
        states=model.visible[entry.name].states if entry.name in model.visible else (),
        cautions=cautions_of(error),
    )


def all_entries(
    visit: Visit,
    number: str,
    error: FaultnetError | None = None,
    typed: dict[str, str] | None = None,
    given: Sequence[str] = (),
) -> Response:
    """The screen of all entries. error: what is wrong, with what was typed; or that they contradict each other."""
    job, _ = read_job(visit.workshop, number)
    model = model_of(visit.workshop, job)
    currency = visit.workshop.shop.settings.currency
    with visit.workshop.database.read() as connection:
        advice = advice_of(connection, number)
        later = comebacks_of(connection, number)
    return page(
        visit,
        "entries.html",
        problems=problems_of(error),
        is_contradiction=isinstance(error, ContradictoryEvidence),
        cautions=cautions_of(error),
        head=visit.head(job, model),
        rows=entry_rows(job, model),
        parts=[part_words(part, currency) for part in job.parts],
        ended="" if job.closing is None else closing_words(job.closing),
        later=later,
        advised=advised_words(advice, model),
        typed=typed or {},
        given=given,
        facts=FACTS,
        setups=SETUP_PARTS,
        conditions=model.conditions,
    )
