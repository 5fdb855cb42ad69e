"""Jobs, for programs: the calls of `faultnet job`, and their documents."""

from fastapi import APIRouter, BackgroundTasks

from faultnet.errors import UsageProblem
from faultnet.jobs import Part
from faultnet.jobs.closing import COMEBACKS, PART_SOURCES, Closing
from faultnet.jobs.facts import FACTS
from faultnet.jobs.stage import BEFORE_THE_END, STAGES, stage_on
from faultnet.store.advice import advice_of
from faultnet.store.jobs import list_jobs
from faultnet.telling.answer_json import answer_json, money_json
from faultnet.telling.job_json import job_json, listed_json
from faultnet.web.api.bodies import (
    REFUSALS,
    AnswerBody,
    ClosingBody,
    ComebackBody,
    EntriesBody,
    EventBody,
    JobPath,
    Json,
    ModelBody,
    MoveBody,
    OpeningBody,
    PriceBody,
    RepairBody,
    SeqPath,
    SkipBody,
    WhyBody,
)
from faultnet.web.rendering import number_in
from faultnet.web.visit import Visit, Visiting
from faultnet.workshop.ending import answer_price, close, move, name_price
from faultnet.workshop.entering import correct, enter, go_on_with, skip, take_back
from faultnet.workshop.opening import Opening, open_comeback, open_job
from faultnet.workshop.repairing import repair
from faultnet.workshop.workshop import read_job

router = APIRouter(prefix="/api/jobs", tags=["jobs"], responses=REFUSALS)


@router.get("")
def listed(visit: Visiting, stage: str = "", panel: str = "", every: bool = False) -> Json:
    """Jobs, one line each, the newest first: those before the end, at one stage, or every one."""
    if stage and stage not in STAGES:
        raise UsageProblem(f"stage {stage}: one of {', '.join(STAGES)}")
    today = visit.workshop.clock().date()
    with visit.workshop.database.read() as connection:
        found = list_jobs(connection, None if every or stage else BEFORE_THE_END, panel)
    if stage:
        found = tuple(job for job in found if stage_on(job.stage, job.stage_since.date(), today) == stage)
    return listed_json(found)


@router.post("", status_code=201)
def opened(visit: Visiting, body: OpeningBody) -> Json:
    """Open a job for a set that came in."""
    opening = Opening(body.model, body.number, body.facts, body.given, body.at, body.note, body.by)
    return _job(visit, open_job(visit.workshop, opening))


@router.get("/{job}")
def shown(visit: Visiting, job: JobPath) -> Json:
    """All that was written down about a job, and what was advised."""
    return _job(visit, number_in(job), with_advice=True)


@router.get("/{job}/answer")
def answered(visit: Visiting, job: JobPath, afterwards: BackgroundTasks) -> Json:
    """Where the job stands, and what to do next; the advice is noted. As `faultnet job next --json`."""
    number = number_in(job)
    found = visit.look(number, with_times_on_top=True)
    afterwards.tasks.append(visit.noting(found))
    bench = found.bench
    answer = answer_json(bench.model, bench.case, found.diagnosis, found.ranking, found.fits_better)
    return {"job": number, "stage": bench.job.stage, "entries": list(bench.replayed.numbers), **answer}


@router.post("/{job}/entries")
def entered(visit: Visiting, job: JobPath, body: EntriesBody) -> Json:
    """Write down what was seen, measured or is known."""
    number = number_in(job)
    enter(
        visit.workshop,
        number,
        body.events,
        at=body.at,
        given=body.given,
        facts=_known(body.facts),
        note=body.note,
    )
    return _job(visit, number)


@router.post("/{job}/entries/{seq}/correct")
def corrected(visit: Visiting, job: JobPath, seq: SeqPath, body: EventBody) -> Json:
    """Put an event in the place of an entry."""
    correct(visit.workshop, number_in(job), seq, body.event)
    return _job(visit, number_in(job))


@router.post("/{job}/entries/{seq}/take_back")
def taken_back(visit: Visiting, job: JobPath, seq: SeqPath, body: WhyBody) -> Json:
    """Note that an entry does not stand."""
    take_back(visit.workshop, number_in(job), seq, body.why)
    return _job(visit, number_in(job))


