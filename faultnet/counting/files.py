"""A history in Parquet or CSV files, asked in DuckDB, however large they are."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from faultnet.counting.columns import NEVER_COMPARED, Lookup
from faultnet.counting.statement import columns_of
from faultnet.errors import FileProblem, UsageProblem
from faultnet.model import Model
from faultnet.sheets.read import read_table
from faultnet.sheets.write import quoted

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

MEMORY_LIMIT = "700MB"
"""What DuckDB may hold in memory; beyond that it writes to disk."""

_AT_ONCE = 10_000


@dataclass(frozen=True, eq=False)
class Files:
    """A history in files, as `count` asks it. numbered: a query of it with the number of each row in its file, which
    only Parquet has; "" where there is none."""

    database: "DuckDBPyConnection"
    numbered: str = ""

    def rows(self, query: str) -> Iterator[Sequence[Any]]:
        """The rows of an answer, a batch at a time."""
        answer = self.database.cursor().execute(query)
        while batch := answer.fetchmany(_AT_ONCE):
            yield from batch

    def keep(self, lookup: Lookup, rows: Iterable[tuple[str, ...]]) -> None:
        """Make the relation of a lookup."""
        columns = (*lookup.columns, "said")
        cells = zip(*rows, strict=True)
        frame = {name: np.array(texts, dtype=object) for name, texts in zip(columns, cells, strict=False)}
        self.database.execute(f"CREATE TABLE {lookup.name} ({', '.join(f'{name} VARCHAR' for name in columns)})")
        if frame:
            self.database.register("frame", frame)
            self.database.execute(f"INSERT INTO {lookup.name} SELECT * FROM frame")
            self.database.unregister("frame")

    def drawn(self, where: str, most_jobs: int) -> str:
        """About so many jobs by a digest of the numbers of their rows, so that they are the same every time."""
        if not (most_jobs and self.numbered):
            return "history"
        n_jobs = int(next(iter(self.rows(f"SELECT COUNT(*) FROM history h WHERE {where}")))[0] or 0)
        if n_jobs <= most_jobs:
            return "history"
        in_a_million = round(most_jobs / n_jobs * 1e6)
        some = f"SELECT * EXCLUDE (number) FROM ({self.numbered}) h WHERE hash(number) % 1000000 < {in_a_million}"
        self.database.execute(f"CREATE TABLE drawn AS {some} AND {where}")
        return "drawn"


@contextmanager
def asked_files(sources: Sequence[Path | str], model: Model) -> Iterator[Files]:
    """The history in these files. FileProblem: damaged, or not a history with this model's observations."""
    import duckdb

    files = _found(sources)
    database = duckdb.connect(config={"memory_limit": MEMORY_LIMIT, "preserve_insertion_order": "false"})
    try:
        cells, table = _relation(files, model)
        database.execute(f"CREATE VIEW history AS SELECT {cells} FROM {table}")
        is_numbered = files[0].suffix.lower() == ".parquet"
        yield Files(database, f"SELECT {cells}, file_row_number AS number FROM {table}" if is_numbered else "")
    except duckdb.Error as error:
        names = ", ".join(map(str, files))
        raise FileProblem(f"{names}: cannot be counted: {str(error).splitlines()[0]}") from None
    finally:
        database.close()


def _found(sources: Sequence[Path | str]) -> list[Path]:
    files: list[Path] = []
    problems: list[str] = []
    for source in sources:
        file = Path(source)
        here = sorted(file.parent.glob(file.name)) if "*" in file.name else [file]
        problems += [] if here else [f"{source}: there is no such file"]
        problems += [f"{file}: there is no such file" for file in here if not file.is_file()]
        files += here
    kinds = {file.suffix.lower() for file in files}
    if strange := kinds - {".parquet", ".csv"}:
        problems.append(f"a history is counted in .parquet or .csv files, not {', '.join(sorted(strange))}")
    elif len(kinds) > 1:
        problems.append("files of both kinds, .parquet and .csv: count them one kind at a time")
    if problems:
        raise UsageProblem(*problems)
    return files


def models_in_files(sources: Sequence[Path | str]) -> dict[str, int] | None:
    """How many jobs that ended each model has in these files; None where no column says it."""
    import duckdb

    files = _found(sources)
    present, table = _table(files)
    if "outcome" not in present:
        raise FileProblem(
            f"{files[0]}: no column outcome, so not a table as of `faultnet history export`; import it first with "
            "`faultnet history import`, or rename its columns"
        )
    if "model" not in present:
        return None
    with duckdb.connect(config={"memory_limit": MEMORY_LIMIT}) as database:
        ended = "CAST(outcome AS VARCHAR) <> '' AND CAST(model AS VARCHAR) <> ''"
        rows = database.execute(
            f"SELECT CAST(model AS VARCHAR), COUNT(*) FROM {table} WHERE {ended} GROUP BY 1 ORDER BY 1"
        )
        return {str(model): int(n) for model, n in rows.fetchall()}


def _relation(files: Sequence[Path], model: Model) -> tuple[str, str]:
    """The columns of the relation `history`, and of which table."""
    present, table = _table(files)
    if "outcome" not in present or not present.keys() & model.visible.keys():
        raise FileProblem(
            f"{files[0]}: not the columns of `faultnet history export` (outcome, and observations of {model.id} such "
            f"as {', '.join(list(model.visible)[:3])}); import it first with `faultnet history import`, or rename them"
        )
    cells = (f"{_cell(column, column in present, model)} AS {name}" for column, name in columns_of(model).items())
    return ", ".join(cells), table


def _table(files: Sequence[Path]) -> tuple[dict[str, None], str]:
    """The columns that there are, and the table in DuckDB's words."""
    tables = [read_table(file) for file in files]
    present = dict.fromkeys(column for table in tables for column in table.columns)
    listed = "[" + ", ".join(quoted(str(file)) for file in files) + "]"
    if files[0].suffix.lower() == ".parquet":
        return present, f"read_parquet({listed}, union_by_name=true, file_row_number=true)"
    if other := [t for t in tables if t.encoding not in ("utf-8", "utf-8-sig") or t.delimiter != tables[0].delimiter]:
        raise FileProblem(
            *(f"{t.file}: text in {t.encoding}; only UTF-8 is counted, all parted alike: import it" for t in other)
        )
    return present, (
        f"read_csv({listed}, header=true, all_varchar=true, union_by_name=true, auto_detect=true, "
        f"delim={quoted(tables[0].delimiter)}, quote='\"', escape='\"', nullstr='')"
    )


def _cell(column: str, is_there: bool, model: Model) -> str:
    """A column of the relation; those that are compared or joined are never null, and all are text."""
    text = f'CAST("{column}" AS VARCHAR)'
    if column in model.visible or column in NEVER_COMPARED:
        return text if is_there else "NULL"
    usual = quoted(model.id if column == "model" else "")
    return f"COALESCE({text}, {usual})" if is_there else usual
