"""The SQL by which a history is counted: the same text for SQLite, PostgreSQL, DuckDB and Spark.

It asks one relation, `history`, with a row for every job and text in every column: "" where nothing is recorded, or
null in columns that nothing is compared with, which ten million rows are grouped by faster. For every column whose
cells are rounded first there is a relation of what stands there and what it is rounded to. No identifier is a reserved
word anywhere, so nothing needs quotation marks, which are not the same everywhere.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from faultnet.counting.columns import Column, Lookup
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
    "closed": "closed",
    "parts": "fitted",
}
"""Columns of a history as it is exported, and their names in the relation."""


def seen_column(observation: str) -> str:
    """The column of an observation in the relation."""
    return f"seen_{observation}"


def columns_of(model: Model) -> dict[str, str]:
    """Every column of the relation by the name that the exported history has for it."""
    return {**PLAIN, **{observation: seen_column(observation) for observation in model.visible}}


def check_days(since: str = "", before: str = "") -> None:
    """UsageProblem: one of these is no day, or no day lies between them."""
    problems = [f"{day}: write a day as 2031-05-17" for day in (since, before) if day and not is_day(day)]
    if not problems and since and before and since >= before:
        problems.append(f"no day lies from {since} on and before {before}")
    if problems:
        raise UsageProblem(*problems)


def is_day(text: str) -> bool:
    """Whether a text is a day, written `2031-05-17`."""
    try:
        return len(text) == _DAY_LENGTH and bool(date.fromisoformat(text))
    except ValueError:
        return False


_DAY_LENGTH = 10
DATED = "SUBSTR(h.opened, 1, 10) LIKE '____-__-__'"
"""A job whose day can be compared with others; without a per cent sign, which a driver may take for its own."""


RETURNED = "h.came_from <> '' AND h.came_with = 'same'"
"""A set that came back with the same complaint: no case of its own, but doubt about the first (common practice)."""


@dataclass(frozen=True)
class Wanted:
    """Which jobs count: those that ended, came in from one day on (`2031-05-17`) and before another, in a relation of
    jobs (`history`, or some of it). with_returned: those of sets that came back with the same complaint as well."""

    model: Model
    since: str = ""
    before: str = ""
    with_returned: bool = True
    relation: str = "history"

    @property
    def where(self) -> str:
        """The condition in the query."""
        first_only = "" if self.with_returned else f" AND NOT ({RETURNED})"
        return ended(self.model, self.since, self.before) + first_only


def returned(wanted: Wanted) -> str:
    """The query for how many of these jobs are of sets that came back with the same complaint."""
    where = ended(wanted.model, wanted.since, wanted.before)
    return f"SELECT COUNT(*) AS jobs\nFROM {wanted.relation} h\nWHERE {where} AND {RETURNED}"


def ended(model: Model, since: str = "", before: str = "") -> str:
    """The condition that a job ended, and came in from one day on and before another; then only those with a day."""
    days = [f" AND h.opened {mark} '{day}'" for mark, day in ((">=", since), ("<", before)) if day]
    days += [f" AND {DATED}"] if days else []
    return f"h.model = '{model.id}' AND h.outcome <> ''{''.join(days)}"


def statement(wanted: Wanted, lookups: Sequence[Lookup], by: Sequence[Column] = ()) -> str:
    """The query that groups the jobs; its columns are those of `faultnet.patterns.row` and the count."""
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
        *(cell(seen_column(observation)) for observation in wanted.model.visible),
        cell("afterwards"),
        *(column.expression for column in by),
    ]
    named = ",\n       ".join(f"{key} AS key_{number}" for number, key in enumerate(keys, start=1))
    places = ", ".join(str(number) for number in range(1, len(keys) + 1))
    return f"""\
SELECT {named},
       COUNT(*) AS jobs
FROM {wanted.relation} h
LEFT JOIN (SELECT came_from, MAX(came_with) AS came_with FROM history WHERE came_from <> '' GROUP BY came_from) back
       ON back.came_from = h.job
LEFT JOIN (SELECT c.job FROM history c JOIN history f ON c.came_from = f.job
           WHERE c.came_from <> '' AND f.afterwards <> '' GROUP BY c.job) mended
       ON mended.job = h.job
{joins([*lookups, *(column.lookup for column in by if column.lookup)])}
WHERE {wanted.where}
GROUP BY {places}"""


def joins(lookups: Sequence[Lookup]) -> str:
    """Lookups, joined to the history."""
    return "\n".join(each.join for each in lookups)
