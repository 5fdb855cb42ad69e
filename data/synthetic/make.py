"""Makes the demo shop's files again, byte for byte: Lantern Street Repairs, an invented place.

    python data/synthetic/make.py [FOLDER]

jobs.csv          2,000 made-up jobs of three years, as `faultnet history export` writes them
jobs-truth.csv    what was true of each
jobs-as-kept.xlsx the same jobs as a shop would keep them: its own headings, words and slips
columns.yaml      what its columns are, for `faultnet history import --map`
voltages.csv      nominal voltages of its panels and boards, for `faultnet voltages add --from`

Needs openpyxl. Codes and groups are invented and match no maker's.
"""

import io
import sys
import zipfile
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import numpy as np
import openpyxl

from faultnet.files import load_model
from faultnet.history.row import columns, row_of
from faultnet.jobs import Job
from faultnet.model import Model
from faultnet.sheets.write import write_table
from faultnet.shop.voltages import Entry
from faultnet.shop.voltages_file import csv_text
from faultnet.simulate.shop import simulate, truth_rows
from faultnet.simulate.world import GROUPS

JOBS, SEED = 2000, 2028

HEADINGS = ("Job no.", "Date in", "Inches", "Screen code", "Years old", "Got sound?", "Torch", "Flash at start",
            "LED plug volts", "Unplugged", "Tester", "Replaced", "Result", "Charged", "Remarks", "Shelf")  # fmt: skip

WORDS = {
    "sound": {"present": "yes", "absent": "no sound"},
    "flashlight": {"image_seen": "ghost picture", "no_image": "nothing to see"},
    "startup_flash": {"none": "no", "flash_then_off": "flash then off", "stays_lit": "stays on"},
    "strip_tester": {"all_light_ok": "all lit", "abnormal": "some dark", "dark": "dark"},
}
ENDS = {
    "fixed": "ok",
    "no_fault_found": "NFF",
    "not_worth_repairing": "uneconomic",
    "no_part": "no part",
    "declined": "declined",
    "harmed": "panel broken",
}
PARTS = {
    "replace_strips": "strips",
    "repair_cable": "LED cable",
    "replace_driver": "driver",
    "replace_supply": "supply",
    "replace_main_board": "main board",
    "replace_timing_board": "tcon",
    "reset_settings": "settings",
}

COLUMNS = """\
columns:
  Job no.: job
  Date in: opened
  Inches: size
  Screen code: panel
  Years old: age
  Got sound?: {is: sound, states: {yes: present, no sound: absent}}
  Torch: {is: flashlight, states: {ghost picture: image_seen, nothing to see: no_image}}
  Flash at start: {is: startup_flash, states: {no: none, flash then off: flash_then_off, stays on: stays_lit}}
  LED plug volts: loaded_voltage
  Unplugged: open_voltage
  Tester: {is: strip_tester, states: {all lit: all_light_ok, some dark: abnormal, dark: dark}}
  Replaced: repairs
  Result: outcome
  Charged: price
  Remarks: notes
  Shelf: ignore
"""


