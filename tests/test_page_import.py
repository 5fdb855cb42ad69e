"""A table handed in at the page: looked through, put right, taken in, taken out; and what nobody should hand in."""

import csv
import io
import json
import time
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from histories import KEPT, backlight, jobs_in, made_up, taken, written_out
from pages import HERE, Bench, bench, house_on, text_of

from faultnet.cli.main import app as command_line
from faultnet.errors import FaultnetError, FileProblem
from faultnet.files.finder import list_models
from faultnet.reports import incoming
from faultnet.reports.answer import answer
from faultnet.sheets.read import read_table
from faultnet.store.reports import CONTENT_KEPT, insert_report, read_content
from faultnet.web.guard import MOST_UPLOADED
from faultnet.web.house import House
from faultnet.workshop import uploading
from faultnet.workshop.reporting import fail, finish, report_of, reports_of
from faultnet.workshop.uploading import IMPORT, file_name
from faultnet.workshop.workshop import Workshop

SCRIPT = "<script>alert(1)</script>"


@dataclass(frozen=True)
class AtOnce:
    """Works reports out where they are asked for, as the process beside the page does."""

    workshop: Workshop

    def take(self, number: int) -> None:
        try:
            finish(self.workshop, number, answer(self.workshop, report_of(self.workshop, number)).as_data())
        except FaultnetError as error:
            fail(self.workshop, number, str(error))


def shop_screens(house: House, folder: Path) -> tuple[str, ...]:
    """Paths of the shop's screens, with a batch, voltages and a table that waits, to show something on each."""
    taken(house.opened, written_out(folder / "made up.csv", made_up(40).jobs))
    tablet = at_once(house)
    tablet.post("/voltages", kind="panel", code="PX-1040", loaded="54.2", unplugged="63.5", source="measured")
    tablet.post("/settings/new/meter", name="old_one", value="slow")
    hand_in(tablet, KEPT + "19;17/5/2031;about;;no picture seen;36,8;gizmo;NFF;;\n")
    hand_in(tablet, b"PAR1", "damaged.parquet")
    (table, damaged) = (each.id for each in sorted(reports_of(house.opened, IMPORT), key=lambda each: each.id))
    return (
        "/shop", "/history", "/history/batches/1", "/history/import", f"/history/import/{table}",
        f"/history/import/{damaged}", "/voltages?code=px&added=1", "/voltages/1", "/voltages/learn",
        "/voltages/learn?look=yes", "/settings", "/settings/shop", "/settings/gates", "/settings/hazard_prices",
        "/settings/new_set_prices", "/settings/meter", "/settings/meters.old_one", "/settings/training",
        "/settings/new/meter", "/settings/new/panel_group",
    )  # fmt: skip


@dataclass(frozen=True)
class Waiting:
    """Nobody works."""

    def take(self, number: int) -> None:
        pass


@pytest.fixture
def house(tmp_path: Path) -> House:
    return house_on(tmp_path)


@pytest.fixture
def tablet(house: House) -> Bench:
    return at_once(house)


def at_once(house: House) -> Bench:
    found = bench(house)
    found.client.app.state.worker = AtOnce(house.opened)  # type: ignore[attr-defined]
    return found


def hand_in(tablet: Bench, content: bytes | str, name: str = "kept.csv", status: int = 200, **told: str) -> str:
    """What the page says of a table."""
    raw = content.encode("cp1252") if isinstance(content, str) else content
    fields = {"model": "backlight", "comma": "yes", **told}
    answer = tablet.client.post("/history/import", data=fields, files={"table": (name, raw)}, headers={"Origin": HERE})
    assert answer.status_code == status, text_of(answer.text)[:500]
    return answer.text


def press(tablet: Bench, shown: str, what: str, status: int = 200, **fields: str) -> str:
    told = {"press": what, "model": "backlight", "comma": "yes", **fields}
    address = shown.partition('<form method="post" action="/history/import/')[2].partition('"')[0]
    answer = tablet.client.post(f"/history/import/{address}", data=told, headers={"Origin": HERE})
    assert answer.status_code == status, text_of(answer.text)[:500]
    return answer.text


