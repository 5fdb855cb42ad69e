"""Repaired sets by how long they were home before they were reported back, or until nobody knows any more."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date

from faultnet.counting.ask import History, Source, asked, keep_lookups
from faultnet.counting.columns import Column, Lookup, columns_by
from faultnet.counting.statement import Wanted, check_days, joins
from faultnet.counting.tally import cure_lookup, cured_by
from faultnet.errors import TooLittleData
from faultnet.history.items import parted
from faultnet.jobs.closing import PART_SOURCES
from faultnet.model import Model

REPAIR, SOURCE = "repair", "part_source"
"""What repaired sets can be told apart by, besides the columns that jobs are counted by."""

SEVERAL = "several"


@dataclass(frozen=True)
class Returned:
    """Repaired sets that are alike. values: of what they were told apart by; days: at home, until they were reported
    back, or as long as anybody watched; is_back: whether they were."""

    values: tuple[str, ...]
    days: float
    is_back: bool
    jobs: int


def returns(
    source: Source,
    model: Model,
    by: Sequence[str] = (),
    *,
    watched_days: float,
    any_symptom: bool = False,
    since: str = "",
    before: str = "",
    group_of: Callable[[str], str] = str,
) -> tuple[Returned, ...]:
    """The sets that a repair cured, by days at home.

    by: `repair`, `part_source`, or columns that jobs are counted by. A set is watched for so many days and up to the
    last day of the history; one that comes back with another symptom is no longer watched, unless any symptom counts.
    The rest as of `tally`. TooLittleData: no job with the day on which it was closed.
    """
    check_days(since, before)
    columns = _columns(by, model, group_of)
    with asked(source, model) as history:
        keep_lookups(history, [each.lookup for each in columns if each.lookup])
        last = _last_day(history)
        counts: Counter[tuple[tuple[str, ...], float, bool]] = Counter()
        for row in history.rows(_statement(Wanted(model, since, before, with_returned=False), columns)):
            closed, same, other = (_day(str(cell or "")) for cell in row[-4:-1])
            if closed is None:
                continue
            end = min((last - closed).days, watched_days)
            back = min((day for day in (same, other if any_symptom else None) if day is not None), default=None)
            apart = other if other is not None and not any_symptom and (back is None or other < back) else None
            days = [(each - closed).days for each in (back, apart) if each is not None]
            at_home = min([end, *days])
            is_back = back is not None and apart is None and (back - closed).days <= end
            values = tuple(str(cell or "") for cell in row[: len(columns)])
            counts[values, max(float(at_home), 0.0), is_back] += int(row[-1] or 0)
    if not counts:
        raise TooLittleData(
            f"no job with {model.id} was cured by a repair and closed with its day, so nothing is known of how long "
            "repairs last"
        )
    return tuple(Returned(*key, n) for key, n in sorted(counts.items()))


def _columns(by: Sequence[str], model: Model, group_of: Callable[[str], str]) -> list[Column]:
    found = []
    for name in by:
        if name == REPAIR:
            cure = cure_lookup(model)
            found.append(Column(name, f"COALESCE({cure.name}.said, '')", cure))
        elif name == SOURCE:
            fitted = Lookup("as_source", ("afterwards", "fitted"), lambda cells: _source(model, *cells))
            found.append(Column(name, f"COALESCE({fitted.name}.said, '')", fitted))
        else:
            found += columns_by([name], model, group_of)
    return found


def _source(model: Model, afterwards: str, fitted: str) -> str:
    """Where the parts of the last repair came from; "" where nobody wrote it down."""
    made = cured_by(model, afterwards)
    sources = set()
    for part in parted(fitted):
        repair, _, told = part.partition(":")
        if repair.strip() in made:
            words = (each.strip().partition(" ") for each in parted(told, ","))
            sources |= {value for name, _, value in words if name == "source" and value in PART_SOURCES}
    return SEVERAL if len(sources) > 1 else next(iter(sources), "")


def _statement(wanted: Wanted, columns: Sequence[Column]) -> str:
    days = ["SUBSTR(h.closed, 1, 10)", "SUBSTR(back.same_at, 1, 10)", "SUBSTR(back.other_at, 1, 10)"]
    keys = [*(each.expression for each in columns), *days]
    named = ", ".join(f"{key} AS key_{number}" for number, key in enumerate(keys, start=1))
    places = ", ".join(str(number) for number in range(1, len(keys) + 1))
    return f"""\
SELECT {named}, COUNT(*) AS jobs
FROM history h
LEFT JOIN (SELECT came_from, MIN(CASE WHEN came_with = 'same' THEN opened END) AS same_at,
                  MIN(CASE WHEN came_with <> 'same' THEN opened END) AS other_at
           FROM history WHERE came_from <> '' GROUP BY came_from) back ON back.came_from = h.job
{joins([each.lookup for each in columns if each.lookup])}
WHERE {wanted.where} AND h.outcome = 'fixed'
GROUP BY {places}"""


def _last_day(history: History) -> date:
    last = next(iter(history.rows("SELECT MAX(opened), MAX(closed) FROM history h")))
    days = [day for cell in last if (day := _day(str(cell or "")[:10])) is not None]
    return max(days, default=date.min)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
