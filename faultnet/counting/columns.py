"""The columns that jobs are counted by, besides what they say of the set."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

from faultnet.errors import UsageProblem
from faultnet.history.items import parted
from faultnet.jobs.bands import BANDS
from faultnet.model import Model

NEVER_COMPARED = ("given", "tests")
"""Columns of the relation that may be null where nothing is recorded, as those of the observations may."""


@dataclass(frozen=True)
class Lookup:
    """A relation from what stands in some columns to what is counted; of all that stands there it is told by `said`."""

    name: str
    columns: tuple[str, ...]
    said: Callable[[tuple[str, ...]], str]

    def distinct(self, relation: str) -> str:
        """The query for all that stands there."""
        listed = ", ".join(self.columns)
        return f"SELECT {listed} FROM {relation} GROUP BY {listed}"

    @property
    def join(self) -> str:
        """How it is joined to the history, which is called h."""
        same = " AND ".join(f"{self.name}.{column} = {_told(column)}" for column in self.columns)
        return f"LEFT JOIN {self.name} ON {same}"


def _told(column: str) -> str:
    return f"COALESCE(h.{column}, '')" if column in NEVER_COMPARED else f"h.{column}"


@dataclass(frozen=True)
class Column:
    """A column to count by: its name, and what it is in the query."""

    name: str
    expression: str
    lookup: Lookup | None = None


PLAIN_BY: Mapping[str, str] = {
    "day": "SUBSTR(h.opened, 1, 10)",
    "month": "SUBSTR(h.opened, 1, 7)",
    "year": "SUBSTR(h.opened, 1, 4)",
    "panel": "h.panel",
    "board": "h.board",
    "technician": "h.opened_by",
    "outcome": "h.outcome",
    "verification": "h.verification",
}
"""Those that need no looking up."""


def names_of_columns(model: Model) -> tuple[str, ...]:
    """All that jobs can be counted by."""
    return ("panel_group", "age", "size", *PLAIN_BY, *model.conditions)


def columns_by(names: Iterable[str], model: Model, group_of: Callable[[str], str]) -> tuple[Column, ...]:
    """The columns of these names. group_of: the panel group of a panel code. UsageProblem: there is no such column."""
    known = names_of_columns(model)
    wrong = [name for name in names if name not in known]
    if wrong:
        raise UsageProblem(*(f"jobs are not counted by {name}; possible are {', '.join(known)}" for name in wrong))
    return tuple(_column(name, model, group_of) for name in names)


def _column(name: str, model: Model, group_of: Callable[[str], str]) -> Column:
    if name in PLAIN_BY:
        return Column(name, PLAIN_BY[name])
    if name == "panel_group":
        return _looked_up(name, ("panel",), lambda cells: group_of(cells[0]))
    if name in BANDS:
        return _looked_up(name, ({"size": "inches"}.get(name, name),), lambda cells: BANDS[name](cells[0]))
    return _looked_up(name, ("given", "age"), lambda cells: state_noted(model, name, *cells))


def _looked_up(name: str, columns: tuple[str, ...], said: Callable[[tuple[str, ...]], str]) -> Column:
    lookup = Lookup(f"by_{name}", columns, said)
    return Column(name, f"COALESCE({lookup.name}.said, '')", lookup)


def state_noted(model: Model, condition: str, given: str, age: str) -> str:
    """The state of a condition that was noted of a set, or that follows from its age; "" where neither says it."""
    known = dict(each.partition("=")[::2] for each in parted(given))
    if condition in known:
        return known[condition]
    try:
        return model.conditions[condition].state_at_age(float(age))
    except ValueError:
        return ""
