"""The job sheet: one page of a job, for the folder and for whoever opens the set next."""

from collections.abc import Iterator
from dataclasses import replace

from faultnet.case import Case
from faultnet.diagnosis import diagnose
from faultnet.errors import ContradictoryEvidence
from faultnet.jobs import Job
from faultnet.jobs.closing import COMEBACKS
from faultnet.jobs.stage import STAGES, stage_on, watched_until
from faultnet.model import Model
from faultnet.model.words import disclaimer
from faultnet.telling.block import Block, Table, points
from faultnet.telling.job import closing_words, entry_told, facts_words, moment, money, part_words
from faultnet.telling.paper import Paper
from faultnet.words import in_words, percent, percent_range
from faultnet.workshop.workshop import Bench, Workshop

MOST_FAULTS = 5

LINES_BY_HAND = ("signed off by", "leakage check to local rules", "hours on test", "date")
"""What is filled in with a pen."""


def sheet_of(workshop: Workshop, bench: Bench) -> Paper:
    """The page of a job, from what stands."""
    job, model = bench.job, bench.model
    today = workshop.clock().date()
    blocks = [Block(lines=points(_facts(job))), _entries(job, model)]
    blocks.append(_faults(model, bench.case))
    repairs = tuple(_repairs(job, model, workshop)) or ("none yet",)
    blocks.append(Block("Repairs and parts", lines=points(repairs)))
    blocks.append(_cautions(model))
    blocks.append(Block("By hand", table=Table(tuple((line, "") for line in LINES_BY_HAND), widths=(30, 70))))
    foot = f"printed {moment(workshop.clock())}; {model.version} ({model.digest}). {disclaimer(model)}"
    stage = STAGES[stage_on(job.stage, job.stage_since.date(), today)]
    return Paper(f"Job {job.number}: {model.title}  ({stage})", tuple(blocks), foot)


def _facts(job: Job) -> Iterator[str]:
    yield f"came in {moment(job.opened_at)}" + (f", taken in by {job.opened_by}" if job.opened_by else "")
    if facts := facts_words(job):
        yield facts
    if job.after:
        yield f"came back from job {job.after} with {COMEBACKS[job.comeback]}"
    if job.price is not None:
        yield f"price named {money(float(job.price.value), job.price.unit)}"
    if job.closing is not None:
        yield f"ended {moment(job.closing.at)}: {closing_words(job.closing)}"
    if job.stage == "watched":
        yield f"if it comes back before {watched_until(job.stage_since.date())}: faultnet job comeback {job.number}"


def _entries(job: Job, model: Model) -> Block:
    rows = tuple(
        (str(entry.seq), moment(entry.at), entry_told(entry, model))
        for entry in job.standing
        if entry.kind not in ("fact", "price")
    )
    return Block("What was seen and done", table=Table(rows, ("no.", "when", "what"), widths=(6, 20, 74)))


def _faults(model: Model, case: Case) -> Block:
    """The likeliest faults; of a set that works, what they were before it was repaired."""
    heading = "What it points to"
    if case.just_repaired:
        heading, case = "What it pointed to before the last repair", replace(case, events=case.events[:-1])
    try:
        diagnosis = diagnose(model, case)
    except ContradictoryEvidence as error:
        return Block(heading, lines=points([str(error)]))
    rows = []
    for component in sorted(model.components, key=lambda c: -diagnosis.faulty(c))[:MOST_FAULTS]:
        chance, ends = diagnosis.faulty(component), diagnosis.faulty_between(component)
        span = "no interval" if ends is None else f"{percent_range(*ends)} %"
        rows.append((model.components[component].label, percent(chance), span, in_words(chance)))
    header = ("part", "faulty", "90 % interval", "in words")
    return Block(heading, table=Table(tuple(rows), header, widths=(34, 14, 26, 26)))


def _repairs(job: Job, model: Model, workshop: Workshop) -> Iterator[str]:
    for entry in job.standing:
        if entry.kind == "repair":
            yield f"{entry.seq}. {entry_told(entry, model)}"
    for part in job.parts:
        yield f"entry {part.seq}, {part_words(part, workshop.shop.settings.currency)}"


def _cautions(model: Model) -> Block:
    """Every caution of the model, once: whoever opens the set next may do any of its steps."""
    cautions = [test.cautions for test in model.tests.values()]
    cautions += [repair.cautions for repair in model.repairs.values()]
    cautions += [change.cautions for change in model.setups.values()]
    texts = dict.fromkeys(caution.text for some in cautions for caution in some)
    return Block("Before this set is opened or powered again", lines=points(texts), is_small=True)
