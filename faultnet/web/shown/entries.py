"""Entries of a job, one line each, and what was advised between them."""

from collections.abc import Sequence
from dataclasses import dataclass

from faultnet.jobs import Job
from faultnet.jobs.entry import EVENTS
from faultnet.model import Model
from faultnet.store.advice import Advised
from faultnet.telling.job import entry_told, moment
from faultnet.words import percent
from faultnet.workshop.entering import TAKEN_BACK


@dataclass(frozen=True)
class EntryRow:
    """One entry. stands: whether it counts; may_go, may_change: what can be done with it."""

    seq: int
    words: str
    at: str
    stands: bool
    may_go: bool
    may_change: bool


def entry_rows(job: Job, model: Model) -> tuple[EntryRow, ...]:
    """All entries, the newest first."""
    stands = {entry.seq for entry in job.standing}
    return tuple(
        EntryRow(
            entry.seq,
            entry_told(entry, model),
            moment(entry.at),
            entry.seq in stands or entry.kind == "taken_back",
            entry.seq in stands and entry.kind in TAKEN_BACK,
            entry.seq in stands and entry.kind in EVENTS,
        )
        for entry in reversed(job.entries)
    )


def advised_words(advice: Sequence[Advised], model: Model) -> tuple[str, ...]:
    """What was advised, in order."""
    labels = {test.id: test.label for test in model.tests.values()} | {r.id: r.label for r in model.repairs.values()}
    lines = []
    for each in advice:
        leading = max(each.faults, key=lambda name: each.faults[name])
        known = model.components.get(leading)
        what = labels.get(each.what, each.what or each.verdict or each.kind)
        lines.append(
            f"{moment(each.at)}, after {each.n_entries} entries: {what} ({known.label if known else leading} "
            f"{percent(each.faults[leading])}, {each.version}, {each.shown_in})"
        )
    return tuple(lines)
