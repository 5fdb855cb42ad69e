"""Nominal voltages from past jobs: readings that were normal, by the codes of the panels they were taken on."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date

from faultnet.case import Case, believe
from faultnet.case.events import Reading, RepairOutcome
from faultnet.errors import ContradictoryEvidence, UsageProblem
from faultnet.jobs import Job
from faultnet.jobs.replay import replayed
from faultnet.model import Model
from faultnet.readings import Nominal, middle
from faultnet.shop.voltages import LEAST_VOLTS, MOST_VOLTS, Entry
from faultnet.store.bulk import all_jobs
from faultnet.store.voltages import insert_voltages, read_voltages
from faultnet.workshop.workshop import Workshop

SURE = 0.9
"""How likely a reading must be that of a feed at its nominal, by all that was seen of the set, to be learned from."""

FROM_JOB = "job "
"""What the note of a learned entry starts with."""


@dataclass(frozen=True)
class Learned:
    """Entries for the list, one a set, and the jobs that were looked through; known: those the list has already."""

    entries: tuple[Entry, ...]
    n_jobs: int
    n_known: int


def learn_nominals(workshop: Workshop, told: Callable[[int], object] = lambda _: None) -> Learned:
    """What past jobs say of nominal voltages; nothing is written. told: is called with the number of jobs so far."""
    with workshop.database.read() as connection:
        noted = {entry.note for entry in read_voltages(connection) if entry.note.startswith(FROM_JOB)}
        models: dict[str, Model | None] = {}
        found: list[Entry] = []
        n_jobs = n_known = 0
        for job in all_jobs(connection):
            n_jobs += 1
            if n_jobs % 100 == 0:
                told(n_jobs)
            if job.model not in models:
                models[job.model] = _model(workshop, job)
            model = models[job.model]
            if model is None or "panel" not in job.facts:
                continue
            if f"{FROM_JOB}{job.number}" in noted:
                n_known += 1
            elif (entry := _normal_reading(job, model, workshop)) is not None:
                found.append(entry)
    return Learned(tuple(found), n_jobs, n_known)


def keep_nominals(workshop: Workshop, learned: Learned) -> None:
    """Put what was learned into the list."""
    with workshop.database.write() as connection:
        insert_voltages(connection, learned.entries)


def nominal_states(model: Model) -> Mapping[str, str]:
    """Of each reading the state in which it shows the nominal itself, for those that have one."""
    found = {}
    for seen in model.observations.values():
        if seen.reading is not None and not seen.reading.has_channels:
            levels = seen.reading.levels[seen.reading.default_hold]
            for state, by_standing in levels.items():
                pieces = [piece for level in by_standing for piece in level.mixture]
                if all(piece.kind == "normal" and piece.first == 1.0 for piece in pieces):
                    found[seen.id] = state
    return found


def _model(workshop: Workshop, job: Job) -> Model | None:
    try:
        return workshop.load_model(job.model)
    except UsageProblem:
        return None


def _normal_reading(job: Job, model: Model, workshop: Workshop) -> Entry | None:
    """The reading of a set that was surely at its nominal, before anything was repaired; None where there is none.

    What the shop's list says is left out, so that it does not confirm itself; a label counts.
    """
    label = Nominal.label(float(job.facts["nominal"])) if "nominal" in job.facts else None
    shop = workshop.shop
    try:
        case = replayed(job, model, Case(nominal=label, meter=shop.meter, meters=shop.meters)).case
        for volts in _surely_normal(model, _before_repairs(case)):
            day: date = job.opened_at.date()
            return Entry(day, "panel", job.facts["panel"], volts, None, "measured", f"{FROM_JOB}{job.number}")
    except (UsageProblem, ContradictoryEvidence):
        return None
    return None


def _before_repairs(case: Case) -> Case:
    first = next((n for n, e in enumerate(case.events) if isinstance(e, RepairOutcome)), len(case.events))
    return replace(case, events=case.events[:first])


def _surely_normal(model: Model, case: Case) -> Iterator[float]:
    normal = nominal_states(model)
    readings = [e for e in case.events if isinstance(e, Reading) and e.observation in normal and e.set_aside is None]
    belief = believe(model, case) if readings else None
    for event in readings:
        assert belief is not None
        state = model.observations[event.observation].states.index(normal[event.observation])
        volts = middle(event.reached)
        is_sure = float(belief.marginal(event.observation)[state]) >= SURE
        if is_sure and event.symptom == "showing" and LEAST_VOLTS <= volts <= MOST_VOLTS:
            yield round(volts, 2)
