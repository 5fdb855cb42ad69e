"""Reading a table of text from a file: CSV in any encoding, spreadsheets, Parquet; every cell as it stands there."""

import csv
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import islice
from pathlib import Path
from typing import Any

from faultnet.errors import FileProblem, UsageProblem
from faultnet.sheets.cells import restored

SPREADSHEETS = (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")
SUFFIXES = (".csv", ".tsv", ".txt", *SPREADSHEETS, ".parquet")
DELIMITERS = ",;\t|"

MOST_CELL = 32_767
"""Characters of a cell, as spreadsheets have it; a longer one is no cell."""

MOST_COLUMNS = 1000
MOST_UNPACKED_BYTES = 2 * 2**30
MOST_PACKED = 200
"""How many times larger a spreadsheet may be than its packed file: beyond that it is made to fill the memory."""

MOST_CELLS = 20_000_000
"""Cells from the first to the last one of a sheet, which the library below lays out in memory, filled or not."""

_SAMPLE = 2**18
_CELL_AT = re.compile(rb"""\br\s*=\s*["']([A-Z]{1,3})(\d{1,7})["']""")
_LONGEST_AT = 64


@dataclass(frozen=True)
class Row:
    """A row with its number in the sheet, from 1, the heading counted; cells as text."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A table: its columns, and its rows when they are asked for. notes: how it was read.

    encoding, delimiter: of CSV, as named or found out.
    """

    file: Path
    columns: tuple[str, ...]
    rows: Iterator[Row]
    notes: tuple[str, ...]
    encoding: str = ""
    delimiter: str = ""


def read_table(file: Path, sheet: str = "", encoding: str = "", delimiter: str = "") -> Table:
    """The table in a file, by the end of its name. Rows that are wholly empty are left out.

    sheet: of a spreadsheet, the first one that is not empty where none is named. FileProblem: damaged, or no table.
    """
    suffix = file.suffix.lower()
    if suffix not in SUFFIXES:
        raise UsageProblem(f"{file}: a table ends in one of {', '.join(SUFFIXES)}")
    if not file.is_file():
        raise UsageProblem(f"{file}: there is no such file")
    if suffix in SPREADSHEETS:
        return _spreadsheet(file, sheet)
    if suffix == ".parquet":
        return _parquet(file)
    return _csv(file, encoding, delimiter)


def read_column(file: Path, place: int, sheet: str = "", encoding: str = "", delimiter: str = "") -> Iterator[str]:
    """The cells of one column, without its heading; as `read_table` but for what need not be looked at."""
    if file.suffix.lower() in (*SPREADSHEETS, ".parquet"):
        yield from (r.cells[place] for r in read_table(file, sheet, encoding, delimiter).rows if place < len(r.cells))
        return
    raw = _start(file)
    encoding = encoding or _encoding(file, raw)
    delimiter = delimiter or _delimiter(raw.decode(encoding, errors="ignore").removeprefix("\ufeff"))
    with file.open(encoding=encoding, newline="", errors="replace") as stream:
        reader = csv.reader(_without_nulls(stream), delimiter=delimiter, strict=False)
        next(reader, None)
        for cells in reader:
            if place < len(cells):
                yield cells[place].strip()


# -- CSV ---------------------------------------------------------------------------------------------------------------


def _csv(file: Path, encoding: str, delimiter: str) -> Table:
    raw = _start(file)
    encoding = encoding or _encoding(file, raw)
    try:
        sample = raw.decode(encoding, errors="ignore").removeprefix("\ufeff")
    except LookupError:
        raise UsageProblem(f"--encoding {encoding}: no such encoding; utf-8, cp1252 and utf-16 are usual") from None
    if not sample.strip():
        raise FileProblem(f"{file}: empty; there is no table in it")
    if "\0" in sample:
        raise FileProblem(f"{file}: no text, or text in another encoding than {encoding}; name it with --encoding")
    delimiter = delimiter or _delimiter(sample)
    lines = _csv_rows(file, encoding, delimiter)
    heading = next(lines, None)
    if heading is None:
        raise FileProblem(f"{file}: there is no heading in it")
    columns = _heading(file, heading.cells)
    shown = {"\t": "tabs", ",": "commas", ";": "semicolons", "|": "bars"}.get(delimiter, repr(delimiter))
    return Table(file, columns, lines, (f"text in {encoding}, cells parted by {shown}",), encoding, delimiter)


def _start(file: Path) -> bytes:
    try:
        with file.open("rb") as stream:
            return stream.read(_SAMPLE)
    except OSError as error:
        raise FileProblem(f"{file}: cannot be read: {error.strerror or error}") from None


def _encoding(file: Path, raw: bytes) -> str:
    """The encoding of a file: by its mark, as UTF-8 where all of it is, else what it looks like."""
    for mark, name in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if raw.startswith(mark):
            return name
    if _is_utf8(file):
        return "utf-8"
    from charset_normalizer import from_bytes

    best = from_bytes(raw, cp_isolation=["cp1252", "cp1250", "cp1251", "utf_16_le", "utf_16_be", "mac_roman"]).best()
    return "cp1252" if best is None else best.encoding


def _is_utf8(file: Path) -> bool:
    import codecs

    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        with file.open("rb") as stream:
            while block := stream.read(2**20):
                decoder.decode(block)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


def _delimiter(sample: str) -> str:
    """What parts the cells: whatever gives most of the first lines the same number of cells, and more than one."""
    lines = [line for line in sample.splitlines()[:50] if line.strip()]

    def regular(mark: str) -> tuple[int, int]:
        try:
            counts = [len(cells) for cells in csv.reader(lines, delimiter=mark)]
        except csv.Error:
            return (0, 0)
        first = counts[0] if counts else 0
        return (sum(n == first for n in counts) if first > 1 else 0, first)

    best = max(DELIMITERS, key=regular)
    return best if regular(best)[1] > 1 else ","


def _csv_rows(file: Path, encoding: str, delimiter: str) -> Iterator[Row]:
    csv.field_size_limit(MOST_CELL * 4)
    line = 0
    try:
        with file.open(encoding=encoding, newline="", errors="strict") as stream:
            reader = csv.reader(_without_nulls(stream), delimiter=delimiter, strict=False)
            while True:
                line = reader.line_num + 1
                cells = next(reader, None)
                if cells is None:
                    return
                stripped = tuple(map(str.strip, cells))
                if any(stripped):
                    has_quotes = "'" in "".join(stripped)
                    yield Row(line, tuple(map(restored, stripped)) if has_quotes else stripped)
    except UnicodeDecodeError as error:
        raise FileProblem(
            f"{file}:{line}:1: not text in {encoding} (byte 0x{error.object[error.start]:02X}); name the right one "
            "with --encoding, such as cp1252"
        ) from None
    except csv.Error as error:
        raise FileProblem(f"{file}:{line}:1: not CSV: {error}; look for a quotation mark without its twin") from None
    except OSError as error:
        raise FileProblem(f"{file}: cannot be read: {error.strerror or error}") from None


def _without_nulls(lines: Iterator[str]) -> Iterator[str]:
    for line in lines:
        yield line.replace("\0", "")


# -- spreadsheets ------------------------------------------------------------------------------------------------------


def _spreadsheet(file: Path, sheet: str) -> Table:
    from python_calamine import CalamineError, CalamineWorkbook

    _check_packed(file)
    _check_extent(file)
    try:
        book = CalamineWorkbook.from_path(str(file))
        names = book.sheet_names
        if sheet and sheet not in names:
            raise UsageProblem(f"--sheet {sheet}: {file} has {', '.join(names)}")
        chosen, rows = _first_filled(book, [sheet] if sheet else names)
    except (CalamineError, OSError, ValueError, KeyError) as error:
        raise FileProblem(f"{file}: no spreadsheet, or a damaged one ({error})") from None
    except BaseException as error:  # the library below may panic on a damaged file, which is no Exception
        if isinstance(error, UsageProblem | KeyboardInterrupt | SystemExit):
            raise
        raise FileProblem(f"{file}: a damaged spreadsheet ({type(error).__name__})") from None
    if not rows:
        raise FileProblem(f"{file}: empty; there is no table in it")
    first = next(n for n, row in enumerate(rows) if any(_text(cell).strip() for cell in row))
    columns = _heading(file, [_text(cell) for cell in rows[first]])
    body = (
        Row(number, tuple(_text(cell).strip() for cell in row))
        for number, row in enumerate(rows[first + 1 :], start=first + 2)
        if any(_text(cell).strip() for cell in row)
    )
    others = [name for name in names if name != chosen]
    notes = (f"sheet {chosen}" + (f"; not read: {', '.join(others)} (name one with --sheet)" if others else ""),)
    return Table(file, columns, body, notes)


def _first_filled(book: Any, names: Sequence[str]) -> tuple[str, list[list[Any]]]:
    """The first of these sheets with anything in it, and its rows."""
    for name in names:
        rows = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
        if any(any(_text(cell).strip() for cell in row) for row in islice(rows, 1000)):
            return name, rows
    return (names[0] if names else ""), []


def _check_packed(file: Path) -> None:
    """FileProblem: a packed file that unpacks to far more than it could hold."""
    try:
        if not zipfile.is_zipfile(file):
            return
        with zipfile.ZipFile(file) as packed:
            unpacked = sum(member.file_size for member in packed.infolist())
    except (zipfile.BadZipFile, NotImplementedError, OSError, ValueError, struct.error) as error:
        raise FileProblem(f"{file}: no spreadsheet, or a damaged one ({error})") from None
    if unpacked > MOST_UNPACKED_BYTES or unpacked > MOST_PACKED * max(file.stat().st_size, 2**16):
        raise FileProblem(f"{file}: unpacks to {unpacked / 2**20:.0f} MB, far more than a table of its size would")


def _check_extent(file: Path) -> None:
    """FileProblem: a sheet with cells so far apart that what lies between them would fill the memory."""
    if file.suffix.lower() not in (".xlsx", ".xlsm") or not zipfile.is_zipfile(file):
        return
    try:
        with zipfile.ZipFile(file) as packed:
            for name in packed.namelist():
                if name.startswith("xl/worksheets/") and name.endswith(".xml"):
                    _check_far(file, packed, name)
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, OSError, RuntimeError, EOFError) as error:
        raise FileProblem(f"{file}: no spreadsheet, or a damaged one ({error})") from None


