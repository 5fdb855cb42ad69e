"""`faultnet job add`: entering, correcting, taking back and skipping."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from faultnet.cli.job.told import entry_line, standing_line
from faultnet.cli.terminal import note
from faultnet.cli.workshop import workshop_of
from faultnet.errors import ContradictoryEvidence, UsageProblem
from faultnet.jobs import Entry
from faultnet.telling.job_json import job_json
from faultnet.workshop.entering import correct, enter, go_on_with, skip, take_back
from faultnet.workshop.looking import Look, look
from faultnet.workshop.workshop import Workshop, model_of, read_job


@dataclass(frozen=True)
class Typed:
    """What was typed after `job add JOB`."""

    events: Sequence[str]
    instead_of: int | None
    take_back: int | None
    skip: str
    because: str
    facts: Mapping[str, str]
    given: Sequence[str]
    at: str
    note: str
    model: str

    @property
    def adds(self) -> bool:
        """Whether anything is entered that does not go in the place of something else."""
        return bool(self.events or self.facts or self.given or self.at or self.note)


def add_to(number: str, typed: Typed, *, db: str, shop: str, as_json: bool) -> None:
    """Write it down, print it as it was understood, and where the job stands then."""
    workshop = workshop_of(db, shop)
    written = _written(workshop, number, typed)
    job, _ = read_job(workshop, number)
    if as_json:
        print(json.dumps(job_json(job), indent=2))
        return
    model = model_of(workshop, job)
    print(f"Job {number}: written down")
    print("\n".join(entry_line(entry, model) for entry in written), flush=True)
    look_or_note(workshop, number, "job add")


def _written(workshop: Workshop, number: str, typed: Typed) -> tuple[Entry, ...]:
    if typed.instead_of is not None:
        if len(typed.events) != 1 or typed.take_back is not None or typed.skip:
            raise UsageProblem("--instead-of N goes with one event and nothing else")
        return correct(workshop, number, typed.instead_of, typed.events[0])
    if typed.take_back is not None:
        if typed.adds or typed.skip:
            raise UsageProblem("--take-back N goes by itself, or with --because")
        return take_back(workshop, number, typed.take_back, typed.because)
    if typed.model:
        if typed.adds or typed.skip:
            raise UsageProblem("--model M goes by itself")
        return go_on_with(workshop, number, typed.model)
    if typed.skip:
        if typed.adds:
            raise UsageProblem("--skip TEST goes by itself, or with --because")
        return skip(workshop, number, typed.skip, typed.because)
    return enter(
        workshop,
        number,
        typed.events,
        at=typed.at,
        given=typed.given,
        facts=tuple(typed.facts.items()),
        note=typed.note,
    )


def look_or_note(workshop: Workshop, number: str, shown_in: str) -> Look | None:
    """Print where the job stands now; entries that contradict each other are told, with what to do."""
    try:
        found = look(workshop, number, shown_in)
    except ContradictoryEvidence as error:
        note(f"{error} To take one back: faultnet job add {number} --take-back N")
        return None
    print("\n".join(standing_line(found)))
    return found
