"""A job as a row of text cells, and back.

What was seen before the first repair stands in a column for each observation, the order of the tests in `tests`; from
the first repair on everything stands in `then`, in order. Each cell is written as it can be typed, so nothing is lost
but what was superseded or taken back.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime

from faultnet.case.entry import parse_event, written
from faultnet.case.events import Event, RepairOutcome
from faultnet.errors import UsageProblem
from faultnet.history.items import joined, parted
from faultnet.jobs import Closing, Entry, Job, Part
from faultnet.jobs.closing import COMEBACKS, OUTCOMES, PART_SOURCES, VERIFICATIONS
from faultnet.jobs.entry import EVENTS, entry_of, event_of
from faultnet.jobs.facts import FACTS, checked_fact
from faultnet.jobs.stage import STAGES
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
        "tests": " ".join(dict.fromkeys(e.observation for e in events[:first] if not isinstance(e, RepairOutcome))),
        "then": joined(written(event, model) for event in events[first:]),
        "skipped": joined(f"{test}: {why}" if why else test for test, why in job.skipped.items()),
        "parts": joined(map(_part_text, job.parts)),
        "stage": job.stage,
        "stage_since": _moment(job.stage_since),
        "notes": joined(entry.note for entry in job.standing if entry.kind == "note"),
        **({} if job.closing is None else _closing_cells(job.closing)),
    }
    return {name: cell for name, cell in cells.items() if cell}


def job_of(row: Mapping[str, str], model: Model) -> Job:
    """The job of a row. UsageProblem lists everything that is wrong, each with its column."""
    problems: list[str] = []
    entries = [*_facts(row, problems), *_given(row, model, problems), *_events(row, model, problems)]
    entries += [Entry("note", note=note) for note in parted(row.get("notes", ""))]
    opened = _read_moment(row, "opened", problems)
    since = _read_moment(row, "stage_since", problems) or opened
    closing = _closing(row, problems)
    parts = tuple(_part(text, problems) for text in parted(row.get("parts", "")))
    stage = row.get("stage") or ("done" if closing is not None else "open")
    _one_of("stage", stage, STAGES, problems)
    _one_of("comeback", row.get("comeback", ""), ("", *COMEBACKS), problems)
    if opened is None and not any(problem.startswith("opened") for problem in problems):
        problems.append("opened: nothing; write the day the set came in, as 2031-05-17")
    if problems or opened is None or since is None:
        raise UsageProblem(*problems)
    numbered = tuple(_numbered(entry, seq, opened) for seq, entry in enumerate(entries, start=1))
    made = [entry.seq for entry in numbered if entry.kind == "repair"]
    return Job(
        number=row.get("job", ""),
        model=row.get("model", model.id),
        stage=stage,
        stage_since=since,
        opened_at=opened,
        opened_by=row.get("opened_by", ""),
        after=row.get("after", ""),
        comeback=row.get("comeback", ""),
        entries=numbered,
        parts=tuple(_placed(part, numbered, made) for part in parts),
        closing=closing,
    )


def _by_observation(events: Sequence[Event], model: Model) -> dict[str, str]:
    cells: dict[str, list[str]] = {}
    for event in events:
        name, _, text = written(event, model).partition("=")
        cells.setdefault(name, []).append(text)
    return {name: joined(texts) for name, texts in cells.items()}


def _events(row: Mapping[str, str], model: Model, problems: list[str]) -> Iterator[Entry]:
    """The entries of what was seen and repaired: by the order in `tests`, then as the columns stand, then `then`."""
    seen = {name: parted(row[name]) for name in model.visible if row.get(name)}
    order = [name for name in row.get("tests", "").split() if name in seen]
    for name in dict.fromkeys([*order, *seen]):
        for text in seen[name]:
            yield from _event(f"{name}={text}", name, model, problems)
    for text in parted(row.get("then", "")):
        yield from _event(text, "then", model, problems)
    for item in parted(row.get("skipped", "")):
        test, _, why = item.partition(": ")
        if test in model.tests:
            yield Entry("skipped", test, note=why)
        else:
            problems.append(f"skipped: {model.id} has no test {test}")


def _event(text: str, column: str, model: Model, problems: list[str]) -> Iterator[Entry]:
    try:
        event = parse_event(model, text, _AnyMeter())
    except UsageProblem as error:
        problems.extend(f"{column}: {problem}" for problem in error.problems)
        return
    seen = None if isinstance(event, RepairOutcome) else model.visible[event.observation]
    yield entry_of(event) if seen is None or seen.reading is None else entry_of(event, seen.reading.unit)


class _AnyMeter(frozenset[str]):
    """Past readings may name meters that are gone."""

    def __contains__(self, _name: object) -> bool:
        return True


def _facts(row: Mapping[str, str], problems: list[str]) -> Iterator[Entry]:
    for name, fact in FACTS.items():
        if text := row.get(name):
            try:
                yield Entry("fact", name, checked_fact(name, text), unit=fact.unit)
            except UsageProblem as error:
                problems.extend(f"{name}: {problem.partition(': ')[2]}" for problem in error.problems)


def _given(row: Mapping[str, str], model: Model, problems: list[str]) -> Iterator[Entry]:
    for item in parted(row.get("given", "")):
        name, _, state = item.partition("=")
        if name in model.conditions and state in model.conditions[name].states:
            yield Entry("given", name, state)
        else:
            problems.append(f"given: {item}: {model.id} has no such condition or state")


def _part_text(part: Part) -> str:
    told = [("old", part.old_code), ("new", part.new_code), ("source", part.source)]
    told += [
        (name, f"{value:g}") for name, value in (("leds", part.leds), ("strips", part.strips)) if value is not None
    ]
    told += [] if part.price is None else [("paid", repr(part.price))]
    return f"{part.repair}: " + joined((f"{name} {value}" for name, value in told if value), ",")


def _part(text: str, problems: list[str]) -> Part:
    repair, _, rest = text.partition(":")
    told = {name: value for name, _, value in (item.partition(" ") for item in parted(rest.strip(), ","))}
    source = told.get("source", "new")
    if source not in PART_SOURCES:
        problems.append(f"parts: {source} is none of {', '.join(PART_SOURCES)}")
    leds, strips, paid = (_number("parts", told.get(name, ""), problems) for name in ("leds", "strips", "paid"))
    n_leds, n_strips = (None if value is None else round(value) for value in (leds, strips))
    return Part(0, repair.strip(), told.get("old", ""), told.get("new", ""), source, n_leds, n_strips, paid)


def _placed(part: Part, entries: Sequence[Entry], made: Sequence[int]) -> Part:
    """The part with the entry of the first repair that it belongs to."""
    named = [e.seq for e in entries if e.kind == "repair" and part.repair in e.name.split("+")]
    seq = next(iter([*named, *made]), 0)
    return replace(part, seq=seq)


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


def _closing(row: Mapping[str, str], problems: list[str]) -> Closing | None:
    if not row.get("outcome"):
        return None
    outcome, verification = row["outcome"], row.get("verification", "") or "not_verified"
    _one_of("outcome", outcome, OUTCOMES, problems)
    _one_of("verification", verification, VERIFICATIONS, problems)
    hours, minutes, parts, price = (
        _number(name, row.get(name, ""), problems) for name in ("hours_on_test", "minutes", "parts_cost", "price")
    )
    at = _read_moment(row, "closed", problems)
    note = row.get("notes_at_end", "")
    currency, by = row.get("currency", ""), row.get("closed_by", "")
    return Closing(outcome, verification, hours, minutes, parts, price, currency, note, by, at)


def _number(column: str, text: str, problems: list[str]) -> float | None:
    try:
        return float(text) if text else None
    except ValueError:
        problems.append(f"{column}: {text} is no number")
        return None


def _one_of(column: str, text: str, known: Sequence[str] | Mapping[str, str], problems: list[str]) -> None:
    if text not in known:
        problems.append(f"{column}: {text} is none of {', '.join(filter(None, known))}")


def _moment(at: datetime | None) -> str:
    return "" if at is None else at.isoformat()


def _read_moment(row: Mapping[str, str], column: str, problems: list[str]) -> datetime | None:
    if not (text := row.get(column, "")):
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        problems.append(f"{column}: {text} is no day or moment; write 2031-05-17 or 2031-05-17T09:30")
        return None
    return found if found.tzinfo is not None else found.replace(tzinfo=UTC)


def _numbered(entry: Entry, seq: int, at: datetime) -> Entry:
    return replace(entry, seq=seq, place=seq, at=at)
