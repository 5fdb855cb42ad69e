"""A table that was handed in, as it was looked through."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from faultnet.history.mapping import IGNORED, KEPT_AS_NOTE, REPAIRS
from faultnet.history.row import AFTER, BEFORE
from faultnet.jobs.facts import FACTS
from faultnet.model import Model
from faultnet.store.reports import Report
from faultnet.telling.incoming import HOW, MOST_SHOWN

MOST_COLUMNS = 300
"""Columns whose use can be changed on the page; a form has no more fields."""

DAYS: Mapping[str, str] = {
    "": "2031-05-17 or 17.05.2031",
    "%d/%m/%Y": "17/05/2031, the day first",
    "%m/%d/%Y": "05/17/2031, the month first",
    "%d-%m-%Y": "17-05-2031",
    "%Y/%m/%d": "2031/05/17",
    "%d.%m.%y": "17.05.31",
    "%d/%m/%y": "17/05/31, the day first",
    "%m/%d/%y": "05/17/31, the month first",
}
"""How days may be written."""

ENCODINGS: Mapping[str, str] = {
    "": "found out by itself",
    "utf-8": "UTF-8",
    "cp1252": "Windows, western Europe (cp1252)",
    "cp1250": "Windows, central Europe (cp1250)",
    "cp1251": "Windows, Cyrillic (cp1251)",
    "utf-16": "UTF-16",
    "mac_roman": "Mac, older (mac_roman)",
}
DELIMITERS: Mapping[str, str] = {
    "": "found out by itself", ",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars",
}  # fmt: skip

_FREE: Mapping[str, str] = {
    IGNORED: "left out",
    KEPT_AS_NOTE: "kept as a note",
    REPAIRS: "repairs, as people write them",
}
_OURS: Mapping[str, str] = {
    "job": "number of the job",
    "model": "model",
    "opened": "day it came in",
    "opened_by": "who took it in",
    "after": "job it came back from",
    "comeback": "what it came back with",
    "given": "what is known beforehand",
    "tests": "order of the tests",
    "then": "what came from the first repair on",
    "skipped": "tests that were skipped",
    "parts": "parts that went in",
    "outcome": "how it ended",
    "verification": "how sure the cause was",
    "hours_on_test": "hours on test",
    "minutes": "minutes at the bench",
    "parts_cost": "what parts cost",
    "price": "what was paid",
    "currency": "currency",
    "closed": "day it was closed",
    "closed_by": "who closed it",
    "stage": "stage",
    "stage_since": "stage since",
    "notes_at_end": "note at the end",
}

NOT_FOUND = "nothing of ours is called like it"

_SAID = (
    ("; say how days are written with --days, such as %d/%m/%Y", "; say how days are written in this table"),
    ("--model: say which model the jobs are about, such as --model backlight", "say which model the jobs are about"),
    ("name it with --encoding", "say which encoding it is"),
    ("name the right one with --encoding, such as cp1252", "say which encoding it is"),
    (" (name one with --sheet)", ""),
    ("--sheet ", "sheet "),
    ("--encoding ", "encoding "),
    ("%d", "day"),
    ("%m", "month"),
    ("%Y", "year"),
    ("%y", "year"),
)
"""What is said otherwise here than at a command line."""


@dataclass(frozen=True)
class Column:
    """A column: its number, what it was taken for (an id, and in words) and why; exact: by the name of one of ours."""

    number: int
    name: str
    is_: str
    words: str
    how: str
    is_exact: bool


@dataclass(frozen=True)
class RejectedRow:
    """A row that cannot be taken, and why."""

    number: int
    why: str


@dataclass(frozen=True)
class Found:
    """What a table holds. counts: of rows, with words. n_more: rows that cannot be taken besides those told."""

    model: str
    n_jobs: int
    n_rejected: int
    batch: int | None
    notes: tuple[str, ...]
    counts: tuple[tuple[int, str], ...]
    rejected: tuple[RejectedRow, ...]
    columns: tuple[Column, ...]
    unmatched: tuple[tuple[int, str], ...]

    @property
    def n_more(self) -> int:
        return self.n_rejected - len(self.rejected)


Choices = Mapping[str, Mapping[str, str]]
"""What a column can be, by heading: ids with words."""


def choices_for(model: Model) -> Choices:
    """Everything that a column of a table about this model's jobs can be."""
    about = {name: _OURS.get(name) or FACTS[name].means for name in (*BEFORE, *AFTER) if name not in _FREE}
    tests = {seen.id: seen.label for seen in model.visible.values()}
    return {"None of ours": _FREE, "The job and the set": about, "What a test showed": tests}


def found_in(report: Report, choices: Choices) -> Found:
    """What came of looking through a table; something must have."""
    assert report.document is not None
    told: Mapping[str, Any] = report.document["json"]
    words = {name: said for some in choices.values() for name, said in some.items()}
    return Found(
        model=told["model"],
        n_jobs=told["jobs"],
        n_rejected=told["n_rejected"],
        batch=told["batch"],
        notes=tuple(as_said(note) for note in told["notes"]),
        counts=tuple((n, what) for n, what in told["counts"]),
        rejected=tuple(
            RejectedRow(each["row"], as_said("; ".join(each["problems"]))) for each in told["rejected"][:MOST_SHOWN]
        ),
        columns=tuple(_column(number, use, words) for number, use in enumerate(told["uses"])),
        unmatched=tuple((each["times"], f"{each['column']}: {each['text']}") for each in told["unmatched"]),
    )


def as_said(problem: str) -> str:
    """What is wrong, where no command is typed."""
    for option, said in _SAID:
        problem = problem.replace(option, said)
    return problem


def rejected_table(report: Report) -> tuple[tuple[str, ...], list[Sequence[str]]]:
    """Heading and rows of what cannot be taken: as it stood, with the number of the row and why."""
    told: Mapping[str, Any] = {"uses": [], "rejected": []} if report.document is None else report.document["json"]
    heading = ("row", *(use["column"] for use in told["uses"]), "why")
    n_cells = len(heading) - 2
    rows = [
        (str(each["row"]), *(each["cells"] + [""] * n_cells)[:n_cells], as_said("; ".join(each["problems"])))
        for each in told["rejected"]
    ]
    return heading, [*rows]


def _column(number: int, use: Mapping[str, str], words: Mapping[str, str]) -> Column:
    is_, how = use["is"], use["how"]
    why = NOT_FOUND if (how, is_) == ("nearest", KEPT_AS_NOTE) else HOW[how]
    return Column(number, use["column"], is_, words.get(is_, is_), why, how == "exact")
