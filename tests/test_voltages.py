"""The list of voltages: codes, CSV written and read back, damage, the database, and `next` that goes by it."""

import csv
import json
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_cli import run

from faultnet.errors import FileProblem, ShopProblem, UsageProblem
from faultnet.jobs.codes import code_key
from faultnet.readings.learned import learned_spread
from faultnet.sheets.cells import defused, restored
from faultnet.shop.nominal import NominalTyped, known_nominal
from faultnet.shop.voltages import COLUMNS, LEAST_VOLTS, MOST_VOLTS, Entry, nearest_codes, nominal_of
from faultnet.shop.voltages_file import csv_text, parse_entries, read_entries
from faultnet.store.database import open_database
from faultnet.store.voltages import insert_voltages, read_voltages
from faultnet.workshop.voltages_typed import VoltsTyped, doubts, parse_entry

DAY = date(2031, 5, 17)
HEADING = ",".join(COLUMNS)
PANEL = Entry(DAY, "panel", "PX-1040", 54.2, 63.0)


def entry(**changed: Any) -> Entry:
    return replace(PANEL, **changed)


def typed(**changed: str) -> VoltsTyped:
    usual = VoltsTyped("panel", "PX-1040", "54.2", "", "measured", "2031-05-17", "")
    return replace(usual, **changed)


# -- codes ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("code", ["PX-1040", "px1040", " Px 10-40 ", "PX\u20111040", "PX\u00a01040", "p-x-1-0-4-0"])
def test_a_code_is_the_same_in_any_case_and_with_any_spaces_and_dashes(code: str) -> None:
    assert code_key("PX-1040") == code_key(code)
    assert PANEL.is_of("panel", code)
    assert not PANEL.is_of("board", code)
    assert nominal_of([PANEL], "panel", code) is not None


@pytest.mark.parametrize("code", ["PX-1041", "PX_1040", "PX-1040A", ""])
def test_other_codes_are_others(code: str) -> None:
    assert not PANEL.is_of("panel", code)
    assert nominal_of([PANEL], "panel", code) is None


def test_the_nearest_codes_are_of_the_same_kind_and_as_typed_first() -> None:
    entries = [PANEL, entry(code="px1040"), entry(code="PX-1041"), entry(kind="board", code="PX-1042")]
    assert sorted(nearest_codes(entries, "panel", "PX1043")) == ["PX-1040", "PX-1041"]
    assert nearest_codes(entries, "panel", "nothing like it") == []


def test_each_entry_counts_as_one_reading_whatever_its_source() -> None:
    entries = [
        PANEL,
        entry(loaded_volts=53.4, unplugged_volts=None, source="label"),
        entry(code="PX-2", loaded_volts=9),
    ]
    nominal = nominal_of(entries, "panel", "px 1040")
    assert nominal is not None
    assert nominal.loaded == learned_spread([54.2, 53.4], 24, 200)
    assert (nominal.readings, nominal.unplugged_readings, nominal.source) == (2, 1, "list")


# -- written and read back --------------------------------------------------------------------------------------------

one_line = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp")), max_size=40)
formulas = st.lists(st.sampled_from(["=", "+", "-", "@", "'", ";", " ", "1", "a", '"', ",", "\uff1d"]), max_size=12)
volts = st.floats(LEAST_VOLTS, MOST_VOLTS)
entries_of_any_kind = st.builds(
    Entry,
    day=st.dates(),
    kind=st.sampled_from(["panel", "board"]),
    code=st.tuples(formulas.map("".join), one_line).map(lambda t: f"{t[0]}X{t[1]}"),
    loaded_volts=volts,
    unplugged_volts=st.none() | volts,
    source=st.sampled_from(["measured", "label", "data_sheet"]),
    note=one_line | formulas.map("".join),
)


