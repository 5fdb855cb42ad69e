"""The list of voltages as CSV: written, and read back as entries, or as everything that is wrong and where."""

import csv
import io
import re
from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path

from faultnet.case.points import NUMBER, written_number
from faultnet.errors import FileProblem, Problem, ShopProblem
from faultnet.jobs.codes import code_key
from faultnet.sheets.cells import defused, restored
from faultnet.shop.voltages import COLUMNS, KINDS, LEAST_VOLTS, MOST_VOLTS, SOURCES, TEXTS, Entry

MOST_BYTES = 20 * 2**20
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def csv_text(entries: Iterable[Entry]) -> str:
    """A list as CSV; cells that a spreadsheet would run as formulas are defused."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for entry in entries:
        volts = (
            "" if v is None else written_number(v).removesuffix(".")
            for v in (entry.loaded_volts, entry.unplugged_volts)
        )
        code, note = defused(entry.code), defused(entry.note)
        writer.writerow([entry.day.isoformat(), entry.kind, code, *volts, entry.source, note])
    return text.getvalue()


def read_entries(file: Path) -> list[Entry]:
    """The entries of a list in the order of the file.

    FileProblem: it cannot be read. ShopProblem lists everything that is wrong in it; it is never changed by reading.
    """
    try:
        with file.open("rb") as stream:
            raw = stream.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        raise FileProblem(f"{file}: cannot be read: {getattr(error, 'strerror', None) or error}") from None
    entries, problems = parse_entries(raw)
    if problems:
        raise ShopProblem(str(file), [problem.printable() for problem in problems])
    return entries


def parse_entries(raw: bytes) -> tuple[list[Entry], list[Problem]]:
    """The entries in a file's bytes, and everything that is wrong with it."""
    if len(raw) > MOST_BYTES:
        return [], [Problem("", f"more than {MOST_BYTES // 2**20} MB; a list of voltages is smaller")]
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        return [], [Problem("", f"not text in UTF-8 (byte 0x{raw[error.start]:02X}); save it as CSV UTF-8", line)]
    entries: list[Entry] = []
    problems: list[Problem] = []
    heading_seen = False
    for line, cells in _rows(text, problems):
        if cells == list(COLUMNS):
            heading_seen = True
        elif not heading_seen:
            return [], [Problem("", _foreign(cells), line)]
        else:
            entry, slips = _entry(cells)
            entries += [entry] if entry else []
            problems += [Problem(column, message, line, _column(cells, column)) for column, message in slips]
    return entries, problems


def _rows(text: str, problems: list[Problem]) -> Iterator[tuple[int, list[str]]]:
    """The rows that are not empty, each with the line it starts on."""
    reader, line = csv.reader(io.StringIO(text, newline=""), strict=True), 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            problems.append(Problem("", f"not CSV: {error}; look for a quotation mark without its twin", line))
        else:
            if any(map(str.strip, cells)):
                yield line, cells
        line = reader.line_num + 1


def _foreign(cells: list[str]) -> str:
    """What to do about a file that does not start with the heading."""
    heading = ",".join(COLUMNS)
    if len(cells) == 1 and cells[0].replace(";", ",").replace("\t", ",") == heading:
        return "its cells are not parted by commas; save it as CSV with commas, and volts with a decimal point"
    return f"not a list of voltages: its first line must be {heading}; nothing was changed"


def _entry(cells: list[str]) -> tuple[Entry | None, list[tuple[str, str]]]:
    """The entry of a row, or None with what is wrong in which column."""
    if len(cells) != len(COLUMNS):
        parted = (
            "; write volts with a decimal point, and text with commas in quotes" if len(cells) > len(COLUMNS) else ""
        )
        return None, [("", f"{len(cells)} cells instead of {len(COLUMNS)} ({', '.join(COLUMNS)}){parted}")]
    told = {c: restored(cell) if c in TEXTS else cell.strip() for c, cell in zip(COLUMNS, cells, strict=True)}
    slips: list[tuple[str, str]] = []
    day = parse_day(told["day"])
    if day is None:
        slips.append(("day", f"{told['day'] or 'nothing'} is no day; write it as 2031-05-17"))
    for column, allowed in (("kind", KINDS), ("source", SOURCES)):
        if told[column] not in allowed:
            slips.append((column, f"{told[column] or 'nothing'} is none of {', '.join(allowed)}"))
    if not code_key(told["code"]):
        slips.append(("code", "a code is missing"))
    loaded, unplugged = (_volts(column, told[column], slips) for column in ("loaded_volts", "unplugged_volts"))
    if not told["loaded_volts"] and not told["unplugged_volts"]:
        slips.append(("loaded_volts", "neither loaded nor unplugged volts stand here; write one of them"))
    if slips or day is None:
        return None, slips
    return Entry(day, told["kind"], told["code"], loaded, unplugged, told["source"], told["note"]), []


def parse_day(text: str) -> date | None:
    """The day of a text such as `2031-05-17`, None where it is none."""
    try:
        return date.fromisoformat(text) if _DAY.fullmatch(text) else None
    except ValueError:
        return None


def _volts(column: str, text: str, slips: list[tuple[str, str]]) -> float | None:
    if not text:
        return None
    if not NUMBER.fullmatch(text):
        slips.append((column, f"{text} is no voltage; write digits, with '.' as the decimal sign"))
    elif not LEAST_VOLTS <= float(text) <= MOST_VOLTS:
        slips.append((column, f"{text} V is not from {LEAST_VOLTS:g} to {MOST_VOLTS:g} V"))
    else:
        return float(text)
    return None


def _column(cells: list[str], name: str) -> int:
    """Where a cell starts in its line, from 1; the line's start where cells before it are quoted."""
    before = cells[: COLUMNS.index(name)] if name else []
    return 1 if any(set(cell) & set(',"\r\n') for cell in before) else sum(len(cell) + 1 for cell in before) + 1