def column(shown: str, name: str) -> str:
    """The field in which the use of a column is said."""
    return shown.partition(f">{name}</label>")[2].partition('name="')[2].partition('"')[0]


# -- from the file to the batch and back -------------------------------------------------------------------------------


def test_a_table_is_looked_through_put_right_taken_in_and_out(house: House, tablet: Bench) -> None:
    shown = hand_in(tablet, KEPT)
    assert "2 jobs to take in" in text_of(shown)
    assert jobs_in(house.opened) == []
    told = {column(shown, "Got sound?"): "sound", column(shown, "LED plug volts"): "loaded_voltage"}
    again = press(tablet, shown, "look", **told)
    assert "sound: yes" in text_of(again).lower() or "Got sound?: yes" in text_of(again)
    assert "Take in 2 jobs" in again
    taken = text_of(press(tablet, again, "all"))
    assert "Taken in: 2 jobs as batch 1" in taken
    first, second = jobs_in(house.opened)
    assert ("loaded_voltage", "0.2,0.1") in [(e.name, e.state or e.value) for e in first.entries]
    assert ("loaded_voltage", "36.8") in [(e.name, e.state or e.value) for e in second.entries]
    tablet.post("/history/batches/1/undo")
    assert jobs_in(house.opened) == []


def test_the_page_says_of_a_table_what_the_command_line_says(
    house: House, tablet: Bench, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = KEPT + "19;17/5/2031;about;;no picture seen;36,8;gizmo;NFF;;\n"
    hand_in(tablet, text)
    file = tmp_path / "kept.csv"
    file.write_text(text, encoding="cp1252")
    command_line(
        ["history", "import", str(file), "--model", "backlight", "--decimal-comma", "--json", "--rejected",
         str(tmp_path / "r.csv"), "--db", house.database, "--shop", house.shop_file],
        standalone_mode=False,
    )  # fmt: skip
    typed = json.loads(capsys.readouterr().out)
    document = report_of(house.opened, 1).document
    assert document is not None
    told = document["json"]
    for name in ("columns", "rows", "jobs", "joined", "known", "corrected", "unmatched", "batch"):
        assert told[name] == typed[name], name
    assert [each["problems"] for each in told["rejected"]] == [each["problems"] for each in typed["rejected"]]


def test_rows_that_cannot_be_taken_are_downloaded_as_they_stood(house: House, tablet: Bench) -> None:
    shown = hand_in(tablet, KEPT + "19;17/5/2031;about;;no picture seen;36,8;=1+1;NFF;;\n")
    assert "Row 4: Date in: 17/5/2031 is no day; say how days are written in this table" in text_of(shown)
    assert "--" not in text_of(shown)
    assert "Take in the good rows: 2 jobs" in shown
    rows = list(csv.DictReader(io.StringIO(tablet.get("/history/import/1/rejected.csv"))))
    assert len(rows) == 1
    assert (rows[0]["row"], rows[0]["Order No"], rows[0]["Inches"]) == ("4", "19", "about")
    assert rows[0]["Parts replaced"] == "'=1+1"
    assert "is no number" in rows[0]["why"]
    assert "Nothing was" not in text_of(press(tablet, shown, "good"))
    assert [job.number for job in jobs_in(house.opened)] == ["17", "18"]
    assert tablet.get("/history/import/2/rejected.csv").count("\n") == 2, "still there for whoever mends them"


def test_another_form_of_days_mends_rows(house: House, tablet: Bench) -> None:
    shown = hand_in(tablet, "Order No;Date in;Torch Test\n17;17/5/2031;image seen\n")
    assert "1 cannot be taken" in text_of(shown)
    again = press(tablet, shown, "look", days="%d/%m/%Y")
    assert "Take in 1 jobs" in again
    press(tablet, again, "all")
    assert jobs_in(house.opened)[0].opened_at.date().isoformat() == "2031-05-17"


def test_two_columns_cannot_be_the_same(tablet: Bench) -> None:
    shown = hand_in(tablet, KEPT)
    told = {column(shown, "Got sound?"): "sound", column(shown, "Cat"): "sound"}
    refused = press(tablet, shown, "look", status=422, **told)
    assert "Got sound? and Cat: only one of them can be sound" in text_of(refused)
    assert '<option value="sound" selected>' in refused, "what was chosen is not lost"
    press(tablet, shown, "look", status=422, **{column(shown, "Cat"): "nonsense"})


def test_a_table_of_our_own_says_itself_which_model_it_is_about(house: House, tablet: Bench, tmp_path: Path) -> None:
    raw = written_out(tmp_path / "made.csv", made_up(8).jobs).read_bytes()
    shown = hand_in(tablet, raw, "made.csv", model="")
    assert "by the names of our own columns" in shown
    press(tablet, shown, "all", model="")
    assert len(jobs_in(house.opened)) == 8
    known = hand_in(tablet, raw, "made.csv", model="")
    assert "8 there already" in text_of(known)
    assert "There is nothing to take in" in known


def test_spreadsheets_and_parquet_are_taken_too(tablet: Bench, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.active.append(["Order No", "Date in", "Torch Test"])  # type: ignore[union-attr]
    book.active.append(["17", "2031-05-03", "image seen"])  # type: ignore[union-attr]
    book.create_sheet("other").append(["nothing"])
    book.save(tmp_path / "a.xlsx")
    shown = hand_in(tablet, (tmp_path / "a.xlsx").read_bytes(), "a.xlsx")
    assert "not read: other" in shown
    assert "1 jobs to take in" in text_of(shown)
    missing = press(tablet, shown, "look", sheet="third")
    assert "Sheet third: a.xlsx has Sheet, other" in text_of(missing)
    parquet = written_out(tmp_path / "made.parquet", made_up(5).jobs).read_bytes()
    assert "5 jobs to take in" in text_of(hand_in(tablet, parquet, "made.parquet", model=""))


# -- several people, and state in the database only --------------------------------------------------------------------


def test_what_was_looked_through_elsewhere_meanwhile_is_not_taken_in(house: House, tablet: Bench) -> None:
    shown = hand_in(tablet, KEPT)
    again = press(tablet, shown, "look", days="%d.%m.%y")
    for what in ("all", "look", "forget"):
        assert "meanwhile" in press(tablet, shown, what, status=422)
    assert jobs_in(house.opened) == []
    press(tablet, again, "forget")
    press(tablet, again, "all", status=422)
    assert "is kept no longer" in tablet.get("/history/import/1"), "the first address leads to what it became"


def test_a_table_waits_in_the_database_for_any_tablet_and_not_for_ever(house: House, tablet: Bench) -> None:
    hand_in(tablet, KEPT)
    other = at_once(house)
    assert "kept.csv" in other.get("/history/import")
    with house.opened.database.write() as connection:
        insert_report(connection, IMPORT, {}, "", house.opened.clock() + CONTENT_KEPT, content=b"x")
    late = press(other, other.get("/history/import/1"), "look", status=422)
    assert "not kept any more" in late


def test_the_table_is_dropped_once_it_is_in(house: House, tablet: Bench) -> None:
    press(tablet, hand_in(tablet, KEPT), "all")
    with house.opened.database.read() as connection, pytest.raises(FaultnetError, match="not kept any more"):
        read_content(connection, 1)
    assert "kept.csv" not in text_of(tablet.get("/history/import"))


def test_while_it_is_worked_out_the_page_says_so_and_looks_again(house: House) -> None:
    tablet = bench(house)
    tablet.client.app.state.worker = Waiting()  # type: ignore[attr-defined]
    shown = hand_in(tablet, KEPT)
    assert "It is being looked through" in shown
    assert '<meta http-equiv="refresh"' in shown
    answer = tablet.client.post("/history/import/1", data={"press": "all"}, headers={"Origin": HERE})
    assert answer.status_code == 422, "nothing is taken in before it was looked through"


def test_in_a_process_of_its_own_a_table_is_looked_through_and_taken_in(house: House) -> None:
    tablet = bench(house)
    shown = finished(tablet, hand_in(tablet, KEPT))
    assert "2 jobs to take in" in text_of(shown)
    press(tablet, shown, "all")
    assert "Taken in: 2 jobs as batch 1" in text_of(finished(tablet, tablet.get("/history/import/2")))
    assert len(jobs_in(house.opened)) == 2


def finished(tablet: Bench, shown: str) -> str:
    deadline = time.monotonic() + 120
    while "It is being" in shown:
        assert time.monotonic() < deadline
        time.sleep(0.2)
        number = shown.partition('href="/history/import/')[2].partition('"')[0]
        shown = tablet.get(f"/history/import/{number}")
    return shown


# -- what nobody should hand in ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("told", "kept"),
    [
        ("../../../etc/cron.d/jobs.csv", "jobs.csv"), ("C:\\shop\\..\\jobs.csv", "jobs.csv"), ("/etc/passwd", "passwd"),
        ("..", ""), ("", ""), ("a\0b\n.csv", "ab.csv"), ("x" * 500 + ".csv", "x" * 80 + ".csv"),
        ("NUL:.csv", "NUL.csv"), (".csv", "csv"),
    ],
)  # fmt: skip
def test_the_name_of_a_file_leads_nowhere(told: str, kept: str) -> None:
    assert file_name(told) == kept


@pytest.mark.parametrize("name", ["../../shop.toml", "..", "", "x.exe", "x.xlsb", "x", "shop.db"])
def test_what_is_no_table_by_its_name_is_refused(house: House, tablet: Bench, tmp_path: Path, name: str) -> None:
    before = {path.name for path in tmp_path.iterdir()}
    hand_in(tablet, KEPT, name, 422)
    assert {path.name for path in tmp_path.iterdir()} == before
    assert jobs_in(house.opened) == []


def test_a_name_with_folders_in_it_writes_nowhere_else(tablet: Bench, tmp_path: Path) -> None:
    shown = hand_in(tablet, KEPT, f"../../{tmp_path.name}/out<b>.csv")
    assert "<h1>out&lt;b&gt;.csv</h1>" in shown
    assert not list(tmp_path.rglob("out*"))


def test_nothing_was_chosen(tablet: Bench) -> None:
    assert "Choose a file with something in it" in hand_in(tablet, b"", "kept.csv", 422)
    assert "Choose a file with something in it" in tablet.post("/history/import", 422, model="backlight")


def test_text_in_a_table_is_text_on_the_page(tablet: Bench) -> None:
    text = f"Order No;Date in;Torch Test;{SCRIPT}\n{SCRIPT};2031-05-03;{SCRIPT};{SCRIPT}\n18;{SCRIPT};;=1+1\n"
    shown = hand_in(tablet, text)
    assert SCRIPT not in shown
    assert "&lt;script&gt;alert(1)&lt;/script&gt; is no day" in shown
    press(tablet, shown, "good")
    assert SCRIPT not in tablet.get("/history/import/1")
    assert SCRIPT not in tablet.get("/history")


def test_a_table_of_50_mb_is_refused(tablet: Bench) -> None:
    answer = tablet.client.post(
        "/history/import", files={"table": ("large.csv", b"x" * (50 * 2**20))}, headers={"Origin": HERE}
    )
    assert answer.status_code == 413
    assert f"more than {MOST_UPLOADED // 2**20} MB" in text_of(answer.text)
    assert "faultnet history import FILE" in text_of(answer.text)
    assert "Looked through" not in tablet.get("/history/import")


def test_a_spreadsheet_that_unpacks_to_fill_the_memory_is_refused(tablet: Bench, tmp_path: Path) -> None:
    file = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b" " * (300 * 2**20))
    shown = text_of(hand_in(tablet, file.read_bytes(), "bomb.xlsx"))
    assert "Unpacks to 300 MB, far more than a table of its size would" in shown
    assert "/tmp" not in shown.lower()


