"""Where a job stands: its faults, what to do next, and a note of what was advised."""

from dataclasses import dataclass

from faultnet.diagnosis import BetterFit, Diagnosis
from faultnet.ranking import Ranking
from faultnet.store.advice import Advised, insert_advice
from faultnet.workshop.answer import answer
from faultnet.workshop.workshop import Bench, Workshop, on_the_bench


@dataclass(frozen=True)
class Look:
    """A job on the bench, and what faultnet says of it now."""

    bench: Bench
    diagnosis: Diagnosis
    ranking: Ranking
    fits_better: BetterFit | None


def look(workshop: Workshop, number: str, shown_in: str, *, trained: bool | None = None) -> Look:
    """Where a job stands and what to do next; the advice is noted. shown_in: where a person sees it.

    trained: whether this bench is, where that is not as the shop's settings say.
    """
    found = look_at(workshop, on_the_bench(workshop, number), trained=trained)
    note_advice(workshop, found, shown_in)
    return found


def look_at(workshop: Workshop, bench: Bench, *, trained: bool | None = None) -> Look:
    """The same of a job that is on the bench, noting nothing."""
    return Look(bench, *answer(bench.model, bench.case, bench.replayed.bench, workshop.shop.settings_for(trained)))


def note_advice(workshop: Workshop, found: Look, shown_in: str) -> None:
    """Note what was advised, with which model version, and how likely each component was to be faulty."""
    model, told = found.bench.model, found.ranking.advice
    faults = {component: round(found.diagnosis.faulty(component), 6) for component in model.components}
    advised = Advised(
        n_entries=len(found.bench.job.entries),
        version=model.version,
        digest=model.digest,
        kind=told.kind,
        what=told.id,
        verdict=told.verdict,
        why=told.why,
        shown_in=shown_in,
        trained=found.ranking.settings.trained,
        faults=faults,
        at=workshop.clock(),
    )
    with workshop.database.write() as connection:
        insert_advice(connection, found.bench.job.number, advised)
