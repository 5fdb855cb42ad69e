"""The SQL by which a history is counted: the same text for SQLite, PostgreSQL, DuckDB and Spark.

It asks one relation, `history`, with a row for every job and text in every column: "" where nothing is recorded, or
null in columns that nothing is compared with, which ten million rows are grouped by faster. For every column whose
cells are rounded first there is a relation of what stands there and what it is rounded to. No identifier is a reserved
word anywhere, so nothing needs quotation marks, which are not the same everywhere.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from faultnet.errors import UsageProblem
from faultnet.model import Model
from faultnet.patterns.row import FIXED

PLAIN = {
    "job": "job",
    "model": "model",
    "opened": "opened",
    "opened_by": "opened_by",
    "after": "came_from",
    "comeback": "came_with",
    "panel": "panel",
    "board": "board",
    "size": "inches",
    "age": "age",
    "nominal": "nominal",
    "leds": "leds",
    "given": "given",
    "tests": "tests",
    "then": "afterwards",
    "outcome": "outcome",
    "verification": "verification",
    "stage": "stage",
}
"""Columns of a history as it is exported, and their names in the relation."""

NEVER_COMPARED = ("given", "tests")
"""Columns of it that may be null where nothing is recorded, as those of the observations may."""

BY = {
    "panel_group": "COALESCE(as_panel_group.said, '')",
    "day": "SUBSTR(h.opened, 1, 10)",
    "month": "SUBSTR(h.opened, 1, 7)",
    "year": "SUBSTR(h.opened, 1, 4)",
    **{name: f"h.{PLAIN[name]}" for name in ("panel", "board", "size", "age", "opened_by")},
}
"""What jobs may be counted by, besides what they say."""


@dataclass(frozen=True)
class Lookup:
    """A relation from what stands in some columns to what is counted; of all that stands there it is told by `said`."""

    name: str
    columns: tuple[str, ...]
    said: Callable[[tuple[str, ...]], str]

    @property
    def distinct(self) -> str:
        """The query for all that stands there."""
        listed = ", ".join(self.columns)
        return f"SELECT {listed} FROM history GROUP BY {listed}"

    @property
    def join(self) -> str:
        """How it is joined to the history."""
        same = " AND ".join(f"{self.name}.{column} = h.{column}" for column in self.columns)
        return f"LEFT JOIN {self.name} ON {same}"


def seen_column(observation: str) -> str:
    """The column of an observation in the relation."""
    return f"seen_{observation}"


def columns_of(model: Model) -> dict[str, str]:
    """Every column of the relation by the name that the exported history has for it."""
    return {**PLAIN, **{observation: seen_column(observation) for observation in model.visible}}


def check(by: Sequence[str], *days: str) -> None:
    """UsageProblem: jobs cannot be counted by one of these columns, or one of these is no day."""
    problems = [f"jobs are not counted by {name}; possible are {', '.join(BY)}" for name in by if name not in BY]
    problems += [f"{day}: write a day as 2031-05-17" for day in days if day and not _DAY.fullmatch(day)]
    if problems:
        raise UsageProblem(*problems)


_DAY = re.compile(r"\d{4}-\d\d-\d\d")


RETURNED = "h.came_from <> '' AND h.came_with = 'same'"
"""A set that came back with the same complaint: no case of its own, but doubt about the first (common practice)."""


def returned(model: Model, before: str = "", since: str = "") -> str:
    """The query for how many jobs that ended are of sets that came back with the same complaint."""
    return f"SELECT COUNT(*) AS jobs\nFROM history h\nWHERE {_ended(model, before, since)} AND {RETURNED}"


def totals(model: Model, by: Sequence[str]) -> str:
    """The query for how many jobs ended, by columns of `BY` that need no lookup; their values, then the count."""
    columns = ", ".join(BY[name] for name in by)
    places = ", ".join(str(number) for number in range(1, len(by) + 1))
    return f"SELECT {columns}, COUNT(*) AS jobs\nFROM history h\nWHERE {_ended(model)}\nGROUP BY {places}"


def _ended(model: Model, before: str = "", since: str = "") -> str:
    earlier = f" AND h.opened < '{before}'" if before else ""
    later = f" AND h.opened >= '{since}'" if since else ""
    return f"h.model = '{model.id}' AND h.outcome <> ''{earlier}{later}"


def statement(
    model: Model,
    lookups: Sequence[Lookup],
    by: Sequence[str],
    before: str = "",
    with_returned: bool = True,
    since: str = "",
) -> str:
    """The query that groups the jobs that ended; its columns are those of `faultnet.patterns.row` and the count.

    before, since: only jobs that came in before this day, `2031-05-17`, or from it on. with_returned: those of sets
    that came back with the same complaint as well.
    """
    looked_up = {column: f"COALESCE({each.name}.said, '')" for each in lookups for column in each.columns[:1]}

    def cell(column: str) -> str:
        return looked_up.get(column, f"h.{column}")

    ending = {
        "outcome": "h.outcome",
        "verification": "h.verification",
        "came_back": "CASE WHEN h.outcome <> 'fixed' THEN '' WHEN back.came_with IS NOT NULL THEN back.came_with "
        "WHEN h.stage = 'done' THEN 'no' ELSE 'open' END",
        "was_repaired": "CASE WHEN mended.job IS NULL THEN '' ELSE 'yes' END",
        **{name: cell(name) for name in ("given", "age", "nominal", "tests")},
    }
    keys = [
        *(ending[name] for name in FIXED),
        *(cell(seen_column(observation)) for observation in model.visible),
        cell("afterwards"),
        *(BY[name] for name in by),
    ]
    named = ",\n       ".join(f"{key} AS key_{number}" for number, key in enumerate(keys, start=1))
    places = ", ".join(str(number) for number in range(1, len(keys) + 1))
    first_only = "" if with_returned else f" AND NOT ({RETURNED})"
    return f"""\
SELECT {named},
       COUNT(*) AS jobs
FROM history h
LEFT JOIN (SELECT came_from, MAX(came_with) AS came_with FROM history WHERE came_from <> '' GROUP BY came_from) back
       ON back.came_from = h.job
LEFT JOIN (SELECT c.job FROM history c JOIN history f ON c.came_from = f.job
           WHERE c.came_from <> '' AND f.afterwards <> '' GROUP BY c.job) mended
       ON mended.job = h.job
{chr(10).join(each.join for each in lookups)}
WHERE {_ended(model, before, since)}{first_only}
GROUP BY {places}"""