@given(st.lists(entries_of_any_kind, min_size=1, max_size=4))
def test_what_is_written_as_csv_reads_back_unchanged(added: list[Entry]) -> None:
    text = csv_text(added)
    assert parse_entries(text.encode()) == (added, [])
    assert len(text.split("\n")) == len(added) + 2


def test_what_is_put_into_the_database_is_read_back_unchanged(database_url: str) -> None:
    database = open_database(database_url)
    added = [PANEL, entry(kind="board", code="=1+1", loaded_volts=None, note="Straße"), entry(day=date(1, 1, 1))]
    with database.write() as connection:
        insert_voltages(connection, added)
    with database.read() as connection:
        assert read_voltages(connection) == added
    database.close()


def would_run(cell: str) -> bool:
    """Whether a spreadsheet that parts cells at `;` or tabs, too, would take a part of it for a formula."""
    return any(
        part.lstrip(" ")[:1] in tuple("=+-@\uff1d\uff0b\uff0d\uff20")
        for part in re.split("[;\t]", cell)
        if part.strip()
    )


@given(formulas.map("".join) | one_line)
def test_nothing_in_a_cell_runs_and_it_is_restored(text: str) -> None:
    assert not would_run(defused(text))
    assert restored(defused(text)) == text


def test_cells_are_defused_in_the_file_and_plain_text_is_left_alone() -> None:
    text = csv_text([entry(code="=1+1", note="@x; =y"), entry(note="a 'plain' note - with, signs")])
    _, first, second = csv.reader(text.splitlines())
    assert (first[2], first[6], second[6]) == ("'=1+1", "'@x;' =y", "a 'plain' note - with, signs")


def test_a_file_that_an_editor_or_a_spreadsheet_saved_is_read(tmp_path: Path) -> None:
    file = tmp_path / "v.csv"
    file.write_bytes(
        b"\xef\xbb\xbf"
        + f'"{HEADING}"\r\n'.replace(",", '","').encode()
        + b"2031-05-17,panel,PX-1040,54.2,63.0,measured,"
    )
    assert read_entries(file) == [PANEL]


@pytest.mark.parametrize("text", ["", "\n", "\ufeff", " \r\n\n"])
def test_an_empty_file_is_an_empty_list(text: str) -> None:
    assert parse_entries(text.encode()) == ([], [])


def test_two_lists_put_one_after_the_other_are_a_list() -> None:
    line = "2031-05-17,panel,PX-1040,54.2,63.0,measured,\n"
    assert parse_entries(f"{HEADING}\n{line}\n,,,,,,\n{HEADING}\n{line}".encode()) == ([PANEL, PANEL], [])


# -- damage -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("2031-05-17,panel,PX-1,54.2,,measured", "3:1: 6 cells instead of 7"),
        ("2031-05-17,panel,PX-1,54,2,,measured,", "3:1: 8 cells instead of 7"),
        ("17.5.2031,panel,PX-1,54.2,,measured,", "3:1: day: 17.5.2031 is no day; write it as"),
        ("2031-02-30,panel,PX-1,54.2,,measured,", "3:1: day: "),
        ("20310517,panel,PX-1,54.2,,measured,", "3:1: day: "),
        ("2031-05-17,pannel,PX-1,54.2,,measured,", "3:12: kind: pannel is none of panel, board"),
        ("2031-05-17,panel, - ,54.2,,measured,", "3:18: code: a code is missing"),
        ("2031-05-17,panel,PX-1,fifty,,measured,", "3:23: loaded_volts: fifty is no voltage"),
        ("2031-05-17,panel,PX-1,5.42e1,,measured,", "3:23: loaded_volts: 5.42e1 is no voltage"),
        ('2031-05-17,panel,PX-1,"54,2",,measured,', "3:23: loaded_volts: 54,2 is no voltage; write digits, with '.'"),
        ("2031-05-17,panel,PX-1,,-63,measured,", "3:24: unplugged_volts: -63 is no voltage"),
        ("2031-05-17,panel,PX-1,54200,,measured,", "3:23: loaded_volts: 54200 V is not from 5 to 800 V"),
        ("2031-05-17,panel,PX-1,,,measured,", "3:23: loaded_volts: neither loaded nor unplugged"),
        ("2031-05-17,panel,PX-1,54.2,,guessed,", "3:29: source: guessed is none of measured"),
        ('2031-05-17,panel,PX-1,54.2,,measured,"open', "3:1: not CSV: unexpected end of data"),
        ('2031-05-17,panel,PX-1,54.2,,measured,"a"b', "3:1: not CSV"),
        ("2031-05-17,pa\x1bnel,PX-1,54.2,,measured,", "3:12: kind: pa\\x1bnel is none"),
    ],
)
def test_a_damaged_line_is_told_with_its_place(tmp_path: Path, line: str, said: str) -> None:
    file = tmp_path / "v.csv"
    text = f"{HEADING}\n2031-05-17,panel,PX-1040,54.2,63,measured,\n{line}\n"
    file.write_bytes(text.encode())
    with pytest.raises(ShopProblem) as caught:
        read_entries(file)
    assert str(caught.value).startswith(f"{file}:{said}")
    assert len(str(caught.value).splitlines()) == 1
    assert file.read_bytes() == text.encode()