def make(folder: Path, n_jobs: int = JOBS, seed: int = SEED) -> None:
    """Write all files into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    model = load_model("backlight")
    history = simulate(model, n_jobs, seed)
    write_table(folder / "jobs.csv", columns([model]), (row_of(job, model) for job in history.jobs))
    names = ("job", "group", "month", "habit", "faults", "left", "showed_always", *model.conditions)
    write_table(folder / "jobs-truth.csv", names, truth_rows(history))
    rng = np.random.default_rng(seed)
    (folder / "voltages.csv").write_text(csv_text(voltages(rng)), encoding="utf-8", newline="\n")
    (folder / "columns.yaml").write_text(COLUMNS, encoding="utf-8", newline="\n")
    write_book(folder / "jobs-as-kept.xlsx", list(as_kept(history.jobs, model, rng)))


def voltages(rng: np.random.Generator) -> Iterator[Entry]:
    """One to four sets of each panel code, and a limit for each board."""
    for group in GROUPS:
        for code in group.codes:
            for _ in range(int(rng.integers(1, 5))):
                loaded = round(group.volts * (1 + 0.015 * rng.standard_normal()), 1)
                yield Entry(date(2028, 1, 3), "panel", code, loaded, None, "measured")
        for board in group.boards:
            limit = round(group.volts * 1.2 * (1 + 0.03 * rng.standard_normal()), 1)
            yield Entry(date(2028, 1, 3), "board", board, None, limit, "measured")


def as_kept(jobs: tuple[Job, ...], model: Model, rng: np.random.Generator) -> Iterator[list[str]]:
    """Rows as somebody types them: words of their own, commas, several rows for a job, a row twice, slips."""
    for number, job in enumerate(jobs):
        row = kept_row(job, row_of(job, model), rng)
        if number % 97 == 50:
            row[0], row[1] = "", "spring"  # a row that nobody can date
        if number % 41 == 7:  # a job over two rows: what was measured, and what was done
            yield [*row[:11], *[""] * 5]
            yield [row[0], row[1], *[""] * 9, *row[11:]]
        else:
            yield row
        if number % 173 == 20:
            yield row  # copied twice


def kept_row(job: Job, cells: dict[str, str], rng: np.random.Generator) -> list[str]:
    """A job as one row under `HEADINGS`."""
    seen = {name: words.get(cells.get(name, "").partition("@")[0], "") for name, words in WORDS.items()}
    loaded, unplugged = (volts(cells.get(name, "")) for name in ("loaded_voltage", "open_voltage"))
    made = [entry for entry in job.entries if entry.kind == "repair"]
    replaced = " + ".join(PARTS[name] for name in made[-1].name.split("+")) if made else ""
    replaced += (", ok" if made[-1].state == "works" else ", no change") if made else ""
    end = job.closing
    charged = "" if end is None or end.price is None else f"{end.price:.2f}".replace(".", ",")
    remarks = str(rng.choice(["", "", "", "=call back", "two screws missing", "remote kept", "-"]))
    opened = f"{job.opened_at.day}.{job.opened_at.month}.{job.opened_at.year}"
    return [
        job.number, opened, cells.get("size", ""), cells.get("panel", ""), cells.get("age", ""), seen["sound"],
        seen["flashlight"], seen["startup_flash"], loaded, unplugged, seen["strip_tester"], replaced,
        "" if end is None else ENDS[end.outcome], charged, remarks, str(rng.choice(["A1", "A2", "B1", "C4"])),
    ]  # fmt: skip


def volts(cell: str) -> str:
    """Volts with a comma, several points parted by a stroke; nothing of what was noted as a word."""
    points = cell.partition("@")[0]
    if not points[:1].isdigit():
        return ""
    return " / ".join(point.replace(".", ",") for point in points.split(","))


def write_book(file: Path, rows: list[list[str]]) -> None:
    """A spreadsheet with a hidden sheet before the jobs; the same rows make the same bytes."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Jobs"
    for row in (list(HEADINGS), *rows):
        sheet.append(row)
    for cells in sheet.iter_rows(min_col=15, max_col=15):
        cells[0].data_type = "s"  # text, also where it starts with a formula's sign
    hidden = book.create_sheet("Prices", 0)
    hidden.sheet_state = "hidden"
    book.properties.created = book.properties.modified = datetime(2031, 1, 3)
    between = io.BytesIO()
    book.save(between)
    with zipfile.ZipFile(between) as packed, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as out:
        for name in sorted(packed.namelist()):
            content = packed.read(name)
            if name == "docProps/core.xml":
                content = fixed_times(content)
            out.writestr(zipfile.ZipInfo(name, (2031, 1, 3, 0, 0, 0)), content, zipfile.ZIP_DEFLATED)


def fixed_times(content: bytes) -> bytes:
    """The properties of a book without the moment at which it was written."""
    import re

    return re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", b"2031-01-03T00:00:00Z", content)


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
