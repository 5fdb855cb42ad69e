"""A job in words, for a terminal of 80 columns."""

from collections.abc import Iterator
from datetime import date, datetime

from faultnet.case.words import describe_event
from faultnet.cli.terminal import bold, wrapped
from faultnet.errors import UsageProblem
from faultnet.jobs import Closing, Entry, Job, Part
from faultnet.jobs.closing import COMEBACKS, OUTCOMES, PART_SOURCES, VERIFICATIONS
from faultnet.jobs.entry import EVENTS, event_of
from faultnet.jobs.facts import FACTS, OCCURRENCES
from faultnet.jobs.stage import STAGES, stage_on, watched_until
from faultnet.model import Model
from faultnet.model.words import numbers_words
from faultnet.words import fixed, in_words, percent, percent_range
from faultnet.workshop.looking import Look


def moment(at: datetime | None) -> str:
    """A moment in the machine's own time zone: "2031-05-17 14:05"."""
    return "" if at is None else at.astimezone().strftime("%Y-%m-%d %H:%M")


def money(sum_: float | None, currency: str = "") -> str:
    """A sum: "180.00 EUR", "not stated" where there is none."""
    return "not stated" if sum_ is None else f"{fixed(sum_, 2)} {currency}".rstrip()


def heading(job: Job, today: date) -> Iterator[str]:
    """Which job, how far it is, and what is known of the set."""
    stage = stage_on(job.stage, job.stage_since.date(), today)
    until = f" (until {watched_until(job.stage_since.date())})" if stage == "watched" else ""
    yield bold(f"Job {job.number}") + f"  {STAGES[stage]}{until}  since {moment(job.stage_since)}  [{job.model}]"
    if facts := facts_words(job):
        yield wrapped(facts, 2, 4)
    if job.after:
        yield wrapped(f"came back from job {job.after} with {COMEBACKS[job.comeback]}", 2, 4)


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


def standing_line(found: Look) -> Iterator[str]:
    """Where a job stands and what is advised, in two lines; of a set that works, only what is left to do."""
    model, told = found.bench.model, found.ranking.advice
    if found.bench.case.just_repaired:
        yield wrapped(f"Next: {told.why}", 0, 2)
        return
    leading = sorted(model.components, key=lambda c: -found.diagnosis.faulty(c))[:3]
    shares = ", ".join(f"{model.components[c].label} {_with_interval(found, c)}" for c in leading)
    first = in_words(found.diagnosis.faulty(leading[0]))
    yield wrapped(f"Now: {shares} (the first: {first}; in brackets 90 %; {numbers_words(model)})", 0, 2)
    labels = {test.id: test.label for test in model.tests.values()} | {r.id: r.label for r in model.repairs.values()}
    step = f"{labels[told.id]} [{told.id}]: {told.why}" if told.id else told.why
    yield wrapped(f"Next: {step}", 0, 2)


def _with_interval(found: Look, component: str) -> str:
    chance, ends = percent(found.diagnosis.faulty(component)), found.diagnosis.faulty_between(component)
    return chance if ends is None else f"{chance} ({percent_range(*ends)})"
