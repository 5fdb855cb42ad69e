"""A history that can be asked, wherever it lies."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Protocol

from faultnet.counting.columns import Lookup
from faultnet.model import Model
from faultnet.store.database import Database

Source = Database | Path | str | Sequence[Path | str]
"""A shop's open database, or one or more Parquet or CSV files with the columns of `history export`; `*` stands for
several."""


class History(Protocol):
    """Where a history can be asked: a relation `history`, and room for further ones."""

    def rows(self, query: str) -> Iterator[Sequence[str | int | None]]:
        """The rows of an answer, a batch at a time."""
        ...

    def keep(self, lookup: Lookup, rows: Iterable[tuple[str, ...]]) -> None:
        """Make the relation of a lookup: its columns, and `said`."""
        ...

    def drawn(self, where: str, most_jobs: int) -> str:
        """The name of a relation of about so many of the jobs that fit a condition; of all where these are fewer."""
        ...


def asked(source: Source, model: Model) -> AbstractContextManager[History]:
    """The history in a source. UsageProblem, FileProblem, StoreProblem: as they say."""
    if isinstance(source, Database):
        from faultnet.counting.database import asked_database

        return asked_database(source, model)
    from faultnet.counting.files import asked_files

    return asked_files([source] if isinstance(source, Path | str) else source, model)


def keep_lookups(history: History, lookups: Iterable[Lookup], relation: str = "history") -> None:
    """Make the relations of lookups, of all that stands in their columns."""
    for lookup in lookups:
        there = (tuple(str(cell or "") for cell in row) for row in history.rows(lookup.distinct(relation)))
        history.keep(lookup, [(*cells, lookup.said(cells)) for cells in list(there)])


def models_in(source: Source) -> dict[str, int] | None:
    """How many jobs that ended each model has, by its id; None where no column says it."""
    if isinstance(source, Database):
        from faultnet.counting.database import models_in_database

        return models_in_database(source)
    from faultnet.counting.files import models_in_files

    return models_in_files([source] if isinstance(source, Path | str) else source)
