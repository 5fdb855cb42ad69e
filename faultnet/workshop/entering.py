"""Entering what was seen and measured in a job; correcting, taking back, skipping."""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from sqlalchemy import Connection

from faultnet.case.entry import nearest, parse_events, parse_given
from faultnet.case.events import Event, RepairOutcome
from faultnet.case.setup import parse_setup
from faultnet.errors import UsageProblem
from faultnet.files import load_model
from faultnet.jobs import Entry, Job
from faultnet.jobs.entry import EVENTS, SEEN, entry_of, superseding
from faultnet.jobs.facts import FACTS, checked_fact
from faultnet.jobs.replay import usual_symptom
from faultnet.jobs.stage import moved
from faultnet.model import Model
from faultnet.store.jobs import append, change_model, find_job, move_stage
from faultnet.workshop.opening import path_problem
from faultnet.workshop.workshop import Workshop, model_of, read_job

TAKEN_BACK = (*EVENTS, "fact", "given", "setup", "skipped", "note")
"""Kinds of entries that can be taken back; a stage or a price is changed by the next one."""

NO_CODES_HERE = "enter a repair with `faultnet job repair`, which asks for the codes of the parts"


def enter(
    workshop: Workshop,
    number: str,
    texts: Sequence[str] = (),
    *,
    at: str = "",
    given: Iterable[str] = (),
    facts: Iterable[tuple[str, str]] = (),
    note: str = "",
    n_seen: int | None = None,
) -> tuple[Entry, ...]:
    """Write down what was seen and measured, how the set stands, what else is known; the entries with their numbers.

    n_seen: how many entries whoever enters it had looked at; what is there since, word for word, is not written again.
    UsageProblem lists all slips; nothing was written then.
    """
    job, _ = read_job(workshop, number)
    model = model_of(workshop, job)
    problems: list[str] = []
    written: list[Entry] = []
    try:
        written += _seen_entries(workshop, job, model, texts)
    except UsageProblem as error:
        problems.extend(error.problems)
    try:
        written += [Entry("setup", part, state) for part, state in parse_setup(at).items()]
    except UsageProblem as error:
        problems.extend(error.problems)
    try:
        written += [Entry("given", name, state) for name, state in parse_given(model, given).items()]
    except UsageProblem as error:
        problems.extend(error.problems)
    for name, text in facts:
        try:
            written.append(Entry("fact", name, checked_fact(name, text), unit=FACTS[name].unit))
        except UsageProblem as error:
            problems.extend(error.problems)
    written += [Entry("note", note=note)] if note else []
    if not problems and not written:
        problems.append("nothing to enter: name what was seen, such as sound=present")
    if problems:
        raise UsageProblem(*problems)
    return add_entries(workshop, number, written, n_seen)


def correct(workshop: Workshop, number: str, seq: int, text: str) -> tuple[Entry, ...]:
    """Put an event in the place of an earlier one; both are kept, the later counts.

    UsageProblem: a slip; the entry does not stand any more, or is of another kind.
    """
    job, _ = read_job(workshop, number)
    model = model_of(workshop, job)
    (event,) = parse_events(model, [text], workshop.shop.meters, usual_symptom(job))
    with workshop.database.write() as connection:
        job = find_job(connection, number, to_write=True)
        before = superseding(job.entries, seq)
        is_repair = isinstance(event, RepairOutcome)
        if before.kind not in (("repair",) if is_repair else SEEN):
            raise UsageProblem(
                f"entry {seq} is {kind_words(before)}; it cannot become {'a repair' if is_repair else text}"
            )
        entry = replace(_entry(model, event), supersedes=seq, place=before.place)
        now = workshop.clock()
        written = append(connection, number, [entry], now)
        return (*written, *_after_change(connection, job, before, entry, workshop))


def take_back(workshop: Workshop, number: str, seq: int, note: str = "") -> tuple[Entry, ...]:
    """Note that an entry does not stand. UsageProblem: it does not anyway, or is none that can be taken back."""
    with workshop.database.write() as connection:
        job = find_job(connection, number, to_write=True)
        before = superseding(job.entries, seq)
        if before.kind not in TAKEN_BACK:
            raise UsageProblem(f"entry {seq} is {kind_words(before)}, which is changed by a later one, not taken back")
        entry = Entry("taken_back", note=note, supersedes=seq, place=before.place)
        written = append(connection, number, [entry], workshop.clock())
        return (*written, *_after_change(connection, job, before, entry, workshop))


