"""`faultnet job price`, `move` and `close`."""

import json

from faultnet.cli.job.told import entry_line, heading
from faultnet.cli.price import price_text
from faultnet.cli.terminal import wrapped
from faultnet.cli.workshop import workshop_of
from faultnet.jobs import Entry, Job
from faultnet.jobs.replay import has_repairs
from faultnet.telling.job import closing_words
from faultnet.telling.job_json import job_json
from faultnet.workshop.closing_typed import ClosingTyped, closing_typed
from faultnet.workshop.ending import answer_price, close, move, name_price
from faultnet.workshop.looking import look
from faultnet.workshop.sums import parse_sum
from faultnet.workshop.workshop import Workshop, model_of, read_job


def price_of(number: str, *, named: str, agreed: bool | None, note: str, db: str, shop: str, as_json: bool) -> None:
    """Print the price to name; or note what was named, and what the customer said to it."""
    workshop = workshop_of(db, shop)
    settings = workshop.shop.settings
    written: tuple[Entry, ...] = ()
    if named:
        price = parse_sum("--name", named, decimal_comma=settings.decimal_comma)
        written += name_price(workshop, number, price, note)
    if agreed is not None:
        written += answer_price(workshop, number, agreed=agreed, note="" if named else note)
    if written:
        _written(workshop, number, written, as_json=as_json)
        return
    found = look(workshop, number, "job price")
    if as_json:
        from faultnet.telling.answer_json import money_json

        told = money_json(found.bench.model, found.bench.case, found.ranking)
        print(json.dumps({"job": number, "money": told}, indent=2, allow_nan=False))
        return
    print("\n".join(heading(found.bench.job, workshop.clock().date())))
    lines = list(price_text(found.bench.model, found.bench.case, found.ranking, full=True))
    print("\n".join(lines) if lines else "There is no price to name: nothing is left to repair, or it does not pay.")
    if found.bench.job.price is not None:
        entry = found.bench.job.price
        print(f"Named before: {entry.value} {entry.unit}".rstrip())


def move_to(number: str, stage: str, *, note: str, db: str, shop: str, as_json: bool) -> None:
    """Move a job on, and print how far it is."""
    workshop = workshop_of(db, shop)
    _written(workshop, number, move(workshop, number, stage.strip().lower(), note), as_json=as_json)


def close_job(number: str, typed: ClosingTyped, *, db: str, shop: str, as_json: bool) -> None:
    """Close a job, and print how it ended and what is still missing."""
    workshop = workshop_of(db, shop)
    job, _ = read_job(workshop, number)
    closing = closing_typed(typed, job, decimal_comma=workshop.shop.settings.decimal_comma)
    written = close(workshop, number, closing)
    _written(workshop, number, written, as_json=as_json)
    if not as_json:
        for hint in hints(read_job(workshop, number)[0]):
            print(wrapped(hint, 0, 2))


def _written(workshop: Workshop, number: str, written: tuple[Entry, ...], *, as_json: bool) -> None:
    job, _ = read_job(workshop, number)
    if as_json:
        print(json.dumps(job_json(job), indent=2))
        return
    model = model_of(workshop, job)
    print("\n".join(heading(job, workshop.clock().date())))
    print("\n".join(entry_line(entry, model) for entry in written))


def hints(job: Job) -> list[str]:
    """What to note as well, or to do next, about a job that was just closed."""
    closing = job.closing
    if closing is None:
        return []
    lines = [f"{closing_words(closing)}."]
    if closing.outcome == "fixed":
        if closing.hours_on_test is None:
            lines.append("Hours on test were not noted; a set that ran warm for some hours comes back less often.")
        if not has_repairs(job):
            lines.append("No repair was entered in this job: `faultnet job repair` before closing says what cured it.")
        lines.append(f"When it goes home: faultnet job move {job.number} watched")
    else:
        lines.append(f"When it goes home: faultnet job move {job.number} done")
    return lines