def test_a_spreadsheet_with_cells_far_apart_is_refused_before_they_fill_the_memory(tmp_path: Path) -> None:
    """Laid out from the first cell to the last one, these two would be 17,179,869,184 cells."""
    book = openpyxl.Workbook()
    book.active["A1"] = "job"  # type: ignore[index]
    book.active["XFD1048576"] = "x"  # type: ignore[index]
    file = tmp_path / "far.xlsx"
    book.save(file)
    with pytest.raises(FileProblem, match="row 1,048,576 and one in column 16,384"):
        read_table(file)


def test_far_more_rows_than_may_come_are_refused(
    tablet: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(incoming, "MOST_ROWS", 1_000)
    many = "Order No;Date in\n" + "".join(f"{n};2031-05-03\n" for n in range(2_000))
    assert "more than 1,000 rows" in text_of(hand_in(tablet, many)).lower()
    file = written_out(tmp_path / "made.parquet", made_up(40).jobs * 30)
    assert "more than 1,000 rows" in text_of(hand_in(tablet, file.read_bytes(), "made.parquet", model="")).lower()


@pytest.mark.parametrize("model", ["/etc/passwd", "../../x.yaml", "models/backlight.yaml", "nothing"])
def test_a_table_names_no_file_as_its_model(tablet: Bench, model: str) -> None:
    shown = text_of(hand_in(tablet, f"job,model\n1,{model}\n", model=""))
    assert "It could not be read" in shown
    hand_in(tablet, KEPT, status=422, model=model)


@pytest.mark.parametrize("changed", [{"days": "%c%c%c"}, {"encoding": "zip"}, {"delimiter": "x"}, {"model": "nothing"}])
def test_what_the_form_cannot_say_is_refused(tablet: Bench, changed: dict[str, Any]) -> None:
    hand_in(tablet, KEPT, status=422, **changed)


def test_damaged_tables_are_told_without_places_of_this_machine(tablet: Bench) -> None:
    for name, content in (
        ("a.xlsx", b"PK\x03\x04 nothing"), ("a.ods", b"x" * 100), ("a.parquet", b"PAR1xxxxPAR1"),
        ("a.csv", b"\xff\xfe\x00"), ("a.csv", b"\n\n"),
    ):  # fmt: skip
        shown = text_of(hand_in(tablet, content, name))
        assert "It could not be read" in shown
        assert "/tmp" not in shown
        assert "--" not in shown


def test_a_report_of_another_kind_is_no_table(house: House, tablet: Bench) -> None:
    with house.opened.database.write() as connection:
        number = insert_report(connection, "rates", {}, "", house.opened.clock())
    for path in (f"/history/import/{number}", f"/history/import/{number}/rejected.csv"):
        assert tablet.client.get(path).status_code in (404, 422)
    assert tablet.client.get("/history/import/77").status_code in (404, 422)


def test_only_so_many_tables_wait(tablet: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploading, "MOST_WAITING", 2)
    first = hand_in(tablet, KEPT)
    hand_in(tablet, KEPT)
    assert "2 tables wait already" in hand_in(tablet, KEPT, status=422)
    press(tablet, first, "forget")
    hand_in(tablet, KEPT)


def test_every_model_s_columns_have_words(tablet: Bench) -> None:
    for number, model in enumerate(list_models(), start=1):
        shown = hand_in(tablet, "Order No;Date in\n17;2031-05-03\n", model=model)
        assert "number of the job" in shown
        assert f"/history/import/{number}" in shown


def test_on_either_database(database_url: str) -> None:
    house = house_on(database_url)
    tablet = at_once(house)
    press(tablet, hand_in(tablet, KEPT), "all")
    assert [job.number for job in jobs_in(house.opened)] == ["17", "18"]
    assert backlight().id == jobs_in(house.opened)[0].model
    house.opened.database.close()