def _check_far(file: Path, packed: zipfile.ZipFile, name: str) -> None:
    """FileProblem: cells of one sheet are too far apart."""
    n_rows = n_columns = 0
    rest = b""
    with packed.open(name) as stream:
        while block := stream.read(2**20):
            text = rest + block
            for letters, digits in set(_CELL_AT.findall(text)):
                n_rows, n_columns = max(n_rows, int(digits)), max(n_columns, _place_of(letters))
            if n_rows * n_columns > MOST_CELLS:
                raise FileProblem(
                    f"{file}: a cell stands in row {n_rows:,} and one in column {n_columns:,}, far from the others; "
                    "copy the table alone into a new sheet"
                )
            rest = text[-_LONGEST_AT:]


def _place_of(letters: bytes) -> int:
    """The number of a column, from 1: A is 1, AA is 27."""
    place = 0
    for letter in letters:
        place = 26 * place + letter - ord("A") + 1
    return place


def _text(cell: Any) -> str:
    """A cell as people see it: whole numbers without a point, days as 2031-05-17."""
    if cell is None or isinstance(cell, bool):
        return "" if cell is None else str(cell).lower()
    if isinstance(cell, float):
        return f"{cell:.0f}" if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(sep=" ")
    if isinstance(cell, date | time):
        return cell.isoformat()
    return f"{cell.total_seconds() / 3600:g} h" if isinstance(cell, timedelta) else str(cell)