@router.post("/{job}/skips")
def skipped(visit: Visiting, job: JobPath, body: SkipBody) -> Json:
    """Note that a test will not be made."""
    skip(visit.workshop, number_in(job), body.test, body.why)
    return _job(visit, number_in(job))


@router.post("/{job}/model")
def other_model(visit: Visiting, job: JobPath, body: ModelBody) -> Json:
    """Go on with another model."""
    go_on_with(visit.workshop, number_in(job), body.model)
    return _job(visit, number_in(job))


@router.post("/{job}/repairs")
def repaired(visit: Visiting, job: JobPath, body: RepairBody) -> Json:
    """Write down a repair with its parts, and whether the set works."""
    strange = [part.source for part in body.parts if part.source not in PART_SOURCES]
    if strange:
        raise UsageProblem(*(f"source {source}: one of {', '.join(PART_SOURCES)}" for source in strange))
    parts = [
        Part(0, part.repair, part.old_code, part.new_code, part.source, part.leds, part.strips, part.price)
        for part in body.parts
    ]
    text = f"{'+'.join(body.repairs)}={'works' if body.works else 'not'}"
    repair(visit.workshop, number_in(job), text, parts, sure=body.sure, note=body.note, n_seen=body.seen)
    return _job(visit, number_in(job))


@router.get("/{job}/price")
def priced(visit: Visiting, job: JobPath) -> Json:
    """What to name to the customer; null where there is no price."""
    found = visit.look(number_in(job))
    return {"job": number_in(job), "money": money_json(found.bench.model, found.bench.case, found.ranking)}


@router.post("/{job}/price")
def named(visit: Visiting, job: JobPath, body: PriceBody) -> Json:
    """Note the price that was named."""
    name_price(visit.workshop, number_in(job), body.price, body.note)
    return _job(visit, number_in(job))


@router.post("/{job}/agreement")
def agreed(visit: Visiting, job: JobPath, body: AnswerBody) -> Json:
    """Note what the customer said to the price."""
    answer_price(visit.workshop, number_in(job), agreed=body.agreed, note=body.note)
    return _job(visit, number_in(job))


@router.post("/{job}/moves")
def moved(visit: Visiting, job: JobPath, body: MoveBody) -> Json:
    """Move the job to a stage."""
    move(visit.workshop, number_in(job), body.to, body.note)
    return _job(visit, number_in(job))


@router.post("/{job}/closing")
def closed(visit: Visiting, job: JobPath, body: ClosingBody) -> Json:
    """Close the job with how it ended."""
    number = number_in(job)
    closing = Closing(
        body.outcome,
        body.verification or "not_verified",
        body.hours_on_test,
        body.minutes,
        body.parts,
        body.price,
        "",
        body.note,
        body.by,
    )
    close(visit.workshop, number, closing)
    return _job(visit, number)


@router.post("/{job}/comebacks", status_code=201)
def came_back(visit: Visiting, job: JobPath, body: ComebackBody) -> Json:
    """Open a job for a set that came back after this one."""
    if body.symptom not in COMEBACKS:
        raise UsageProblem(f"symptom {body.symptom}: one of {', '.join(COMEBACKS)}")
    opening = Opening(body.model, body.number, note=body.note, by=body.by)
    return _job(visit, open_comeback(visit.workshop, number_in(job), body.symptom, opening))


def _job(visit: Visit, number: str, *, with_advice: bool = False) -> Json:
    job, _ = read_job(visit.workshop, number)
    if not with_advice:
        return job_json(job)
    with visit.workshop.database.read() as connection:
        return job_json(job, advice_of(connection, number))


def _known(facts: dict[str, str]) -> list[tuple[str, str]]:
    """UsageProblem: facts that nobody keeps."""
    if strange := [name for name in facts if name not in FACTS]:
        raise UsageProblem(*(f"{name}: no fact that is kept; they are {', '.join(FACTS)}" for name in strange))
    return list(facts.items())
