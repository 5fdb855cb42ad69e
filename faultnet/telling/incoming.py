"""What a table of past jobs holds, told before and after it is taken in; and the batches that came in."""

from collections.abc import Iterator, Mapping
from typing import Any

from faultnet.history.mapping import IGNORED, KEPT_AS_NOTE, Use, as_data
from faultnet.store.bulk import Batch
from faultnet.telling.block import Block, Line, Table, points
from faultnet.workshop.importing import Rejected, Report, Source

MOST_SHOWN = 10

MOST_KEPT = 20_000
"""Rows that cannot be taken, as they are kept for whoever mends them."""

HOW = {"told": "as told", "exact": "by its name", "synonym": "also called so", "nearest": "guessed"}
"""Why a column was taken for what it is."""

UNMATCHED = "nothing of ours was found for it, the most frequent first"

ROW, WHY = "row", "why"
"""Columns beside those of the table, in the file of rows that cannot be taken."""


def found_blocks(report: Report) -> Iterator[Block]:
    """What a table holds: its columns, its rows, and what is kept as notes."""
    ours = sum(use.how == "exact" for use in report.uses)
    rows = tuple((use.column, use_words(use), HOW[use.how]) for use in report.uses if use.how != "exact")
    yield Block(lines=points(report.notes, level=0))
    yield Block(
        "Columns",
        lines=(Line(f"{ours} by the names of our own columns"),) if ours else (),
        table=Table(rows, aligned="lll", folds=True) if rows else None,
        is_close=True,
    )
    counted = Table(tuple((str(n), what) for n, what in row_counts(report)), aligned="rl")
    rejected = (f"row {each.number}: {why(each)}" for each in report.rejected[:MOST_SHOWN])
    yield Block("Rows", table=counted, beneath=points(rejected))
    if report.unmatched:
        shown = report.unmatched.most_common(MOST_SHOWN)
        texts = tuple((str(n), f"{column}: {text}") for (column, text), n in shown)
        yield Block("Kept as notes", UNMATCHED, table=Table(texts, aligned="rl", folds=True))


def use_words(use: Use) -> str:
    """What a column is taken for."""
    return "kept as a note" if use.is_ == KEPT_AS_NOTE else "left out" if use.is_ == IGNORED else use.is_


def row_counts(report: Report) -> tuple[tuple[int, str], ...]:
    """How many rows there are of each sort; of some sorts also that there are none."""
    counts = (
        (report.n_rows, "rows"),
        (report.n_jobs, "jobs to take in"),
        (report.n_joined, "rows that belong to a job of another row"),
        (report.n_known, "there already, or twice in the file"),
        (report.n_corrected, "take the place of jobs that came in before"),
        (report.n_rejected, "cannot be taken"),
    )
    return tuple((n, what) for n, what in counts if n or what in ("rows", "jobs to take in"))


def why(rejected: Rejected) -> str:
    """Why a row cannot be taken."""
    return "; ".join(rejected.problems)


def found_json(report: Report) -> dict[str, Any]:
    """All of it as plain values, for JSON."""
    return {
        "schema_version": 1,
        "columns": as_data(report.uses)["columns"],
        "rows": report.n_rows,
        "jobs": report.n_jobs,
        "joined": report.n_joined,
        "known": report.n_known,
        "corrected": report.n_corrected,
        "rejected": [{"row": each.number, "problems": list(each.problems)} for each in report.rejected],
        "unmatched": [{"column": c, "text": t, "times": n} for (c, t), n in report.unmatched.most_common()],
        "batch": report.batch,
    }


def kept_json(report: Report, source: Source) -> dict[str, Any]:
    """All that is shown of a table later on, as plain values; of the rows that cannot be taken the first ones."""
    kept = report.rejected[:MOST_KEPT]
    return {
        **found_json(report),
        "model": source.model.id,
        "notes": list(report.notes),
        "uses": [{"column": use.column, "is": use.is_, "how": use.how} for use in report.uses],
        "counts": [list(count) for count in row_counts(report)],
        "n_rejected": report.n_rejected,
        "rejected": [{"row": each.number, "problems": list(each.problems), "cells": list(each.cells)} for each in kept],
        "unmatched": [{"column": c, "text": t, "times": n} for (c, t), n in report.unmatched.most_common(MOST_SHOWN)],
    }


def rejected_columns(report: Report) -> tuple[str, ...]:
    """The columns of a file of the rows that cannot be taken."""
    return (ROW, *report.columns, WHY)


def rejected_rows(report: Report) -> Iterator[Mapping[str, str]]:
    """Rows that cannot be taken as they stood, with their numbers and the reasons."""
    for each in report.rejected:
        yield {ROW: str(each.number), **dict(zip(report.columns, each.cells, strict=False)), WHY: why(each)}


def batches_json(found: tuple[Batch, ...]) -> dict[str, Any]:
    """The batches that came in as plain values, for JSON."""
    told = [
        {"batch": b.number, "file": b.file, "jobs": b.n_jobs, "at": b.at.isoformat(), "in": b.undone_at is None}
        for b in found
    ]
    return {"batches": told}