def skip(workshop: Workshop, number: str, test: str, why: str) -> tuple[Entry, ...]:
    """Note that a test will not be made, and why. UsageProblem: no such test."""
    job, _ = read_job(workshop, number)
    model = model_of(workshop, job)
    tests = test_names(model)
    if test not in tests:
        raise UsageProblem(f"--skip {test}: {model.id} has no such test{nearest(test, tests)}")
    return add_entries(workshop, number, [Entry("skipped", tests[test], note=why)])


def go_on_with(workshop: Workshop, number: str, model: str) -> tuple[Entry, ...]:
    """Go on with another model; what was seen counts there as far as that one knows it.

    UsageProblem: there is no such model, or it is the job's own; a set that it does not fit.
    """
    if problem := path_problem(model):
        raise UsageProblem(problem)
    load_model(model)
    with workshop.database.write() as connection:
        job = find_job(connection, number, to_write=True)
        if job.model == model:
            raise UsageProblem(f"job {number} is worked on with {model} already")
        moved(job.stage, "test")
        written = append(connection, number, [Entry("model", job.model, model)], workshop.clock())
        change_model(connection, number, model)
        return written


def add_entries(
    workshop: Workshop, number: str, written: Sequence[Entry], n_seen: int | None = None
) -> tuple[Entry, ...]:
    """Add entries to a job that is at work. n_seen: as for `enter`.

    UsageProblem: it is not at work, and something was seen on the set.
    """
    with workshop.database.write() as connection:
        job = find_job(connection, number, to_write=True)
        if n_seen is not None and (there := _there_since(job, written, n_seen)):
            return there
        stage = moved(job.stage, "test") if any(entry.kind in SEEN for entry in written) else job.stage
        now = workshop.clock()
        numbered = append(connection, number, written, now)
        if stage != job.stage:
            move_stage(connection, number, stage, now)
        return numbered


def _there_since(job: Job, written: Sequence[Entry], n_seen: int) -> tuple[Entry, ...]:
    """What was written since a look, where it is just this: a form that was sent twice. Else nothing."""
    since = [entry for entry in job.entries[n_seen:] if entry.kind != "stage"]
    said = [replace(entry, seq=0, place=0, at=None) for entry in since]
    wanted = [replace(entry, seq=0, place=0, at=None) for entry in written]
    places = [said.index(each) for each in wanted if each in said]
    return tuple(since[place] for place in places) if len(places) == len(wanted) else ()


def test_names(model: Model) -> dict[str, str]:
    """Every name a test goes by, with its id: its own, and those of what it reveals."""
    names = {test.reveals[0]: test.id for test in model.tests.values()}
    for test in model.tests.values():
        for observation in test.reveals:
            names |= dict.fromkeys((model.visible[observation].short, *model.visible[observation].also), test.id)
    return names | {test: test for test in model.tests}


def kind_words(entry: Entry) -> str:
    """What an entry is, in words."""
    words = {"soft": "a finding", "fact": "a fact about the set", "given": "a condition", "setup": "a set-up"}
    words |= {
        "skipped": "a skipped test",
        "model": "a change of model",
        "stage": "a change of stage",
        "price": "a price",
        "taken_back": "a take-back",
    }
    return words.get(entry.kind, f"a {entry.kind}")


def _seen_entries(workshop: Workshop, job: Job, model: Model, texts: Sequence[str]) -> list[Entry]:
    events = parse_events(model, texts, workshop.shop.meters, usual_symptom(job))
    for event in events:
        if isinstance(event, RepairOutcome):
            raise UsageProblem(f"{'+'.join(event.repairs)}: {NO_CODES_HERE}")
    return [_entry(model, event) for event in events]


def _entry(model: Model, event: Event) -> Entry:
    if isinstance(event, RepairOutcome):
        return entry_of(event)
    reading = model.visible[event.observation].reading
    return entry_of(event) if reading is None else entry_of(event, reading.unit)


def _after_change(
    connection: Connection, job: Job, before: Entry, entry: Entry, workshop: Workshop
) -> tuple[Entry, ...]:
    """The stage after the outcome of a repair was changed or taken back, while the set is on the bench, as entries."""
    if before.kind != "repair" or before.state == entry.state or job.stage not in ("repaired", "on_test", "tested"):
        return ()
    stage = moved(job.stage, "repair_works" if entry.state == "works" else "repair_fails")
    if stage == job.stage:
        return ()
    now = workshop.clock()
    move_stage(connection, job.number, stage, now)
    return append(connection, job.number, [Entry("stage", "corrected", stage)], now)
