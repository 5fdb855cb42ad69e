"""A job in words."""

from collections.abc import Iterator
from datetime import date, datetime

from faultnet.case.doubts import doubts
from faultnet.case.events import set_aside
from faultnet.case.words import describe_event
from faultnet.errors import UsageProblem
from faultnet.jobs import Closing, Entry, Job, Part
from faultnet.jobs.closing import COMEBACKS, OUTCOMES, PART_SOURCES, VERIFICATIONS
from faultnet.jobs.entry import EVENTS, event_of
from faultnet.jobs.facts import FACTS, OCCURRENCES
from faultnet.jobs.stage import STAGES, stage_on, watched_until
from faultnet.model import Model
from faultnet.words import fixed, percent
from faultnet.workshop.workshop import Bench


def moment(at: datetime | None) -> str:
    """A moment in the machine's own time zone: "2031-05-17 14:05"."""
    return "" if at is None else at.astimezone().strftime("%Y-%m-%d %H:%M")


def money(sum_: float | None, currency: str = "") -> str:
    """A sum: "180.00 EUR", "not stated" where there is none."""
    return "not stated" if sum_ is None else f"{fixed(sum_, 2)} {currency}".rstrip()


def stage_words(job: Job, today: date) -> str:
    """How far a job is, and since when: "watched for 90 days (until 2031-08-01)  since 2031-05-03 17:00"."""
    stage = stage_on(job.stage, job.stage_since.date(), today)
    until = f" (until {watched_until(job.stage_since.date())})" if stage == "watched" else ""
    return f"{STAGES[stage]}{until}  since {moment(job.stage_since)}"


def set_words(job: Job) -> Iterator[str]:
    """What is known of the set, and which job it came back from; no line where there is nothing."""
    if facts := facts_words(job):
        yield facts
    if job.after:
        yield f"came back from job {job.after} with {COMEBACKS[job.comeback]}"


def facts_words(job: Job) -> str:
    """What is known of the set in one line: "50 inch, 6 years, panel code PX-1040"."""
    return ", ".join(_fact(name, text) for name, text in job.facts.items())


def _fact(name: str, text: str) -> str:
    if name == "size":
        return f"{text} inch"
    if name == "age":
        return f"{text} years old"
    if name == "occurrence":
        return f"fails {OCCURRENCES.get(text, text)}"
    return f"{FACTS[name].means} {text} {FACTS[name].unit}".rstrip() if name in FACTS else f"{name} {text}"


def entry_words(entry: Entry, model: Model) -> str:
    """An entry in words, without its number."""
    note = f": {entry.note}" if entry.note else ""
    if entry.kind in EVENTS:
        try:
            return describe_event(model, event_of(entry, model))
        except UsageProblem:
            return f"{entry.name}={entry.state or entry.value} (the model no longer knows this)"
    if entry.kind == "fact":
        return _fact(entry.name, entry.state)
    if entry.kind == "given":
        known = model.conditions.get(entry.name)
        return f"{entry.name}: {entry.state}" if known is None else f"{known.label}: {known.words(entry.state)}"
    if entry.kind == "setup":
        return f"set-up: {entry.name.replace('_', ' ')} {entry.state}"
    if entry.kind == "skipped":
        return f"skipped: {entry.name}{note}"
    if entry.kind == "model":
        return f"going on with the model {entry.state}"
    if entry.kind == "price":
        return f"price named: {entry.value} {entry.unit}".rstrip() + note
    if entry.kind == "stage":
        return f"{STAGES[entry.state]}{note}"
    return f"taken back{note}" if entry.kind == "taken_back" else f"note{note}"


def entry_told(entry: Entry, model: Model) -> str:
    """An entry with what it supersedes, doubts about it and why it is set aside, without its number."""
    told = entry_words(entry, model)
    if entry.supersedes is not None:
        told = (
            f"{entry.supersedes} {told}" if entry.kind == "taken_back" else f"{told} -- instead of {entry.supersedes}"
        )
    if entry.kind in EVENTS:
        event = event_of(entry, model)
        reason = set_aside(event)
        told += "".join(f" -- {doubt}" for doubt in doubts(event, model))
        told += f" -- set aside: {reason}" if reason else ""
    return told


def part_words(part: Part, currency: str) -> str:
    """A part that went in: "replace_strips: old PX-LS-9, new PX-LS-9, new, 42.00 EUR"."""
    codes = f"old part {part.old_code or 'not read'}, new part {part.new_code or 'without a code'}"
    strips = f", {part.strips} strips of {part.leds} LEDs" if part.strips and part.leds else ""
    paid = f", {money(part.price, currency)}" if part.price is not None else ""
    return f"{part.repair}: {codes}, {PART_SOURCES[part.source]}{strips}{paid}"


def closing_words(closing: Closing) -> str:
    """How a job ended, in one sentence."""
    told = [OUTCOMES[closing.outcome]]
    told += [VERIFICATIONS[closing.verification]] if closing.outcome == "fixed" else []
    told += [f"{closing.hours_on_test:g} h on test"] if closing.hours_on_test is not None else []
    told += [f"{closing.minutes:g} min at the bench"] if closing.minutes is not None else []
    told += [f"parts {money(closing.parts, closing.currency)}"] if closing.parts is not None else []
    told += [f"price {money(closing.price, closing.currency)}"] if closing.price is not None else []
    told += [closing.note] if closing.note else []
    return "; ".join(told)


def earlier_words(bench: Bench) -> Iterator[str]:
    """What was done to a set that came back, in the job `bench.after`, and how that is weighed."""
    if bench.after is None:
        return
    for entry in bench.after.standing:
        if entry.kind in ("repair", "finding", "soft", "reading"):
            yield entry_words(entry, bench.model)
    currency = "" if bench.after.closing is None else bench.after.closing.currency
    yield from (part_words(part, currency) for part in bench.after.parts)
    for name in dict.fromkeys(part.repair for part in bench.after.parts):
        if name in bench.model.repairs:
            rate = percent(bench.model.repairs[name].comeback)
            yield f"of such repairs about {rate} come back within 90 days ({name}; reasoned)"
    weighed = [c for c in bench.model.conditions.values() if c.after_repair and c.id in bench.case.given]
    for condition in weighed:
        state = bench.case.given[condition.id]
        moved = ", ".join(
            f"{bench.model.mode_label(mode)} x{factor:g}" for mode, factor in condition.odds.get(state, {}).items()
        )
        yield f"weighed as {condition.label}: {condition.words(state)} ({moved})"
