"""Prices, moves from stage to stage, and how a job ends.

n_seen, everywhere: how many entries of the job whoever decides had looked at; Meanwhile: there are more by now.
"""

from dataclasses import replace

from faultnet.case.entry import nearest
from faultnet.errors import UsageProblem
from faultnet.jobs import Closing, Entry
from faultnet.jobs.closing import OUTCOMES, VERIFICATIONS
from faultnet.jobs.stage import moved, named_move
from faultnet.store.jobs import append, find_job, insert_closing, move_stage
from faultnet.workshop.meanwhile import check_seen
from faultnet.workshop.workshop import Workshop


def name_price(
    workshop: Workshop, number: str, price: float, note: str = "", *, n_seen: int | None = None
) -> tuple[Entry, ...]:
    """Note the price that was named to the customer. UsageProblem: the job is past that."""
    entry = Entry("price", "named", value=f"{price:.2f}", unit=workshop.shop.settings.currency, note=note)
    return _move(workshop, number, "price", entry, n_seen=n_seen)


def answer_price(
    workshop: Workshop, number: str, *, agreed: bool, note: str = "", n_seen: int | None = None
) -> tuple[Entry, ...]:
    """Note what the customer said to it. UsageProblem: no price was named."""
    return _move(workshop, number, "agree" if agreed else "decline", note=note, n_seen=n_seen)


def move(
    workshop: Workshop, number: str, target: str, note: str = "", *, n_seen: int | None = None
) -> tuple[Entry, ...]:
    """Move a job to a stage. UsageProblem: that is not possible from where it is; says what is."""
    with workshop.database.read() as connection:
        job = find_job(connection, number)
    is_fixed = job.closing is not None and job.closing.outcome == "fixed"
    return _move(workshop, number, named_move(job.stage, target, is_fixed=is_fixed), note=note, n_seen=n_seen)


def close(workshop: Workshop, number: str, closing: Closing, *, n_seen: int | None = None) -> tuple[Entry, ...]:
    """Close a job with how it ended. UsageProblem lists all slips."""
    problems: list[str] = []
    for name, known, text in (
        ("OUTCOME", OUTCOMES, closing.outcome),
        ("--verified", VERIFICATIONS, closing.verification),
    ):
        if text not in known:
            problems.append(f"{name} {text}: one of {', '.join(known)}{nearest(text, known)}")
    if problems:
        raise UsageProblem(*problems)
    closing = replace(closing, currency=workshop.shop.settings.currency, at=workshop.clock())
    entry = Entry("stage", f"close_{closing.outcome}", note=closing.note, by=closing.by)
    return _move(workshop, number, entry.name, entry, closing, n_seen=n_seen)


def _move(
    workshop: Workshop,
    number: str,
    name: str,
    entry: Entry | None = None,
    closing: Closing | None = None,
    note: str = "",
    n_seen: int | None = None,
) -> tuple[Entry, ...]:
    with workshop.database.write() as connection:
        job = find_job(connection, number, to_write=True)
        check_seen(job, n_seen)
        stage, now = moved(job.stage, name), workshop.clock()
        entry = entry or Entry("stage", name, note=note)
        written = append(connection, number, [replace(entry, state=stage)], now)
        if closing is not None:
            insert_closing(connection, number, closing)
        move_stage(connection, number, stage, now)
        return written