def test_all_damage_is_told_at_once_and_nothing_of_it_is_taken(tmp_path: Path) -> None:
    file = tmp_path / "v.csv"
    text = f"{HEADING}\nx,panel,PX-1,1,,measured,\n\n2031-05-17,panel,PX-1,54.2\n2031-05-17,panel,PX-2,54,,measured,\n"
    file.write_text(text, encoding="utf-8")
    db = str(tmp_path / "shop.db")
    done = run("voltages", "add", "--from", str(file), "--db", db, expect=3)
    assert [int(n) for n in re.findall(r"v\.csv:(\d+):", done.stderr)] == [2, 2, 4]
    assert json.loads(run("voltages", "list", "--json", "--db", db).stdout)["entries"] == []
    assert file.read_text(encoding="utf-8") == text


def test_a_list_goes_to_another_shop_and_the_same_file_twice_adds_nothing(tmp_path: Path) -> None:
    one, other, file = str(tmp_path / "one.db"), str(tmp_path / "other.db"), tmp_path / "v.csv"
    for code, volts in (("PX-1040", "54.2"), ("PX-1040", "53.8"), ("PX-7", "37")):
        run("voltages", "add", code, "--loaded", volts, "--day", "2021-05-17", "--db", one)
    file.write_text(run("voltages", "list", "--csv", "--db", one).stdout, encoding="utf-8")
    assert "Added: 3 of 3" in run("voltages", "add", "--from", str(file), "--db", other).stdout
    assert (
        "Added: 0 of 3 entries; 3 were there already"
        in run("voltages", "add", "--from", str(file), "--db", other).stdout
    )
    told = [json.loads(run("voltages", "list", "--json", "--db", db).stdout) for db in (one, other)]
    assert told[0]["entries"] == told[1]["entries"]


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"name,price\nx,3\n", ":1:1: not a list of voltages: its first line must be day,kind"),
        (HEADING.replace(",", ";").encode() + b"\n", ":1:1: its cells are not parted by commas"),
        (b"\n\n" + HEADING.replace(",", "\t").encode(), ":3:1: its cells are not parted by commas"),
        (b"PK\x03\x04 \xff\xfe", ":1:1: not text in UTF-8"),
        (f"{HEADING}\n\n\xfc".encode("latin-1"), ":3:1: not text in UTF-8 (byte 0xFC)"),
    ],
)
def test_a_foreign_file_is_refused_and_left_alone(tmp_path: Path, raw: bytes, said: str) -> None:
    file = tmp_path / "v.csv"
    file.write_bytes(raw)
    done = run("voltages", "add", "--from", str(file), "--db", str(tmp_path / "shop.db"), expect=3)
    assert said in done.stderr
    assert file.read_bytes() == raw


