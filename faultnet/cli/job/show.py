"""`faultnet job list` and `show`."""

import json
from collections.abc import Iterator

from faultnet.case.entry import nearest
from faultnet.cli.job.told import entry_line, heading
from faultnet.cli.terminal import bold, table, wrapped
from faultnet.cli.workshop import workshop_of
from faultnet.errors import UsageProblem
from faultnet.jobs import Job
from faultnet.jobs.closing import OUTCOMES
from faultnet.jobs.stage import BEFORE_THE_END, ENDED, STAGES, stage_on, what_is_possible
from faultnet.model import Model
from faultnet.store.advice import Advised, advice_of
from faultnet.store.jobs import Listed, comebacks_of, list_jobs
from faultnet.telling.job import closing_words, moment, part_words
from faultnet.telling.job_json import job_json, listed_json
from faultnet.words import percent
from faultnet.workshop.workshop import model_of, read_job

MOST_LISTED = 200
"""Jobs that a list shows on a terminal, the newest."""


def list_all(*, also_done: bool, stage: str, panel: str, db: str, shop: str, as_json: bool) -> None:
    """Print jobs, one line each."""
    if stage and stage not in STAGES:
        raise UsageProblem(f"--stage {stage}: one of {', '.join(STAGES)}{nearest(stage, STAGES)}")
    workshop = workshop_of(db, shop)
    today = workshop.clock().date()
    stages = None if also_done or stage else BEFORE_THE_END
    with workshop.database.read() as connection:
        found = list_jobs(connection, stages, panel)
    if stage:
        found = tuple(job for job in found if stage_on(job.stage, job.stage_since.date(), today) == stage)
    if as_json:
        print(json.dumps(listed_json(found), indent=2))
    elif not found:
        others = "" if also_done else "; closed and done ones: --all"
        print(f"No such jobs{others}. To open one: faultnet job open --model backlight")
    else:
        rows: list[tuple[str, ...]] = [("job", "stage", "since", "set", "model", "")]
        rows += [row_of(job, stage_on(job.stage, job.stage_since.date(), today)) for job in found[:MOST_LISTED]]
        print("\n".join(line[2:] for line in table(rows, "llllll")))
        if len(found) > MOST_LISTED:
            print(f"and {len(found) - MOST_LISTED} older ones: --stage, --panel, or --json for all")


def row_of(job: Listed, stage: str) -> tuple[str, ...]:
    """The cells of a job in a list."""
    size = f"{job.inches:g} inch" if job.inches else ""
    known = " ".join(filter(None, (size, job.panel))) or "-"
    ended = OUTCOMES.get(job.outcome, "") if stage in ENDED else ""
    note = ended + (f" after {job.after}" if job.after else "")
    return job.number, STAGES[stage], moment(job.stage_since)[:10], known, job.model, note.strip()


def show_job(number: str, *, with_advice: bool, db: str, shop: str, as_json: bool) -> None:
    """Print everything written down about a job."""
    workshop = workshop_of(db, shop)
    job, _ = read_job(workshop, number)
    with workshop.database.read() as connection:
        advice = advice_of(connection, number)
        later = comebacks_of(connection, number)
    if as_json:
        print(json.dumps(job_json(job, advice), indent=2))
        return
    model = model_of(workshop, job)
    print("\n".join(heading(job, workshop.clock().date())))
    print("\n".join(_entries(job, model)))
    currency = workshop.shop.settings.currency
    for part in job.parts:
        print(wrapped(f"part in entry {part.seq}: {part_words(part, currency)}", 2, 4))
    if job.closing is not None:
        print(wrapped(f"ended: {closing_words(job.closing)}", 2, 4))
    if later:
        print(wrapped(f"came back as job {', '.join(later)}", 2, 4))
    print("\n".join(_advice(advice) if with_advice else _advice_hint(advice)))
    print(wrapped(f"possible now: {'; '.join(what_is_possible(job.stage))}", 2, 4))


def _entries(job: Job, model: Model) -> Iterator[str]:
    yield bold("Entries")
    stands = {entry.seq for entry in job.standing}
    if not job.entries:
        yield "  none yet"
    for entry in job.entries:
        line = entry_line(entry, model)
        left_out = "" if entry.seq in stands or entry.kind == "taken_back" else "  (does not stand)"
        yield f"{line}{left_out}  {moment(entry.at)[11:]}" if "\n" not in line else line + left_out


def _advice_hint(advice: tuple[Advised, ...]) -> list[str]:
    return [f"  advised {len(advice)} times: --advice shows what"] if advice else []


def _advice(advice: tuple[Advised, ...]) -> Iterator[str]:
    yield bold("Advised")
    for each in advice:
        leading = max(each.faults, key=lambda name: each.faults[name])
        what = each.what or each.verdict or each.kind
        told = f"after {each.n_entries} entries: {what} ({leading} {percent(each.faults[leading])}, {each.version}, "
        yield wrapped(f"{moment(each.at)}  {told}{each.shown_in})", 2, 4)
