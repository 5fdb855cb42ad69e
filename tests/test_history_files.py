"""Tables in files of all kinds, and files that are damaged."""

import csv
import random
import zipfile
from pathlib import Path

import openpyxl
import pytest
from histories import backlight, kept, made_up, written_out

from faultnet.errors import FaultnetError
from faultnet.history.row import columns, row_of
from faultnet.sheets.read import read_table
from faultnet.sheets.write import write_table
from faultnet.workshop.importing import Source, look_through
from faultnet.workshop.workshop import Workshop

# -- files of all kinds ------------------------------------------------------------------------------------------------


def spreadsheet(file: Path, rows: list[list[object]], *, hidden: bool = False) -> Path:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Jobs"
    for row in rows:
        sheet.append(row)
    if hidden:
        other = book.create_sheet("Prices", 0)
        other.sheet_state = "hidden"
    book.save(file)
    return file


def test_a_spreadsheet_is_read_as_people_see_it(tmp_path: Path) -> None:
    from datetime import date

    rows: list[list[object]] = [["job", "opened", "size", "sound"], [17, date(2031, 5, 17), 50.0, "present"], [], [18]]
    table = read_table(spreadsheet(tmp_path / "jobs.xlsx", rows, hidden=True))
    assert table.columns == ("job", "opened", "size", "sound")
    read = [(row.number, row.cells) for row in table.rows]
    assert read[0] == (2, ("17", "2031-05-17", "50", "present"))
    assert (read[1][0], read[1][1][0]) == (4, "18")
    assert "sheet Jobs" in table.notes[0]


def test_an_open_document_spreadsheet_is_read(tmp_path: Path) -> None:
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    book, sheet = OpenDocumentSpreadsheet(), Table(name="Jobs")
    for row in (("job", "sound"), ("17", "present")):
        line = TableRow()
        for text in row:
            cell = TableCell(valuetype="string")
            cell.addElement(P(text=text))
            line.addElement(cell)
        sheet.addElement(line)
    book.spreadsheet.addElement(sheet)
    book.save(str(tmp_path / "jobs.ods"))
    table = read_table(tmp_path / "jobs.ods")
    assert (table.columns, [row.cells for row in table.rows]) == (("job", "sound"), [("17", "present")])


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252", "cp1250"])
@pytest.mark.parametrize("mark", [",", ";", "\t", "|"])
def test_text_in_any_encoding_and_with_any_delimiter_is_read(tmp_path: Path, encoding: str, mark: str) -> None:
    rows = [["job", "notes", "sound"], *[[str(n), "Gehäuse geöffnet, für später", "present"] for n in range(30)]]
    file = tmp_path / "jobs.csv"
    with file.open("w", encoding=encoding, newline="") as stream:
        csv.writer(stream, delimiter=mark).writerows(rows)
    table = read_table(file)
    assert [list(table.columns), *(list(row.cells) for row in table.rows)] == rows


def test_cells_that_would_run_as_formulas_are_defused_and_come_back(tmp_path: Path) -> None:
    file = tmp_path / "jobs.csv"
    write_table(file, ["job", "notes"], [{"job": "=1+1", "notes": "@SUM(A1) and 'quoted'"}])
    with file.open(encoding="utf-8", newline="") as stream:
        _, row = csv.reader(stream)
    assert all(cell.startswith("'") for cell in row)
    assert [row.cells for row in read_table(file).rows] == [("=1+1", "@SUM(A1) and 'quoted'")]


def small_files(folder: Path) -> list[Path]:
    jobs = made_up(40).jobs[:8]
    files = [written_out(folder / "a.csv", jobs), written_out(folder / "a.parquet", jobs)]
    rows: list[list[object]] = [[*columns([backlight()])]]
    rows += [[row_of(job, backlight()).get(name, "") for name in columns([backlight()])] for job in jobs]
    return [*files, spreadsheet(folder / "a.xlsx", rows)]


def test_five_hundred_damaged_files_give_messages_and_no_traceback(on_sqlite: Workshop, tmp_path: Path) -> None:
    """Cut short, bits flipped, pieces swapped or doubled: an error of ours, or rows that say what is wrong."""
    rng = random.Random(3)
    originals = [(file.suffix, file.read_bytes()) for file in small_files(tmp_path)]
    refused = 0
    for number in range(500):
        suffix, raw = originals[number % len(originals)]
        content = bytearray(raw)
        kind = rng.randrange(5)
        if kind == 0:
            content = content[: rng.randrange(len(content))]
        elif kind == 1:
            for _ in range(rng.choice([1, 10, 200])):
                content[rng.randrange(len(content))] ^= 1 << rng.randrange(8)
        elif kind == 2:
            at = rng.randrange(len(content))
            content[at:at] = rng.randbytes(rng.randrange(1, 400))
        elif kind == 3:
            a, b = sorted((rng.randrange(len(content)), rng.randrange(len(content))))
            content = content[:a] + content[b:] + content[a:b]
        else:
            content = bytearray(rng.randbytes(rng.randrange(2000)))
        file = tmp_path / f"damaged{suffix}"
        file.write_bytes(bytes(content))
        try:
            look_through(on_sqlite, Source(file, backlight()))
        except FaultnetError:
            refused += 1
    assert refused > 150


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("empty.csv", b"", "empty"),
        ("blank.csv", b"\n \n", "empty"),
        ("nulls.csv", b"\0\1\2" * 100, "no text"),
        ("letter.xlsx", b"Dear customer", "no spreadsheet"),
        ("letter.parquet", b"PAR1 Dear customer", "no Parquet file"),
        ("jobs.docx", b"", "a table ends in one of"),
        ("wide.csv", b",".join(b"c" for _ in range(2000)) + b"\n1\n", "2000 columns"),
    ],
)
def test_what_is_no_table_is_told(tmp_path: Path, name: str, content: bytes, said: str) -> None:
    file = tmp_path / name
    file.write_bytes(content)
    with pytest.raises(FaultnetError, match=said):
        list(read_table(file).rows)


def test_a_zip_that_unpacks_to_fill_the_memory_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b"0" * 200_000_000)
    with pytest.raises(FaultnetError, match="far more than a table of its size"):
        read_table(file)


def test_absurd_cells_are_rows_that_cannot_be_taken(on_sqlite: Workshop, tmp_path: Path) -> None:
    text = "job,opened,size,sound,loaded_voltage\n1,0000-99-99,50,present,1\n2,2031-05-17,1e9,present,1\n"
    text += f"3,2031-05-17,50,present,{'9' * 5000}\n4,2031-05-17,50,present,37\n5,9999-12-31,50,{'x' * 40_000},37\n"
    report = look_through(on_sqlite, Source(kept(tmp_path, text), backlight()))
    assert (report.n_jobs, report.n_rejected) == (2, 3)
