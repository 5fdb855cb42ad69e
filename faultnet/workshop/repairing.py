"""A repair was made: the parts that went in, what to ask before, and whether the set works."""

from collections.abc import Iterable, Sequence

from faultnet.case.entry import parse_event
from faultnet.case.events import RepairOutcome
from faultnet.errors import UsageProblem
from faultnet.jobs import Entry, Job, Part
from faultnet.jobs.entry import entry_of
from faultnet.jobs.fitting import code_doubts, strip_doubts
from faultnet.jobs.stage import moved
from faultnet.model import Model
from faultnet.store.jobs import append, find_job, move_stage
from faultnet.workshop.meanwhile import check_seen
from faultnet.workshop.workshop import Workshop, model_of, nominal_of_job, read_job


class Doubtful(UsageProblem):
    """What to look at before a part goes in; nothing was written. The same again, said to be right, is."""

    def __init__(self, doubts: Sequence[str]) -> None:
        self.doubts = tuple(doubts)
        super().__init__(*self.doubts, "Look again; if it is right, say so with --sure. Nothing was written.")


def repair(
    workshop: Workshop,
    number: str,
    text: str,
    parts: Iterable[Part] = (),
    *,
    sure: bool = False,
    note: str = "",
    n_seen: int | None = None,
) -> tuple[Entry, ...]:
    """Write down a repair with its outcome (`replace_strips=works`) and the parts that went in.

    n_seen: how many entries whoever made it had looked at. Doubtful: something to look at first, unless `sure`.
    Meanwhile: there are more by now. UsageProblem: a slip, or the job is not at work.
    """
    job, _ = read_job(workshop, number)
    model = model_of(workshop, job)
    event = parse_event(model, text)
    if not isinstance(event, RepairOutcome):
        raise UsageProblem(f"{text}: that is no repair; enter it with `faultnet job add {number} {text}`")
    fitted = parts_of(model, event, parts)
    move = "repair_works" if event.works else "repair_fails"
    moved(job.stage, move)
    if not sure and (doubts := doubts_about(workshop, job, model, fitted)):
        raise Doubtful(doubts)
    with workshop.database.write() as connection:
        job = find_job(connection, number, to_write=True)
        check_seen(job, n_seen)
        stage, now = moved(job.stage, move), workshop.clock()
        entry = entry_of(event)
        written = [entry, Entry("note", note=note)] if note else [entry]
        currency = workshop.shop.settings.currency
        numbered = append(connection, number, written, now, fitted=fitted, currency=currency)
        if stage != job.stage:
            move_stage(connection, number, stage, now)
        return numbered


def parts_of(model: Model, event: RepairOutcome, parts: Iterable[Part]) -> tuple[Part, ...]:
    """A part for each repair that replaces one: as told, else with nothing read. UsageProblem: for another repair."""
    told = {part.repair: part for part in parts}
    if strange := [name for name in told if name not in event.made]:
        raise UsageProblem(*(f"{name}: parts were told for a repair that was not made" for name in strange))
    return tuple(told.get(name, Part(0, name)) for name in event.made if name in told or replaces_part(model, name))


def replaces_part(model: Model, repair: str) -> bool:
    """Whether a repair puts a bought part in."""
    return max(model.repairs[repair].parts_high) > 0


def doubts_about(workshop: Workshop, job: Job, model: Model, fitted: Iterable[Part]) -> list[str]:
    """What to look at before these parts go in."""
    nominal = nominal_of_job(workshop, job).nominal
    volts = None if nominal is None or nominal.source == "calculated" else nominal.volts
    doubts: list[str] = []
    for part in fitted:
        if replaces_part(model, part.repair):
            doubts += code_doubts(part)
        doubts += strip_doubts(part, volts)
    return doubts
