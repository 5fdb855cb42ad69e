"""A job as a row of text cells; `read` makes it a job again.

What was seen before the first repair stands in a column for each observation, the order of the tests in `tests`; from
the first repair on everything stands in `then`, in order. Each cell is written as it can be typed, so nothing is lost
but what was superseded or taken back.
"""

from collections.abc import Sequence
from datetime import datetime

from faultnet.case.entry import written
from faultnet.case.events import Event, RepairOutcome
from faultnet.history.items import joined
from faultnet.jobs import Closing, Job, Part
from faultnet.jobs.entry import EVENTS, event_of
from faultnet.jobs.facts import FACTS
from faultnet.model import Model

BEFORE = ("job", "model", "opened", "opened_by", "after", "comeback", *FACTS, "given")
"""Columns before those of the observations."""

AFTER = (
    "tests",
    "then",
    "skipped",
    "parts",
    "outcome",
    "verification",
    "hours_on_test",
    "minutes",
    "parts_cost",
    "price",
    "currency",
    "closed",
    "closed_by",
    "stage",
    "stage_since",
    "notes",
    "notes_at_end",
)
"""Columns after them."""


def columns(models: Sequence[Model]) -> tuple[str, ...]:
    """The columns of a table of jobs with these models."""
    seen = dict.fromkeys(observation for model in models for observation in model.visible)
    return (*BEFORE, *seen, *AFTER)


def row_of(job: Job, model: Model) -> dict[str, str]:
    """A job as text cells by column; a column that is not named is empty. UsageProblem: the model knows it no more."""
    events = [event_of(entry, model) for entry in job.standing if entry.kind in EVENTS]
    first = next((n for n, event in enumerate(events) if isinstance(event, RepairOutcome)), len(events))
    cells = {
        "job": job.number,
        "model": job.model,
        "opened": _moment(job.opened_at),
        "opened_by": job.opened_by,
        "after": job.after,
        "comeback": job.comeback,
        **job.facts,
        "given": joined(f"{condition}={state}" for condition, state in job.given.items()),
        **_by_observation(events[:first], model),
        "tests": " ".join(event.observation for event in events[:first] if not isinstance(event, RepairOutcome)),
        "then": joined(written(event, model) for event in events[first:]),
        "skipped": joined(f"{test}: {why}" if why else test for test, why in job.skipped.items()),
        "parts": joined(map(_part_text, job.parts)),
        "stage": job.stage,
        "stage_since": _moment(job.stage_since),
        "notes": joined(entry.note for entry in job.standing if entry.kind == "note"),
        **({} if job.closing is None else _closing_cells(job.closing)),
    }
    return {name: cell for name, cell in cells.items() if cell}


def _by_observation(events: Sequence[Event], model: Model) -> dict[str, str]:
    cells: dict[str, list[str]] = {}
    for event in events:
        name, _, text = written(event, model).partition("=")
        cells.setdefault(name, []).append(text)
    return {name: joined(texts) for name, texts in cells.items()}


def _part_text(part: Part) -> str:
    told = [("old", part.old_code), ("new", part.new_code), ("source", part.source)]
    told += [
        (name, f"{value:g}") for name, value in (("leds", part.leds), ("strips", part.strips)) if value is not None
    ]
    told += [] if part.price is None else [("paid", repr(part.price))]
    return f"{part.repair}: " + joined((f"{name} {value}" for name, value in told if value), ",")


def _closing_cells(closing: Closing) -> dict[str, str]:
    numbers = {
        "hours_on_test": closing.hours_on_test,
        "minutes": closing.minutes,
        "parts_cost": closing.parts,
        "price": closing.price,
    }
    return {
        "outcome": closing.outcome,
        "verification": closing.verification,
        **{name: repr(value) for name, value in numbers.items() if value is not None},
        "currency": closing.currency,
        "closed": _moment(closing.at),
        "closed_by": closing.by,
        **({"notes_at_end": closing.note} if closing.note else {}),
    }


def _moment(at: datetime | None) -> str:
    return "" if at is None else at.isoformat()
