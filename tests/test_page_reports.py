"""The owner's and the analyst's screens: asked, waited for, read, accepted with a question before, taken back."""

import json
import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from fastapi.testclient import TestClient
from histories import made_up, taken, written_out
from pages import HERE, Bench, hidden, house_on, text_of
from test_versions import learned

from faultnet.reports.document import Document
from faultnet.telling.block import Block, Line, Table, points
from faultnet.web.app import make_app
from faultnet.web.house import House
from faultnet.workshop.reporting import ask as asked_for
from faultnet.workshop.reporting import fail, finish, report_of
from faultnet.workshop.versions import accept, versions_of, would_be

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><title>Shares</title></svg>'
EVIL = "a year <script>alert(1)</script>"
WAIT_S = 200


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> House:
    monkeypatch.setenv("FAULTNET_DATA", str(tmp_path / "data"))
    return house_on(tmp_path)


@pytest.fixture
def client(house: House, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    app = make_app(house)
    monkeypatch.setattr(app.state.worker, "take", lambda _: None)  # what comes of it is put there by hand
    yield TestClient(app, base_url=HERE)
    house.opened.database.close()


@pytest.fixture
def tablet(client: TestClient) -> Bench:
    return Bench(client)


def tuned(house: House, by: float = 0.02, parent: int = 0) -> int:
    """A report of tuning that is done: what it says, and the version that it would be."""
    number = asked_for(house.opened, "tune", {"model": "backlight", "seed": int(1000 * by)}, "bo")
    shares = Table((("strips.open", "46 %", "48 %"),), ("", "in use", "learned"), "lrr")
    block = Block("Shares & more", "90 % interval", points(["left out, 2: no end <b>"]), shares, (Line("pooled"),))
    version = would_be(learned(by), parent).as_document()
    told = Document((block,), (block, Block("Every number")), {"schema_version": 1}, {"shares": SVG}, version)
    finish(house.opened, number, told.as_data())
    return number


# -- asked -------------------------------------------------------------------------------------------------------------


def test_tuning_is_asked_for_in_plain_words(house: House, tablet: Bench) -> None:
    page = tablet.get("/tuning")
    assert "it is in use as its file was written" in text_of(page)
    assert "Nothing yet" in text_of(page)
    waiting = tablet.post("/tuning", model="backlight", groups="none", before="2031-01-01", strength="0.5")
    assert "Being worked out" in text_of(waiting)
    assert "Backlight, groups" not in text_of(waiting)
    assert re.search(r'<meta http-equiv="refresh" content="\d+">', waiting)
    asked = report_of(house.opened, 1).asked
    assert asked == {"model": "backlight", "before": "2031-01-01", "groups": "", "strength": 0.5}
    listed = text_of(tablet.get("/tuning"))
    assert "Being worked out backlight, before 2031-01-01, strength 0.5" in listed


def test_rates_and_comebacks_are_asked_for(house: House, tablet: Bench) -> None:
    tablet.post("/rates", model="backlight", of="component", by="age", and_by="size", counted_only="yes")
    tablet.post("/rates", model="backlight", of="comebacks", by="repair", any_symptom="yes", watched_days="60")
    shares, back = (report_of(house.opened, number).asked for number in (1, 2))
    assert (shares["by"], shares["counted_only"]) == (["age", "size"], True)
    assert (back["of"], back["watched_days"], back["any_symptom"]) == ("comebacks", 60.0, True)
    listed = text_of(tablet.get("/rates"))
    assert "backlight, comebacks, by repair" in listed
    assert "watched days 60 " in listed


def test_calibration_is_asked_for(house: House, tablet: Bench) -> None:
    tablet.post("/calibration", model="backlight", since="2031-01-01")
    assert report_of(house.opened, 1).asked == {"model": "backlight", "since": "2031-01-01"}


@pytest.mark.parametrize(
    ("path", "form", "said"),
    [
        (
            "/tuning",
            {"model": "backlight", "before": "spring", "strength": "lots"},
            ["spring: write a day", "strength"],
        ),
        ("/tuning", {"model": "../../etc/passwd"}, ["write a model's id"]),
        ("/rates", {"model": "backlight", "of": "component", "by": "colour", "since": "x"}, ["x: write", "by colour"]),
        ("/rates", {"model": "backlight", "of": "mode", "by": "mode", "counted_only": "yes"}, ["in which mode"]),
        ("/calibration", {"model": "", "since": "17.5."}, ["17.5.: write a day", "say which model"]),
    ],
)
def test_all_slips_are_said_at_once_and_what_was_typed_stays(
    tablet: Bench, path: str, form: dict[str, str], said: list[str]
) -> None:
    page = tablet.post(path, 422, **form)
    for part in said:
        assert part in text_of(page).lower()
    for day in ("before", "since"):
        if form.get(day):
            assert f'name="{day}" value="{form[day]}"' in page


# -- read --------------------------------------------------------------------------------------------------------------


def test_a_report_is_headings_sentences_tables_and_a_picture(house: House, tablet: Bench) -> None:
    page = tablet.get(f"/reports/{tuned(house)}")
    assert SVG in page
    assert "<h2>Shares &amp; more" in page
    assert "no end &lt;b&gt;" in page
    assert re.search(r'<td>strips.open</td>\s*<td class="r">46 %</td>', page)
    assert "asked for by bo" in text_of(page)
    assert "Every number" not in page
    assert "Every number" in tablet.get("/reports/1?full=yes")
    drawn = tablet.client.get("/reports/1/shares.svg")
    assert (drawn.headers["content-type"], drawn.text) == ("image/svg+xml", SVG)
    assert "no such picture" in tablet.get("/reports/1/other.svg", 404)


def test_why_nothing_came_of_a_report_stands_on_its_page(house: House, tablet: Bench) -> None:
    number = asked_for(house.opened, "rates", {"model": "backlight"}, "")
    fail(house.opened, number, "too few jobs <i>\nask later")
    page = tablet.get(f"/reports/{number}")
    assert "Too few jobs &lt;i&gt;." in page
    assert "Ask later." in page
    assert "there is no report 77" in text_of(tablet.get("/reports/77", 404)).lower()
    assert "has no learned numbers" in tablet.get(f"/reports/{number}/accept", 422)


# -- accepted, and taken back ------------------------------------------------------------------------------------------


def test_numbers_are_accepted_after_a_question_and_taken_back_after_another(house: House, tablet: Bench) -> None:
    """Who and why are asked, slips are said, and a reason is text wherever it stands."""
    number = tuned(house)
    assert "Use these numbers?" in tablet.get(f"/reports/{number}/accept")
    refused = text_of(tablet.post(f"/reports/{number}/accept", 422, by="", reason=" "))
    assert "Say who accepts it. Say why." in refused
    assert versions_of(house.opened, "backlight") == []
    page = tablet.post(f"/reports/{number}/accept", by="bo", reason=EVIL)
    assert "Backlight@1 is in use from now on." in text_of(page)
    assert "<script" not in page
    assert "&lt;script&gt;" in page
    assert house.workshop().load_model("backlight").version == "backlight@1"
    assert "Accepted as backlight@1" in text_of(tablet.get(f"/reports/{number}"))
    assert f"/reports/{number}/accept" not in tablet.get(f"/reports/{number}")
    question = tablet.get("/tuning/undo?model=backlight")
    assert "Take backlight@1 back?" in text_of(question)
    assert "<script" not in question
    newest = hidden(question, "newest")
    tablet.post("/tuning/undo", 422, model="backlight", newest=newest, by="al", reason="")
    done = text_of(tablet.post("/tuning/undo", model="backlight", newest=newest, by="al", reason="worse"))
    assert "Backlight@1 was taken back: backlight@2 is in use." in done
    assert "nothing to take back" in text_of(tablet.get("/tuning/undo?model=backlight", 422))


def test_of_two_who_decide_at_once_the_second_is_told(house: House, tablet: Bench) -> None:
    first, second = tuned(house, 0.02), tuned(house, 0.05)
    tablet.post(f"/reports/{first}/accept", by="bo", reason="mine")
    said = text_of(tablet.post(f"/reports/{second}/accept", 422, by="al", reason="mine"))
    assert "backlight@1 was accepted meanwhile; this was learned beside backlight@0, and is stale" in said.replace(
        "Backlight@1", "backlight@1"
    )
    newest = hidden(tablet.get("/tuning/undo?model=backlight"), "newest")
    accept(house.opened, learned(0.05), 1, "al", "quicker")
    said = text_of(tablet.post("/tuning/undo", 422, model="backlight", newest=newest, by="bo", reason="worse"))
    assert "was accepted meanwhile, by al" in said
    assert [each.number for each in versions_of(house.opened, "backlight")] == [1, 2]


# -- for programs ------------------------------------------------------------------------------------------------------


def test_reports_and_versions_as_json(house: House, client: TestClient) -> None:
    asked = client.post("/api/reports", json={"kind": "rates", "asked": {"by": ["age"], "of": "outcome"}, "by": "bo"})
    assert (asked.status_code, asked.json()["stands"]) == (202, "open")
    slips = client.post("/api/reports", json={"kind": "tune", "asked": {"model": "x y", "strength": -1}})
    assert (slips.status_code, len(slips.json()["problems"])) == (422, 2)
    assert client.post("/api/reports", json={"kind": "import"}).status_code == 422
    number = tuned(house)
    told = client.get(f"/api/reports/{number}").json()
    assert (told["stands"], told["answer"], told["led_to"]) == ("done", {"schema_version": 1}, None)
    assert [each["kind"] for each in client.get("/api/reports").json()["reports"]] == ["tune", "rates"]
    assert [each["kind"] for each in client.get("/api/reports?kind=rates").json()["reports"]] == ["rates"]
    assert client.get("/api/reports/99").status_code == 404
    why = {"by": "bo", "reason": EVIL}
    assert client.post("/api/versions/intake/accept", json={"report": number, **why}).status_code == 422
    unsaid = client.post("/api/versions/backlight/accept", json={"report": number, "by": " ", "reason": ""})
    assert unsaid.json() == {"problems": ["say who accepts it", "say why"]}
    accepted = client.post("/api/versions/backlight/accept", json={"report": number, **why}).json()
    assert (accepted["version"], accepted["reason"], accepted["jobs"]) == ("backlight@1", EVIL, 40)
    assert client.post("/api/versions/backlight/accept", json={"report": number, **why}).status_code == 409
    assert client.post("/api/versions/backlight/undo", json={"number": 7, **why}).status_code == 409
    back = client.post("/api/versions/backlight/undo", json={"number": 1, **why}).json()
    assert (back["version"], back["undoes"]) == ("backlight@2", 1)
    assert [v["version"] for v in client.get("/api/versions/backlight").json()["versions"]] == [
        "backlight@1",
        "backlight@2",
    ]


# -- all of it ---------------------------------------------------------------------------------------------------------


def test_what_is_asked_at_the_page_is_worked_out_and_shown(house: House, tmp_path: Path) -> None:
    """With the real worker: asked for by a form, read with its plot, and the same as JSON; it stops with the page."""
    taken(house.opened, written_out(tmp_path / "jobs.csv", made_up(400).jobs[:60]))
    with TestClient(make_app(house), base_url=HERE) as client:
        tablet = Bench(client)
        tablet.post("/rates", model="backlight", of="component", by="panel_group", counted_only="yes")
        end = time.monotonic() + WAIT_S
        while 'http-equiv="refresh"' in (page := tablet.get("/reports/1")):
            assert time.monotonic() < end
            time.sleep(0.1)
        told: dict[str, Any] = client.get("/api/reports/1").json()
    assert "Shares by component, for each panel group" in text_of(page)
    (svg,) = re.findall(r"<svg.*?</svg>", page, flags=re.DOTALL)
    root = ElementTree.fromstring(svg)
    assert root.get("role") == "img"
    assert not any("style" in element.attrib for element in root.iter())
    assert told["answer"]["n_jobs"] == json.loads(json.dumps(told["answer"]))["n_jobs"] > 30
    house.opened.database.close()
