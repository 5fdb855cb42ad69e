"""Counting a history's patterns of evidence."""

import gc
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from faultnet.counting.statement import Lookup, check, returned, seen_column, statement, totals
from faultnet.errors import UsageProblem
from faultnet.model import Model
from faultnet.patterns import Patterns
from faultnet.patterns.coarse import USUAL_A_DECADE, coarse_nominal
from faultnet.patterns.fold import Fold
from faultnet.patterns.pattern import LeftOut
from faultnet.patterns.row import UNREADABLE, Cells
from faultnet.readings import Nominal
from faultnet.shop.nominal import NominalTyped, known_nominal
from faultnet.shop.voltages import Entry
from faultnet.store.database import Database

MOST_A_DECADE = 192
LEAST_HALF_LIFE_MONTHS = 0.5

CAME_BACK = "sets that came back with the same complaint: doubt about the first job, no case of their own"


class History(Protocol):
    """Where a history can be asked: a relation `history`, and room for further ones."""

    def rows(self, query: str) -> Iterator[Sequence[str | int | None]]:
        """The rows of an answer, a batch at a time."""
        ...

    def keep(self, lookup: Lookup, rows: Iterable[tuple[str, ...]]) -> None:
        """Make the relation of a lookup: its columns, and `said`."""
        ...


Source = Database | Path | str | Sequence[Path | str]
"""A shop's open database, or one or more files of past jobs."""


def count_patterns(
    source: Source,
    model: Model,
    *,
    by: Sequence[str] = (),
    before: str = "",
    since: str = "",
    voltages: Collection[Entry] = (),
    group_of: Callable[[str], str] = str,
    a_decade: int = USUAL_A_DECADE,
    half_life_months: float = 0.0,
    with_returned: bool = True,
) -> Patterns:
    """The jobs of a history that ended, as patterns of evidence with their counts.

    source: a shop's open database, or one or more Parquet or CSV files with the columns of `history export`, in which
    `*` may stand for several. by: further columns to count by (`statement.BY`); before, since: only jobs that came in
    before this day, or from it on. voltages: the shop's list, for sets whose label nobody noted; group_of: the panel
    group of a panel code, itself if none is said. a_decade: to how many preferred numbers a decade volts are rounded
    (24 to 192), 0 for not. half_life_months: jobs that came in so long before the last one count for half; 0: all count
    the same.
    with_returned: whether jobs count of sets that came back with the same complaint, which are no cases of their own.

    What nobody can read is in `left_out`, with the reason. UsageProblem, FileProblem, StoreProblem: as they say.
    """
    check(by, before, since)
    if a_decade and not 24 <= a_decade <= MOST_A_DECADE:
        raise UsageProblem(f"volts are rounded to 24 to {MOST_A_DECADE} numbers a decade, or 0 for not at all")
    if half_life_months and not half_life_months >= LEAST_HALF_LIFE_MONTHS:
        raise UsageProblem(
            f"a half-life of {half_life_months:g} months: at least {LEAST_HALF_LIFE_MONTHS:g}, or 0 for jobs that all "
            "count the same"
        )
    with _asked(source, model) as history, _without_collection():
        return count(
            history, model, by=by, before=before, since=since, voltages=voltages, group_of=group_of, a_decade=a_decade,
            half_life_months=half_life_months, with_returned=with_returned,
        )  # fmt: skip


def count_jobs(source: Source, model: Model, by: Sequence[str]) -> dict[tuple[str, ...], int]:
    """How many jobs of a history ended, by columns of `statement.BY` other than the panel group: by their values."""
    check(by)
    with _asked(source, model) as history:
        return {
            tuple(str(value or "") for value in row[:-1]): int(row[-1] or 0) for row in history.rows(totals(model, by))
        }


def _asked(source: Source, model: Model) -> AbstractContextManager[History]:
    """A history where it can be asked."""
    if isinstance(source, Database):
        from faultnet.counting.database import asked_database

        return asked_database(source, model)
    from faultnet.counting.files import asked_files

    return asked_files([source] if isinstance(source, Path | str) else source, model)


def count(
    history: History,
    model: Model,
    *,
    by: Sequence[str],
    before: str,
    voltages: Collection[Entry],
    group_of: Callable[[str], str],
    a_decade: int,
    half_life_months: float = 0.0,
    with_returned: bool = True,
    since: str = "",
) -> Patterns:
    """The same, of a history wherever it can be asked."""
    nominals: dict[str, Nominal | None] = {"": None}
    lookups = [*_lookups(model, a_decade, _number_nominal(voltages, a_decade, nominals))]
    if "panel_group" in by:
        lookups.append(Lookup("as_panel_group", ("panel",), lambda panel: group_of(panel[0])))
    for lookup in lookups:
        asked = (tuple(str(cell or "") for cell in row) for row in history.rows(lookup.distinct))
        history.keep(lookup, [(*cells, lookup.said(cells)) for cells in list(asked)])
    fold = Fold(model, a_decade, tuple(by), nominals, half_life_months)
    asked_by = (*by, "month") if half_life_months else by
    fold.add(history.rows(statement(model, lookups, asked_by, before, with_returned, since)))
    patterns = fold.patterns()
    if with_returned or not (n_returned := int(next(iter(history.rows(returned(model, before, since))))[0] or 0)):
        return patterns
    return replace(patterns, left_out=(*patterns.left_out, LeftOut(CAME_BACK, n_returned)))


@contextmanager
def _without_collection() -> Iterator[None]:
    """Millions of small values are made here, and no cycles among them: looking for those would take a fifth longer."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _lookups(model: Model, a_decade: int, nominal: Callable[[tuple[str, ...]], str]) -> Iterator[Lookup]:
    """What is rounded before it is counted: volts, what follows a repair, ages, and what is known of nominals."""
    cells = Cells(model, a_decade)
    if a_decade:
        for observation in model.visible.values():
            if observation.reading is not None:
                column, name = seen_column(observation.id), observation.id
                yield Lookup(f"as_{name}", (column,), lambda text, name=name: cells.rounded(name, text[0]))  # type: ignore[misc]
        yield Lookup("as_afterwards", ("afterwards",), lambda text: cells.rounded("then", text[0]))
    yield Lookup("as_age", ("age",), lambda text: cells.by_age(text[0]))
    yield Lookup("as_nominal", ("nominal", "leds", "panel", "board"), nominal)


def _number_nominal(
    voltages: Collection[Entry], a_decade: int, nominals: dict[str, Nominal | None]
) -> Callable[[tuple[str, ...]], str]:
    """A function from what was noted of a set's voltages to the number of its nominal, which it adds to `nominals`."""
    numbers: dict[Nominal | None, str] = {None: ""}

    def number(noted: tuple[str, ...]) -> str:
        volts, leds, panel, board = noted
        try:
            typed = NominalTyped(float(volts) if volts else None, "" if volts else leds, panel, board)
            known = known_nominal(typed, lambda: voltages).nominal
        except ValueError:
            return f"{UNREADABLE}nominal: {volts} is no number of volts"
        except UsageProblem as error:
            return UNREADABLE + "; ".join(error.problems)
        rounded = coarse_nominal(known, a_decade)
        text = numbers.setdefault(rounded, str(len(numbers)))
        nominals[text] = rounded
        return text

    return number
