"""Opening a job, anew or for a set that came back."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from faultnet.case.entry import parse_given
from faultnet.case.setup import parse_setup
from faultnet.errors import UsageProblem
from faultnet.files import load_model
from faultnet.files.finder import is_path, own_models_folder
from faultnet.jobs import Entry, Job
from faultnet.jobs.facts import FACTS, checked_fact
from faultnet.jobs.stage import moved
from faultnet.shop.nominal import parse_nominal
from faultnet.store.jobs import append, find_job, insert_job, move_stage, next_number
from faultnet.workshop.workshop import Workshop

_NUMBER = re.compile(r"[A-Za-z0-9][A-Za-z0-9._/-]{0,39}")

STAYS_THE_SAME = ("panel", "board", "size", "age", "nominal", "leds")
"""Facts of a set that hold when it comes back."""


@dataclass(frozen=True)
class Opening:
    """What is known when a set comes in. number: the shop's own, "" for the next; facts: by name, as typed."""

    model: str
    number: str = ""
    facts: Mapping[str, str] = field(default_factory=dict)
    given: Sequence[str] = ()
    at: str = ""
    note: str = ""
    by: str = ""


def open_job(workshop: Workshop, opening: Opening) -> str:
    """Open a job, and give its number. UsageProblem lists all slips."""
    written = _entries(opening)
    with workshop.database.write() as connection:
        number = opening.number or next_number(connection)
        now = workshop.clock()
        insert_job(connection, Job(number, opening.model, "open", now, now, opening.by))
        append(connection, number, written, now)
    return number


def open_comeback(workshop: Workshop, earlier: str, symptom: str, opening: Opening) -> str:
    """Open a job for a set that came back after another, and give its number; the earlier job is done then.

    What is known of the set comes with it. UsageProblem: the earlier one never went out.
    """
    with workshop.database.write() as connection:
        now = workshop.clock()
        before = find_job(connection, earlier, to_write=True)
        stage = moved(before.stage, "comeback")
        kept = {name: text for name, text in before.facts.items() if name in STAYS_THE_SAME}
        opening = replace(opening, model=opening.model or before.model, facts={**kept, **opening.facts})
        written = _entries(opening)
        number = opening.number or next_number(connection)
        job = Job(number, opening.model, "open", now, now, opening.by, after=earlier, comeback=symptom)
        insert_job(connection, job)
        append(connection, number, written, now)
        note = f"came back as job {number}: {symptom}"
        append(connection, earlier, [Entry("stage", "comeback", stage, note=note, by=opening.by)], now)
        move_stage(connection, earlier, stage, _since(before, stage, now))
    return number


def _since(job: Job, stage: str, now: datetime) -> datetime:
    return job.stage_since if job.stage == stage else now


def _entries(opening: Opening) -> list[Entry]:
    """What is written down at the start. UsageProblem lists all slips, the model's among them."""
    problems: list[str] = []
    if opening.number and not _NUMBER.fullmatch(opening.number):
        problems.append(
            f"--number {opening.number}: letters, digits and . _ / -, at most 40 of them; no names of customers"
        )
    if problem := path_problem(opening.model):
        problems.append(problem)
    if problems:
        raise UsageProblem(*problems)
    model = load_model(opening.model)
    facts = _checked(opening.facts, problems)
    given: dict[str, str] = {}
    setup: dict[str, str] = {}
    try:
        given = parse_given(model, opening.given)
    except UsageProblem as error:
        problems.extend(error.problems)
    try:
        setup = parse_setup(opening.at)
    except UsageProblem as error:
        problems.extend(error.problems)
    if problems:
        raise UsageProblem(*problems)
    return [
        *(Entry("fact", name, text, unit=FACTS[name].unit) for name, text in facts.items()),
        *(Entry("given", name, state) for name, state in given.items()),
        *(Entry("setup", part, state) for part, state in setup.items()),
        *([Entry("note", note=opening.note, by=opening.by)] if opening.note else []),
    ]


def _checked(facts: Mapping[str, str], problems: list[str]) -> dict[str, str]:
    """The facts as they are kept; slips are added to the problems."""
    checked: dict[str, str] = {}
    for name, text in facts.items():
        try:
            checked[name] = checked_fact(name, text)
        except UsageProblem as error:
            problems.extend(error.problems)
    volts = float(checked["nominal"]) if "nominal" in checked else None
    try:
        parse_nominal(volts, checked.get("leds", ""))
    except UsageProblem as error:
        problems.extend(error.problems)
    return checked


def path_problem(model: str) -> str:
    """What is wrong with naming a model by its file, or ""."""
    if not is_path(model):
        return ""
    here = f"put the file into {own_models_folder()} first"
    return f"--model {model}: a job names its model by its id, so that every bench finds it; {here}"