def test_a_file_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    for place in (tmp_path, tmp_path / "none.csv"):
        with pytest.raises(FileProblem, match="cannot be read"):
            read_entries(place)


# -- add and list -----------------------------------------------------------------------------------------------------


def test_an_entry_is_taken_as_typed_and_today_is_passed_in() -> None:
    told = typed(loaded="54.2 V", unplugged="63", source="Data sheet", day="", note=" from the strip ")
    assert parse_entry(told, DAY, decimal_comma=False) == entry(source="data_sheet", note="from the strip")
    assert parse_entry(typed(loaded="54,2"), DAY, decimal_comma=True).loaded_volts == 54.2
    assert parse_entry(typed(loaded="54.2"), DAY, decimal_comma=True).loaded_volts == 54.2


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"loaded": "54,2"}, "decimal_comma = true"),
        ({"loaded": "fifty"}, "--loaded fifty: write volts, such as 54.2"),
        ({"loaded": "5400"}, "not from 5 to 800 V"),
        ({"loaded": ""}, "give --loaded V or --unplugged V"),
        ({"unplugged": "18"}, "no over-voltage limit"),
        ({"source": "lable"}, "did you mean label?"),
        ({"day": "17.5.2031"}, "write it as 2031-05-17"),
        ({"day": "2031-05-18"}, "still to come; today is 2031-05-17"),
        ({"code": " - "}, "write the code as it is printed"),
        ({"code": "P" * 61}, "at most 60"),
        ({"code": "PX\n1040"}, "write the code as it is printed"),
        ({"note": "two\nlines"}, "one line"),
    ],
)
def test_a_slip_in_an_entry_is_told(changed: dict[str, str], said: str) -> None:
    with pytest.raises(UsageProblem) as caught:
        parse_entry(typed(**changed), DAY, decimal_comma=False)
    assert [said in problem for problem in caught.value.problems] == [True]


def test_an_entry_that_fits_the_list_badly_is_asked_about() -> None:
    before = [PANEL, entry(loaded_volts=53.9)]
    assert list(doubts(entry(loaded_volts=54.9), before)) == []
    assert "the same stood there already" in next(iter(doubts(PANEL, before)))
    assert "36 V loaded is far from 54" in next(iter(doubts(entry(loaded_volts=36.0), before)))
    assert "the list has PX-1040" in next(iter(doubts(entry(code="PX-1041"), before)))
    assert list(doubts(entry(kind="board"), before)) == []


def test_add_and_list_at_the_terminal(tmp_path: Path) -> None:
    here = {"FAULTNET_DATA": str(tmp_path)}
    empty = run("voltages", "list", **here)
    assert "No voltages yet" in empty.stdout
    assert json.loads(run("voltages", "list", "--json", **here).stdout)["entries"] == []
    run("voltages", "add", "PX-1040", "--loaded", "54.2", "--unplugged", "63", "--day", "2021-05-17", **here)
    added = run("voltages", "add", "px1040", "--loaded", "53.8", "--source", "label", "--note", "on the strip", **here)
    assert "2 readings" in added.stdout
    assert added.stderr == ""
    run("voltages", "add", "LB-20", "--board", "--unplugged", "66", **here)
    text = run("voltages", "list", **here).stdout
    assert [line for line in text.splitlines() if len(line) > 80] == []
    for word in ("PX-1040", "px1040", "LB-20", "on the strip", "panel PX-1040: 54", "board LB-20: unplugged 66"):
        assert word in text
    told = json.loads(run("voltages", "list", "PX 1040", "--json", **here).stdout)
    assert [e["code"] for e in told["entries"]] == ["PX-1040", "px1040"]
    (code,) = told["codes"]
    assert code["nominal"]["readings"] == 2
    assert code["nominal"]["volts"] == pytest.approx(learned_spread([54.2, 53.8], 24, 200).volts)
    missing = run("voltages", "list", "PX-1049", **here)
    assert (missing.stdout, "did you mean PX-1040?" in missing.stderr) == ("", True)
    assert (tmp_path / "shop.db").exists()