# -- Parquet -----------------------------------------------------------------------------------------------------------


def _parquet(file: Path) -> Table:
    import duckdb

    try:
        database = duckdb.connect()
        relation = database.execute("SELECT * FROM read_parquet(?)", [str(file)])
        columns = _heading(file, [str(column[0]) for column in relation.description or ()])
    except duckdb.Error as error:
        raise FileProblem(f"{file}: no Parquet file, or a damaged one ({str(error).splitlines()[0]})") from None

    def rows() -> Iterator[Row]:
        number = 1
        try:
            while block := relation.fetchmany(10_000):
                for cells in block:
                    number += 1
                    if any(cell not in (None, "") for cell in cells):
                        yield Row(number, tuple(_text(cell).strip() for cell in cells))
        except duckdb.Error as error:
            raise FileProblem(f"{file}: a damaged Parquet file ({str(error).splitlines()[0]})") from None

    return Table(file, columns, rows(), ())


def _heading(file: Path, cells: Sequence[str]) -> tuple[str, ...]:
    """The names of the columns; one without a name gets its place. FileProblem: far too many."""
    if len(cells) > MOST_COLUMNS:
        raise FileProblem(f"{file}: {len(cells)} columns; a table of jobs has fewer than {MOST_COLUMNS}")
    return tuple(cell.strip() or f"column {number}" for number, cell in enumerate(cells, start=1))
