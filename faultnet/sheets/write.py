"""Writing a table of text to a file: CSV, in which no cell runs as a formula, or Parquet."""

import csv
import io
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from faultnet.errors import FileProblem, UsageProblem
from faultnet.files.write import whole_file
from faultnet.sheets.cells import defused

if TYPE_CHECKING:
    import pandas as pd

SUFFIXES = (".csv", ".parquet")


def checked_suffix(file: Path) -> str:
    """The end of a file's name that says what to write. UsageProblem: another one."""
    suffix = file.suffix.lower()
    if suffix not in SUFFIXES:
        raise UsageProblem(f"{file}: write a name that ends in {' or '.join(SUFFIXES)}")
    return suffix


def write_table(file: Path, columns: Sequence[str], rows: Iterable[Mapping[str, str]]) -> int:
    """Write rows with these columns, and say how many; what a row lacks is empty. FileProblem: it cannot be written."""
    suffix = checked_suffix(file)
    try:
        if suffix == ".csv":
            return _write_csv(file, columns, rows, is_defused=True)
        with tempfile.TemporaryDirectory() as folder:
            between = Path(folder) / "rows.csv"
            n_rows = _write_csv(between, columns, rows, is_defused=False)
            _to_parquet(between, file, columns)
        return n_rows
    except OSError as error:
        raise FileProblem(f"{file}: cannot be written: {error.strerror or error}") from None


def _write_csv(file: Path, columns: Sequence[str], rows: Iterable[Mapping[str, str]], *, is_defused: bool) -> int:
    n_rows = 0
    with whole_file(file) as stream:
        text = io.TextIOWrapper(stream, encoding="utf-8", newline="", write_through=True)
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(columns)
        for row in rows:
            cells = (row.get(column, "") for column in columns)
            writer.writerow([defused(cell) for cell in cells] if is_defused else [*cells])
            n_rows += 1
        text.flush()
        text.detach()
    return n_rows


def _to_parquet(between: Path, file: Path, columns: Sequence[str]) -> None:
    """A CSV of text as Parquet, every column text, an empty cell null."""
    import duckdb

    types = ", ".join(f"{quoted(column)}: 'VARCHAR'" for column in columns)
    with duckdb.connect() as database:
        database.execute(
            f"COPY (SELECT * FROM read_csv({quoted(str(between))}, header=true, columns={{{types}}}, "
            f"quote='\"', escape='\"', nullstr='', auto_detect=false, delim=',')) "
            f"TO {quoted(str(file))} (FORMAT parquet)"
        )


def write_frame(file: Path, frame: "pd.DataFrame") -> int:
    """Write a frame, numbers as numbers in Parquet, and say how many rows. FileProblem: it cannot be written."""
    columns = [*map(str, frame.columns)]
    if checked_suffix(file) == ".csv":
        told = frame.astype(object).where(frame.notna(), "")
        rows = (dict(zip(columns, map(str, row), strict=True)) for row in told.itertuples(index=False))
        return write_table(file, columns, rows)
    import duckdb

    try:
        with duckdb.connect() as database:
            database.register("frame", frame)
            database.execute(f"COPY frame TO {quoted(str(file))} (FORMAT parquet)")
    except duckdb.Error as error:
        raise FileProblem(f"{file}: cannot be written: {str(error).splitlines()[0]}") from None
    return len(frame)


def quoted(text: str) -> str:
    """Text as a literal of SQL."""
    return "'" + text.replace("'", "''") + "'"
