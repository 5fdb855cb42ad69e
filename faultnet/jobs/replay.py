"""From what was written down about a job to the case it makes and how the set stands on the bench."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from faultnet.case.bench import bench_after_events
from faultnet.case.case import Case
from faultnet.case.events import Event
from faultnet.errors import UsageProblem
from faultnet.jobs.entry import EVENTS, Entry, event_of
from faultnet.jobs.job import Job
from faultnet.model.model import Model
from faultnet.model.work import BenchState


@dataclass(frozen=True)
class Replayed:
    """The case that a job makes. numbers: of each event of the case, the number of its entry in the job.

    left_out: what was seen while another model was asked, and this one does not know.
    """

    case: Case
    bench: BenchState
    numbers: tuple[int, ...]
    left_out: tuple[Entry, ...] = ()


def replayed(job: Job, model: Model, usual: Case, after: Job | None = None) -> Replayed:
    """The case of a job, from the entries that stand. usual: meters and nominal; after: the job it came back from.

    UsageProblem lists every entry that the model, or the shop's meters, no longer know; what was entered for another
    model is left out where this one does not know it.
    """
    events: list[Event] = []
    numbers: list[int] = []
    left_out: list[Entry] = []
    since = max((entry.seq for entry in job.entries if entry.kind == "model"), default=0)
    told: dict[int, dict[str, str]] = {}
    problems: list[str] = []
    for entry in job.standing:
        if entry.kind == "setup":
            told.setdefault(len(events), {})[entry.name] = entry.state
        elif entry.kind in EVENTS:
            try:
                events.append(_event(entry, model, usual))
                numbers.append(entry.seq)
            except UsageProblem as error:
                if entry.seq < since:
                    left_out.append(entry)
                else:
                    problems.extend(error.problems)
    if problems:
        raise UsageProblem(*(f"job {job.number}: {problem}" for problem in problems))
    skipped = {name: why for name, why in job.skipped.items() if name in model.tests}
    case = replace(usual, events=tuple(events), inches=job.inches, given=given_of(job, model, after), skipped=skipped)
    return Replayed(case, bench_after_events(model, case, told), tuple(numbers), tuple(left_out))


def _event(entry: Entry, model: Model, usual: Case) -> Event:
    if entry.meter and entry.meter not in usual.meters:
        raise UsageProblem(
            f"entry {entry.seq} was read with the meter {entry.meter}, which the shop's settings do not describe: "
            f"add [meters.{entry.meter}] to shop.toml"
        )
    return event_of(entry, model)


def given_of(job: Job, model: Model, after: Job | None = None) -> Mapping[str, str]:
    """The conditions that are known: as given, by the set's age, and by the repair it came back from.

    What was given by name goes before what follows from elsewhere.
    """
    given: dict[str, str] = {}
    for condition in model.conditions.values():
        if "age" in job.facts and (state := condition.state_at_age(float(job.facts["age"]))):
            given[condition.id] = state
        if after is not None and condition.after_repair and has_repairs(after):
            given[condition.id] = condition.after_repair
    return given | {name: state for name, state in job.given.items() if name in model.conditions}


def has_repairs(job: Job) -> bool:
    """Whether a repair was made in this job."""
    return any(entry.kind == "repair" for entry in job.standing)


def usual_symptom(job: Job) -> str:
    """Whether the symptom showed, where nobody says: for a set that fails only at times that is not known."""
    return "showing" if job.facts.get("occurrence", "always") == "always" else "unknown"