def test_a_shop_that_writes_commas_may(tmp_path: Path) -> None:
    shop = tmp_path / "shop.toml"
    shop.write_text("shop.decimal_comma = true\ndatabase.url = 'own.db'\n", encoding="utf-8")
    run("voltages", "add", "PX-1040", "--loaded", "54,2", "--shop", str(shop))
    told = json.loads(run("voltages", "list", "--json", "--db", str(tmp_path / "own.db")).stdout)
    assert [each["loaded_volts"] for each in told["entries"]] == [54.2]


# -- next by panel and board ------------------------------------------------------------------------------------------


LISTED = [
    PANEL,
    entry(loaded_volts=53.6, unplugged_volts=None),
    entry(kind="board", code="LB-20", loaded_volts=57.0, unplugged_volts=66.0),
    entry(kind="board", code="LB-21", loaded_volts=None, unplugged_volts=70.0),
    entry(code="PX-3000", loaded_volts=36.0, unplugged_volts=None),
]


def listed() -> list[Entry]:
    return LISTED


def near(volts: float) -> Any:
    return pytest.approx(volts, rel=0.002)


@pytest.mark.parametrize(
    ("told", "loaded", "source", "readings", "unplugged"),
    [
        (NominalTyped(panel="px1040"), 53.9, "list", 2, 63),
        (NominalTyped(board="lb20"), 57, "list", 1, 66),
        (NominalTyped(panel="px1040", board="lb20"), 53.9, "list", 2, 66),
        (NominalTyped(panel="px3000", board="lb20"), 36, "list", 1, 66),
        (NominalTyped(panel="nobody's", board="lb20"), 57, "list", 1, 66),
        (NominalTyped(board="lb21"), None, "list", 0, 70),
        (NominalTyped(54, panel="px1040"), 54, "label", 0, 63),
        (NominalTyped(54, panel="nobody's"), 54, "label", 0, None),
        (NominalTyped(leds="17", panel="px1040"), 53.9, "list", 2, 63),
        (NominalTyped(leds="17", board="lb21"), 52.7, "calculated", 0, 70),
        (NominalTyped(leds="17", panel="nobody's"), 52.7, "calculated", 0, None),
        (NominalTyped(54), 54, "label", 0, None),
    ],
)
def test_which_of_label_list_and_calculation_counts(
    told: NominalTyped, loaded: float | None, source: str, readings: int, unplugged: float | None
) -> None:
    nominal = known_nominal(told, listed).nominal
    assert nominal is not None
    assert (nominal.volts, nominal.source, nominal.readings) == (loaded and near(loaded), source, readings)
    assert (None if nominal.unplugged is None else nominal.unplugged.volts) == (unplugged and near(unplugged))
    assert nominal.unplugged_readings == (unplugged is not None)


def test_an_unknown_code_is_told_and_the_nominal_stays_unknown() -> None:
    unknown = known_nominal(NominalTyped(panel="PX-1041"), listed)
    assert unknown.nominal is None
    assert unknown.notes == ("panel PX-1041 is not in the list of voltages; did you mean PX-1040?",)
    empty = known_nominal(NominalTyped(panel="PX-1041"), list)
    assert empty.nominal is None
    assert "the list of voltages is empty" in empty.notes[0]
    with pytest.raises(UsageProblem, match="--board --: that is no code"):
        known_nominal(NominalTyped(board="--"), listed)


def test_a_label_that_the_list_contradicts_is_asked_about() -> None:
    for label, asked in ((54.0, False), (37.0, True)):
        known = known_nominal(NominalTyped(label, panel="PX-1040"), listed)
        assert known.nominal is not None
        assert known.nominal.volts == label
        assert any("the label says 37 V, the list 53.9" in each for each in known.notes) is asked


