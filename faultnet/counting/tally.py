"""Jobs counted by how they ended, by what cured the set, and by other columns: labels, as they were written down."""

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from faultnet.counting.ask import Source, asked, keep_lookups
from faultnet.counting.columns import Column, Lookup, columns_by
from faultnet.counting.statement import DATED, Wanted, check_days, joins
from faultnet.history.items import parted
from faultnet.model import Model


@dataclass(frozen=True)
class Tallied:
    """Jobs that are alike. cure: the repairs after which the set worked, none where it never did; values: of the
    columns counted by, "" where nothing was written down; first, last: days on which they came in, or "".
    """

    outcome: str
    verification: str
    cure: tuple[str, ...]
    values: tuple[str, ...]
    jobs: int
    first: str
    last: str


def tally(
    source: Source,
    model: Model,
    by: Sequence[str] = (),
    *,
    since: str = "",
    before: str = "",
    group_of: Callable[[str], str] = str,
    with_returned: bool = False,
) -> tuple[Tallied, ...]:
    """The jobs of a history that ended, counted.

    by: columns (`columns.names_of_columns`); since, before: only jobs that came in from this day on, and before that
    one; group_of: the panel group of a panel code. with_returned: those of sets that came back with the same complaint
    as well. UsageProblem, FileProblem, StoreProblem: as they say.
    """
    check_days(since, before)
    columns = columns_by(by, model, group_of)
    with asked(source, model) as history:
        cure = cure_lookup(model)
        keep_lookups(history, [cure, *(column.lookup for column in columns if column.lookup)])
        return tuple(
            Tallied(str(row[0]), str(row[1]), tuple(filter(None, str(row[2]).split("+"))),
                    tuple(str(each or "") for each in row[3:-3]), int(row[-1] or 0),
                    *(str(day or "") for day in row[-3:-1]))
            for row in history.rows(_statement(Wanted(model, since, before, with_returned), cure, columns))
        )  # fmt: skip


def count_jobs(source: Source, model: Model, by: Sequence[str]) -> dict[tuple[str, ...], int]:
    """How many jobs of a history ended, by the values of columns; those of sets that came back as well."""
    counts: Counter[tuple[str, ...]] = Counter()
    for each in tally(source, model, by, with_returned=True):
        counts[each.values] += each.jobs
    return dict(counts)


def days_of(counts: Iterable[Tallied]) -> tuple[str, str]:
    """The days on which the first and the last of these jobs came in; "" where no day was written down."""
    told = [each for each in counts if each.first]
    return min((each.first for each in told), default=""), max((each.last for each in told), default="")


_DAY = "SUBSTR(h.opened, 1, 10)"


def _statement(wanted: Wanted, cure: Lookup, columns: Sequence[Column]) -> str:
    keys = ["h.outcome", "h.verification", f"COALESCE({cure.name}.said, '')", *(each.expression for each in columns)]
    named = ", ".join(f"{key} AS key_{number}" for number, key in enumerate(keys, start=1))
    places = ", ".join(str(number) for number in range(1, len(keys) + 1))
    return f"""\
SELECT {named},
       MIN(CASE WHEN {DATED} THEN {_DAY} END) AS first_day, MAX(CASE WHEN {DATED} THEN {_DAY} END) AS last_day,
       COUNT(*) AS jobs
FROM history h
{joins([cure, *(each.lookup for each in columns if each.lookup)])}
WHERE {wanted.where}
GROUP BY {places}
ORDER BY {places}"""


def cure_lookup(model: Model) -> Lookup:
    """What cured the set, from what was done: the repairs of the last entry after which it worked, joined by +."""
    return Lookup("as_cure", ("afterwards",), lambda cells: "+".join(cured_by(model, cells[0])))


def cured_by(model: Model, afterwards: str) -> tuple[str, ...]:
    """The repairs after which the set worked, from what was done, as it is kept; none where it did not."""
    for item in reversed(parted(afterwards)):
        name, _, state = item.partition("=")
        repairs = tuple(name.split("+"))
        if all(repair in model.repairs for repair in repairs):
            return tuple(sorted(repairs)) if state == "works" else ()
    return ()
