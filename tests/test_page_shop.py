"""The shop's own screens: what there is, its history, its voltages, its settings; in forms and as JSON."""

import csv
import io
import json
import re
import tomllib
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from histories import backlight, kept, made_up, written_out
from pages import HERE, Bench, bench, hidden, house_on, text_of

from faultnet.cli.main import app as command_line
from faultnet.history.mapping import from_data
from faultnet.sheets.read import read_table
from faultnet.shop import load_shop
from faultnet.store.voltages import read_voltages
from faultnet.web.app import make_app
from faultnet.web.house import House
from faultnet.workshop.importing import Source, take_in

SCRIPT = "<script>alert(1)</script>"


@pytest.fixture
def house(tmp_path: Path) -> House:
    return house_on(tmp_path, trained=False)


@pytest.fixture
def tablet(house: House) -> Bench:
    return bench(house)


@pytest.fixture
def client(house: House) -> TestClient:
    return TestClient(make_app(house), base_url=HERE)


def taken(house: House, folder: Path, n_jobs: int = 12) -> None:
    """Some made-up jobs, taken in as a batch."""
    file = written_out(folder / "made up.csv", made_up(n_jobs).jobs)
    take_in(house.opened, Source(file, backlight()), partial=False)


def typed(house: House, capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    """What a command prints as JSON about the same shop."""
    db = () if words[0] == "shop" else ("--db", house.database)
    command_line([*words, *db, "--shop", house.shop_file, "--json"], standalone_mode=False)
    return json.loads(capsys.readouterr().out)


def settings_in(house: House) -> dict[str, Any]:
    return tomllib.loads(Path(house.shop_file).read_text(encoding="utf-8"))


# -- the shop ----------------------------------------------------------------------------------------------------------


def test_the_shop_tells_how_much_work_there_is_and_leads_everywhere(house: House, tmp_path: Path) -> None:
    taken(house, tmp_path)
    tablet = bench(house)
    tablet.post("/new", model="backlight", occurrence="always")
    told = tablet.get("/shop")
    assert "1 at work" in text_of(told).replace("at work 1", "1 at work")
    assert "12" in text_of(told)
    assert "nothing was learned from this shop's jobs yet" in told
    assert {"/history", "/history/import", "/voltages", "/settings", "/tablet", "/jobs"} <= set(
        re.findall(r'href="([^"]+)"', told)
    )


@pytest.mark.parametrize(
    "path",
    [
        "/shop", "/history", "/history/import", "/voltages", "/voltages/learn", "/voltages/learn?look=yes", "/settings",
        "/settings/training", "/settings/shop", "/settings/gates", "/settings/hazard_prices",
        "/settings/new_set_prices", "/settings/meter", "/settings/new/meter", "/settings/new/panel_group",
        "/history/batches/1",
    ],
)  # fmt: skip
def test_every_screen_has_labels_headings_in_order_and_no_scripts(house: House, tmp_path: Path, path: str) -> None:
    """WCAG 2.2, 1.3.1 and 3.3.2: each field has a label that is there; one first heading, and no level left out."""
    taken(house, tmp_path)
    shown = bench(house).get(path)
    levels = [int(level) for level in re.findall(r"<h([1-6])", shown)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= before + 1 for before, later in pairwise(levels))
    ids = re.findall(r'\bid="([^"]+)"', shown)
    assert len(ids) == len(set(ids))
    labelled = set(re.findall(r'<label for="([^"]+)"', shown))
    fields = re.findall(r'<(?:input|select)(?![^>]*type="(?:hidden|radio|checkbox)")[^>]*\bid="([^"]+)"', shown)
    assert set(fields) <= labelled
    assert shown.count("<input") + shown.count("<select") == len(re.findall(r"<(?:input|select)[^>]*\bname=", shown))
    assert "<script" not in shown
    assert " style=" not in shown


# -- history -----------------------------------------------------------------------------------------------------------


def test_an_empty_history_says_so(tablet: Bench) -> None:
    assert "No jobs yet" in tablet.get("/history")
    assert tablet.get("/history/export.csv").count("\n") == 1


def test_the_history_says_what_the_command_line_says(
    house: House, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    taken(house, tmp_path)
    told = text_of(bench(house).get("/history"))
    counted = typed(house, capsys, "history", "summary")
    assert f"{counted['n_jobs']} jobs from" in told
    assert f"fixed {counted['by_outcome']['fixed']} " in told
    assert f"no price {counted['gaps']['no price']} " in told
    assert "torch at the screen" in told or "torch" in told
    assert "made up.csv" in told


def test_a_batch_goes_after_a_question(house: House, tmp_path: Path) -> None:
    taken(house, tmp_path)
    tablet = bench(house)
    asked = tablet.get("/history/batches/1")
    assert "12 jobs from made up.csv" in text_of(asked)
    assert "12 jobs" in text_of(tablet.get("/history")), "the question alone takes nothing out"
    told = text_of(tablet.post("/history/batches/1/undo"))
    assert "Taken out: batch 1" in told
    assert "No jobs yet" in told
    again = tablet.post("/history/batches/1/undo", 422)
    assert "was taken out already" in again
    for path in ("/history/batches/9", "/history/batches/0", "/history/batches/99999999999999999999"):
        tablet.get(path, 422)


def test_all_jobs_are_downloaded_as_the_command_line_writes_them(house: House, tmp_path: Path) -> None:
    taken(house, tmp_path, 450)
    client = TestClient(make_app(house), base_url=HERE)
    answer = client.get("/history/export.csv")
    assert answer.headers["content-type"].startswith("text/csv")
    assert answer.headers["content-disposition"] == 'attachment; filename="faultnet-jobs-2031-05-17.csv"'
    file = tmp_path / "out.csv"
    command_line(
        ["history", "export", str(file), "--db", house.database, "--shop", house.shop_file], standalone_mode=False
    )
    assert answer.content == file.read_bytes()


def test_text_of_people_is_text_in_the_history_and_no_formula_in_the_download(house: House, tmp_path: Path) -> None:
    text = f"Order No;Date in;Got sound?;Result;Cat\n17;2031-05-03;yes;ok;=1+1\n18;2031-05-03;yes;ok;{SCRIPT}\n"
    file = kept(tmp_path, text)
    odd = file.rename(tmp_path / "a&b {{ 7*7 }}.csv")
    uses = from_data({"columns": {"Cat": "notes", "Got sound?": "ignore"}}, read_table(odd).columns, backlight())
    take_in(house.opened, Source(odd, backlight(), uses=uses), partial=False)
    tablet = bench(house)
    shown = tablet.get("/history")
    assert "a&amp;b {{ 7*7 }}.csv" in shown
    rows = list(csv.DictReader(io.StringIO(tablet.get("/history/export.csv"))))
    assert [row["notes"] for row in rows] == ["'=1+1", SCRIPT]


# -- voltages ----------------------------------------------------------------------------------------------------------


def test_an_entry_is_added_found_doubted_and_taken_out(house: House, tablet: Bench) -> None:
    tablet.post("/voltages", kind="panel", code="PX-1040", loaded="54.2", unplugged="63.5", source="measured")
    told = text_of(tablet.post("/voltages", kind="panel", code="px1040", loaded="84.2", source="label", note=SCRIPT))
    assert "Added: 2031-05-17 panel px1040, 84.2 V loaded (label)" in told
    assert "is far from 54.22 V" in told or "is far from 54.23 V" in told
    assert "The next set with it:" in told
    tablet.post("/voltages", kind="board", code="LB-20", unplugged="64", source="data_sheet", day="2031-05-01")
    assert "LB-20" not in tablet.get("/voltages?code=px-10")
    assert "&lt;script&gt;" in tablet.get("/voltages?code=px-10")
    assert "did you mean" in tablet.get("/voltages?code=LB-29")
    question = tablet.get("/voltages/2")
    assert "84.2 V loaded" in question
    tablet.post("/voltages/2/remove", 422, entry="something else")
    assert "Taken out." in tablet.post("/voltages/2/remove", entry=hidden(question, "entry"))
    with house.opened.database.read() as connection:
        assert [entry.code for entry in read_voltages(connection)] == ["PX-1040", "LB-20"]
    tablet.get("/voltages/2", 422)


def test_a_number_that_was_given_again_does_not_take_another_entry_out(tablet: Bench) -> None:
    tablet.post("/voltages", code="PX-1040", loaded="54.2", source="measured")
    question = tablet.get("/voltages/1")
    tablet.post("/voltages/1/remove", entry=hidden(question, "entry"))
    tablet.post("/voltages", code="PX-2040", loaded="54.2", source="measured")
    tablet.post("/voltages/1/remove", 422, entry=hidden(question, "entry"))
    assert "PX-2040" in tablet.get("/voltages")


def test_all_slips_of_an_entry_are_told_in_the_words_of_the_form(tablet: Bench) -> None:
    told = tablet.post("/voltages", 422, code="", loaded="54,2", unplugged="9000", source="measured", day="1.5.2031")
    for said in (
        "Code &#39;&#39;: write the code as it is printed", "Loaded 54,2: write volts", "the shop&#39;s settings say",
        "Unplugged 9000: not from 5 to 800 V", "Day 1.5.2031: write it as 2031-05-17",
    ):  # fmt: skip
        assert said in told
    assert "--" not in text_of(told)
    assert 'value="54,2"' in told, "what was typed is not lost"
    assert "The list is empty" in told


def test_voltages_are_learned_from_past_jobs_after_a_look(house: House, capsys: pytest.CaptureFixture[str]) -> None:
    tablet = bench(house)
    for n in range(3):
        tablet.post("/new", model="backlight", panel="PX-1040", nominal="54", occurrence="always")
        events = "sound=present flashlight=no_image loaded_voltage=54.3 visual=nothing"
        tablet.post(f"/jobs/{1001 + n}/entries", events=events, read="yes")
    n_found = typed(house, capsys, "voltages", "learn")["entries"]
    assert n_found, "these readings are surely normal"
    looked = tablet.get("/voltages/learn?look=yes")
    assert "3 jobs looked through; 3 sets" in looked
    with house.opened.database.read() as connection:
        assert read_voltages(connection) == []
    assert "What past jobs say stands in the list now" in tablet.post("/voltages/learn")
    with house.opened.database.read() as connection:
        assert [entry.note for entry in read_voltages(connection)] == ["job 1001", "job 1002", "job 1003"]


# -- settings ----------------------------------------------------------------------------------------------------------


def test_every_setting_is_shown_with_what_it_is_and_where_from(house: House, tablet: Bench) -> None:
    shown = text_of(tablet.get("/settings"))
    assert "Money for an hour at the bench 40 default" in shown
    assert "What money is counted in (ISO 4217) EUR" in shown
    assert "Price of hazard 4: panel opened 8 default" in shown
    assert house.shop_file in shown
    assert "shop.db" in shown
    assert 'name="database.url"' not in shown


def test_a_group_is_changed_with_its_comments_kept_and_back_to_the_default(house: House, tablet: Bench) -> None:
    file = Path(house.shop_file)
    file.write_text('# Lantern Street\n[shop]\ncurrency = "EUR"  # since ever\n', encoding="utf-8")
    told = text_of(tablet.post("/settings/shop", shop__hourly_rate="52.50", shop__currency="EUR"))
    assert "Changed: Money for an hour at the bench: 52.5" in told
    text = file.read_text(encoding="utf-8")
    assert "# Lantern Street" in text
    assert "# since ever" in text
    assert settings_in(house)["shop"] == {"currency": "EUR", "hourly_rate": 52.5}
    tablet.post("/settings/shop", shop__hourly_rate="", was__shop__hourly_rate="52.5")
    assert settings_in(house)["shop"] == {"currency": "EUR"}
    assert "nothing is different" in text_of(tablet.post("/settings/shop", 422, shop__currency="EUR")).lower()


def test_what_another_tablet_changed_meanwhile_stays(house: House, tablet: Bench) -> None:
    """The form was shown with an hourly rate of 40, and only its currency was changed."""
    tablet.post("/settings/shop", shop__hourly_rate="60", was__shop__hourly_rate="")
    tablet.post(
        "/settings/shop",
        shop__hourly_rate="", was__shop__hourly_rate="", shop__currency="chf", was__shop__currency="EUR",
    )  # fmt: skip
    assert load_shop(house.shop_file).settings.hourly_rate == 60
    assert load_shop(house.shop_file).settings.currency == "CHF"


def test_all_slips_are_told_by_the_labels_and_nothing_is_changed(house: House, tablet: Bench) -> None:
    before = Path(house.shop_file).read_bytes()
    told = tablet.post("/settings/gates", 422, gates__panel="92", gates__repair="x", gates__uneconomic=SCRIPT)
    shown = text_of(told)
    assert "How sure of the part before the panel is opened: 92 is not from 0.5 to 1; for 92 % write 0.92." in shown
    assert 'How sure of the part before any other repair: "x" is no number' in shown
    assert SCRIPT not in told
    assert 'value="92"' in told
    assert Path(house.shop_file).read_bytes() == before
    falling = tablet.post("/settings/hazard_prices", 422, hazard_prices__powered="0.5")
    assert "a more dangerous step must not cost less" in falling.lower()


def test_a_bench_is_marked_as_trained_only_after_the_caution(house: House, tablet: Bench) -> None:
    asked = text_of(tablet.get("/settings/training"))
    assert "Only people who are trained for it" in asked
    assert "Local rules and licensed practice go before anything" in asked
    tablet.post("/settings/training", 422, trained="true")
    assert not load_shop(house.shop_file).settings.trained
    assert "This bench: trained" in text_of(tablet.post("/settings/training", trained="true", read="yes"))
    assert load_shop(house.shop_file).settings.trained
    tablet.post("/settings/training", trained="false")
    assert not load_shop(house.shop_file).settings.trained
    tablet.post("/settings/shop", 422, shop__trained="true")
    assert not load_shop(house.shop_file).settings.trained


def test_only_the_terminal_changes_the_database(house: House, tablet: Bench) -> None:
    before = Path(house.shop_file).read_bytes()
    tablet.post("/settings/database", 422, database__url="elsewhere.db")
    tablet.post("/settings/shop", 422, database__url="elsewhere.db")
    assert Path(house.shop_file).read_bytes() == before


def test_meters_and_panel_groups_are_made_changed_and_taken_out(house: House, tablet: Bench) -> None:
    tablet.post("/settings/new/meter", name="Old One", value="slow")
    tablet.post("/settings/meters.old_one", meters__old_one__percent="1.2")
    shop = load_shop(house.shop_file)
    assert (shop.own_meter_classes, shop.own_meters["old_one"].percent) == ({"old_one": "slow"}, 1.2)
    tablet.post("/settings/meters.old_one", press="remove")
    assert load_shop(house.shop_file).own_meters == {}
    tablet.post("/settings/new/panel_group", name="tall", value="PX-1040, PX-55*")
    assert "PX-1040, PX-55*" in tablet.get("/settings")
    assert "is there already" in tablet.post("/settings/new/panel_group", 422, name="tall", value="PX-1")
    assert "no panel code" in tablet.post("/settings/panel_groups.tall", 422, panel_groups__tall="*x")
    tablet.post("/settings/panel_groups.tall", panel_groups__tall="PX-1040")
    assert load_shop(house.shop_file).panel_groups.codes == {"tall": ("PX-1040",)}
    tablet.post("/settings/panel_groups.tall", press="remove")
    assert load_shop(house.shop_file).panel_groups.codes == {}
    for name in ("", SCRIPT, "../up", "a.b", "9lives"):
        assert SCRIPT not in tablet.post("/settings/new/panel_group", 422, name=name, value="PX-1")
    tablet.get("/settings/new/anything", 422)
    tablet.get("/settings/nothing", 422)


def test_a_comma_counts_where_the_shop_writes_commas(house: House, tablet: Bench) -> None:
    tablet.post("/settings/shop", 422, shop__hourly_rate="52,5")
    tablet.post("/settings/shop", shop__decimal_comma="true")
    tablet.post("/settings/shop", shop__hourly_rate="52,5")
    assert load_shop(house.shop_file).settings.hourly_rate == 52.5


# -- JSON --------------------------------------------------------------------------------------------------------------


def test_the_documents_are_those_of_the_command_line(
    house: House, client: TestClient, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    taken(house, tmp_path)
    client.post("/api/voltages", json={"code": "PX-1040", "loaded_volts": 54.2, "note": "one"})
    for path, words in (
        ("/api/history/summary", ("history", "summary")),
        ("/api/batches", ("history", "import", "--batches")),
        ("/api/voltages", ("voltages", "list")),
        ("/api/voltages?code=px1040", ("voltages", "list", "px1040")),
        ("/api/settings", ("shop", "info")),
    ):
        told = client.get(path).json()
        if path == "/api/settings":
            told["files"]["database"] = typed(house, capsys, *words)["files"]["database"]
        assert told == typed(house, capsys, *words), path


def test_a_batch_is_undone_in_json(house: House, client: TestClient, tmp_path: Path) -> None:
    taken(house, tmp_path)
    assert client.post("/api/batches/1/undo", json={}).json() == {"batch": 1, "jobs": 12}
    again = client.post("/api/batches/1/undo", json={})
    assert (again.status_code, again.json()["problems"]) == (422, ["batch 1: was taken out already; in are none"])


def test_entries_are_checked_in_json(client: TestClient) -> None:
    added = client.post("/api/voltages", json={"code": "PX-1040", "loaded_volts": 54.25, "day": "2031-05-01"})
    assert added.status_code == 201
    assert added.json()["entries"][0]["loaded_volts"] == 54.25
    close = client.post("/api/voltages", json={"code": "PX-1041", "loaded_volts": 54})
    assert "a new code" in close.json()["doubts"][0]
    for body in (
        {"code": "PX-1040"}, {"code": "", "loaded_volts": 54}, {"code": "PX", "loaded_volts": 54, "colour": "red"},
        {"code": "PX", "loaded_volts": 1e9}, {"code": "x" * 61, "loaded_volts": 54},
        {"code": "PX", "loaded_volts": 54, "unplugged_volts": 20},
        {"code": "PX", "loaded_volts": 54, "day": "2041-01-01"},
    ):  # fmt: skip
        refused = client.post("/api/voltages", json=body)
        assert refused.status_code == 422, body
        assert refused.json()["problems"]
        assert "--" not in str(refused.json()["problems"])


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ([{"key": "database.url", "value": "other.db"}], "only at the terminal"),
        ([{"key": " URL", "value": "other.db"}], "only at the terminal"),
        ([{"key": "trained", "value": "true"}], "trained_people_only"),
        ([{"key": "shop.trained", "value": "true # indeed"}], "trained_people_only"),
        ([{"key": "gates.panel", "value": "92"}, {"key": "hourly_rat", "value": "1"}], "hourly_rate"),
        ([], "changes"),
    ],
)
def test_settings_in_json_are_guarded(
    house: House, client: TestClient, changes: list[dict[str, str]], said: str
) -> None:
    before = Path(house.shop_file).read_bytes()
    refused = client.post("/api/settings", json={"changes": changes})
    assert refused.status_code == 422
    assert said in " ".join(refused.json()["problems"])
    assert Path(house.shop_file).read_bytes() == before


def test_settings_change_in_json(house: House, client: TestClient) -> None:
    body = {
        "changes": [{"key": "hourly_rate", "value": "52"}, {"key": "trained", "value": "true"}],
        "trained_people_only": True,
    }
    told = {each["key"]: each for each in client.post("/api/settings", json=body).json()["settings"]}
    assert (told["shop.hourly_rate"]["value"], told["shop.hourly_rate"]["from"]) == (52, "file")
    assert load_shop(house.shop_file).settings.trained
    client.post("/api/settings", json={"changes": [{"key": "hourly_rate", "value": None}]})
    assert load_shop(house.shop_file).settings.hourly_rate == 40


def test_on_either_database(database_url: str, tmp_path: Path) -> None:
    settings = tmp_path / "shop.toml"
    settings.write_text("", encoding="utf-8")
    house = replace(house_on(database_url), shop_file=str(settings))
    taken(house, tmp_path, 30)
    tablet = bench(house)
    assert "30 jobs from" in tablet.get("/history")
    assert tablet.get("/history/export.csv").count("\n") == 31
    tablet.post("/voltages", code="PX-1040", loaded="54.2", source="measured")
    question = tablet.get("/voltages/1")
    tablet.post("/voltages/1/remove", entry=hidden(question, "entry"))
    assert "30" in text_of(tablet.get("/shop"))
    tablet.post("/history/batches/1/undo")
    assert "No jobs yet" in tablet.get("/history")
    house.opened.database.close()