def told_by_next(arguments: Sequence[str], tmp_path: Path) -> dict[str, Any]:
    done = run("next", "backlight", "loaded_voltage=49", *arguments, "--json", FAULTNET_DATA=str(tmp_path))
    loaded: dict[str, Any] = json.loads(done.stdout)
    return loaded


def test_without_a_code_the_list_is_not_even_asked_for() -> None:
    def refuse() -> list[Entry]:
        raise AssertionError("asked for")

    assert known_nominal(NominalTyped(54.0), refuse).nominal is not None
    with pytest.raises(AssertionError, match="asked for"):
        known_nominal(NominalTyped(panel="PX-1040"), refuse)


def test_next_goes_by_the_list_and_says_so(tmp_path: Path) -> None:
    database = open_database(str(tmp_path / "shop.db"))
    with database.write() as connection:
        insert_voltages(connection, LISTED)
    database.close()
    told = told_by_next(["--panel", "px 1040"], tmp_path)
    learned = learned_spread([54.2, 53.6], 24, 200)
    assert told["nominal"] == {
        "volts": pytest.approx(learned.volts),
        "relative_sd": pytest.approx(learned.relative_sd),
        "dof": learned.dof,
        "source": "list",
        "readings": 2,
        "unplugged_volts": near(63),
        "unplugged_relative_sd": pytest.approx(learned_spread([63], 24 * 1.05, 200 * 1.35).relative_sd),
        "unplugged_dof": 5,
        "unplugged_readings": 1,
    }
    assert told["nominal_volts"] == told["nominal"]["volts"]
    label, nothing = told_by_next(["--nominal", "54"], tmp_path), told_by_next([], tmp_path)
    assert (label["nominal"]["relative_sd"], label["nominal"]["dof"], label["nominal"]["source"]) == (
        0.03,
        None,
        "label",
    )
    assert (nothing["nominal"], nothing["nominal_volts"]) == (None, None)
    assert told["log_evidence"] > nothing["log_evidence"], "49 V is likelier on a set of 54 V than on any"
    done = run("next", "backlight", "loaded_voltage=49", "--panel", "PX1040", FAULTNET_DATA=str(tmp_path))
    understood = " ".join(done.stdout.split("Where things stand")[0].split())
    assert re.search(
        r"nominal voltage: 53\.9\d V \+-3\.1 % \(list, 2 readings\), unplugged 63\.\d+ V \+-3\.9 % \(list, 1 reading\)",
        understood,
    )
    assert [line for line in done.stdout.splitlines() if len(line) > 80] == []
    unknown = run("next", "backlight", "--panel", "PX-1041", FAULTNET_DATA=str(tmp_path))
    assert "did you mean PX-1040?" in unknown.stderr
    assert "nominal voltage" not in unknown.stdout


def test_an_entry_that_was_a_slip_is_taken_out(tmp_path: Path) -> None:
    """One at a time, and only when it is clear which; the next set goes by what is left."""
    db = str(tmp_path / "shop.db")
    for volts in ("54.2", "45.2", "54.2"):
        run("voltages", "add", "PX-1040", "--loaded", volts, "--day", "2026-05-17", "--db", db)
    told = run("voltages", "remove", "px1040", "--db", db, expect=2).stderr
    assert "45.2 V loaded" in told
    assert "--loaded" in told
    assert (
        "Taken out: 2026-05-17 panel PX-1040, 45.2 V"
        in run("voltages", "remove", "px1040", "--loaded", "45.2", "--db", db).stdout
    )
    run("voltages", "remove", "px1040", "--db", db)  # both that are left say the same
    assert len(json.loads(run("voltages", "list", "--json", "--db", db).stdout)["entries"]) == 1
    assert "no longer in the list" in run("voltages", "remove", "PX-1040", "--loaded", "54.2", "--db", db).stdout
    assert "PX-1040 is not in the list" in run("voltages", "remove", "PX-1040", "--db", db, expect=2).stderr
