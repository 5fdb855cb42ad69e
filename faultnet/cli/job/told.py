"""A job in words, for a terminal of 80 columns."""

from collections.abc import Iterator
from datetime import date

from faultnet.cli.terminal import bold, wrapped
from faultnet.jobs import Entry, Job
from faultnet.model import Model
from faultnet.model.words import numbers_words
from faultnet.telling.job import earlier_words, entry_told, set_words, stage_words
from faultnet.words import in_words, percent, percent_range
from faultnet.workshop.looking import Look
from faultnet.workshop.workshop import Bench


def heading(job: Job, today: date) -> Iterator[str]:
    """Which job, how far it is, and what is known of the set."""
    yield bold(f"Job {job.number}") + f"  {stage_words(job, today)}  [{job.model}]"
    yield from (wrapped(line, 2, 4) for line in set_words(job))


def entry_line(entry: Entry, model: Model) -> str:
    """An entry with its number, what it supersedes, and doubts about it."""
    return wrapped(f"{entry.seq}. {entry_told(entry, model)}", 2, 5)


def earlier_lines(bench: Bench) -> list[str]:
    """What was done to a set that came back, and how that is weighed; nothing of one that did not."""
    if bench.after is None:
        return []
    return [bold(f"Before, in job {bench.after.number}"), *(wrapped(each, 2, 4) for each in earlier_words(bench)), ""]


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
