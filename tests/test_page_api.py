"""The page's JSON: the command line's documents, and nothing that breaks it."""

import json
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from pages import HERE, house_on

from faultnet.cli.main import app as command_line
from faultnet.web.app import make_app
from faultnet.web.house import House


@pytest.fixture
def house(tmp_path: Path) -> House:
    return house_on(tmp_path)


@pytest.fixture
def client(house: House) -> TestClient:
    return TestClient(make_app(house), base_url=HERE)


def typed(house: House, capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    """What a command prints as JSON about the same shop."""
    command_line([*words, "--db", house.database, "--shop", house.shop_file, "--json"], standalone_mode=False)
    return json.loads(capsys.readouterr().out)


def test_a_job_from_open_to_closed_in_json(client: TestClient) -> None:
    def call(path: str, body: dict[str, Any]) -> dict[str, Any]:
        answer = client.post(f"/api/jobs{path}", json=body)
        assert answer.status_code in (200, 201), answer.text
        found: dict[str, Any] = answer.json()
        return found

    assert call("", {"model": "backlight", "facts": {"size": "50", "nominal": "54"}})["job"] == "1001"
    call("/1001/entries", {"events": ["sound=present", "flashlight=image_seen"], "note": "hums"})
    call("/1001/skips", {"test": "thermal", "why": "no camera"})
    call("/1001/entries/4/correct", {"event": "flashlight=no_image"})
    call("/1001/entries/5/take_back", {"why": "it does not hum"})
    call("/1001/price", {"price": 180.5})
    call("/1001/agreement", {"agreed": True})
    call("/1001/moves", {"to": "waiting"})
    call("/1001/moves", {"to": "agreed"})
    part = {"repair": "replace_strips", "old_code": "A-1", "new_code": "A-1", "price": 42}
    call("/1001/repairs", {"repairs": ["replace_strips"], "works": True, "parts": [part], "seen": 12})
    call("/1001/moves", {"to": "on_test"})
    told = call("/1001/closing", {"outcome": "fixed", "verification": "part_tested", "price": 190})
    assert told["closing"]["price"] == 190
    call("/1001/moves", {"to": "watched"})
    assert call("/1001/comebacks", {"symptom": "same"})["after"] == "1001"
    assert [job["number"] for job in client.get("/api/jobs").json()["jobs"]] == ["1002"]
    assert len(client.get("/api/jobs?every=true").json()["jobs"]) == 2


def test_its_documents_are_those_of_the_command_line(
    client: TestClient, house: House, capsys: pytest.CaptureFixture[str]
) -> None:
    client.post("/api/jobs", json={"model": "backlight", "facts": {"nominal": "54"}})
    client.post("/api/jobs/1001/entries", json={"events": ["sound=present", "loaded_voltage=0.1,0,0.2"]})
    answer = client.get("/api/jobs/1001/answer").json()
    assert answer == typed(house, capsys, "job", "next", "1001")
    assert client.get("/api/jobs").json() == typed(house, capsys, "job", "list")
    assert client.get("/api/jobs/1001/price").json() == typed(house, capsys, "job", "price", "1001")
    assert client.get("/api/models").json() == typed_models(capsys)
    shown, printed = client.get("/api/jobs/1001").json(), typed(house, capsys, "job", "show", "1001")
    assert shown == printed


def typed_models(capsys: pytest.CaptureFixture[str]) -> Any:
    command_line(["model", "list", "--json"], standalone_mode=False)
    return json.loads(capsys.readouterr().out)


def test_a_set_without_a_job_is_answered_as_by_next(
    client: TestClient, house: House, capsys: pytest.CaptureFixture[str]
) -> None:
    body = {"model": "backlight", "events": ["sound=present"], "nominal_volts": 54, "size_inches": 50, "panel": "NEW-1"}
    answer = client.post("/api/answers", json=body).json()
    notes = answer.pop("notes")
    words = ["next", "backlight", "sound=present", "--nominal", "54", "--size", "50", "--panel", "NEW-1"]
    assert answer == typed(house, capsys, *words)
    assert "NEW-1" in notes[0]


@pytest.mark.parametrize(
    ("path", "body", "status", "said"),
    [
        ("/api/jobs", {"model": "backlite"}, 422, "did you mean"),
        ("/api/jobs", {"model": "backlight", "size": 50}, 422, "size"),
        ("/api/jobs", {"model": "backlight", "facts": {"size": "huge", "age": "-1"}}, 422, "5 to 200"),
        ("/api/jobs/9", {"model": "backlight"}, 405, "cannot be done"),
        ("/api/jobs/9/entries", {"events": ["sound=present"]}, 404, "no job 9"),
        ("/api/jobs/1001/entries", {}, 422, "nothing to enter"),
        ("/api/jobs/1001/entries", {"facts": {"owner": "somebody"}}, 422, "no fact"),
        ("/api/jobs/1001/entries", {"events": ["sond=x", "loaded=-3"]}, 422, "negative"),
        ("/api/jobs/1001/closing", {"outcome": "exploded"}, 422, "fixed"),
        ("/api/jobs/1001/closing", {"outcome": "fixed"}, 409, "not possible"),
        ("/api/jobs/1001/moves", {"to": "watched"}, 409, "not possible"),
        ("/api/jobs/1001/repairs", {"repairs": ["replace_strips"], "works": False}, 422, "code"),
        ("/api/jobs/1001/repairs", {"repairs": ["reset_settings"], "works": False, "seen": 0}, 409, "after you looked"),
        ("/api/jobs/1001/comebacks", {"symptom": "third"}, 422, "same"),
        ("/api/answers", {"model": "backlight", "nominal_volts": 1e9}, 422, "nominal_volts"),
    ],
)
def test_what_is_wrong_is_told_with_its_status(
    client: TestClient, path: str, body: dict[str, Any], status: int, said: str
) -> None:
    client.post("/api/jobs", json={"model": "backlight"})
    client.post("/api/jobs/1001/entries", json={"events": ["sound=present"]})
    answer = client.post(path, json=body)
    assert answer.status_code == status, answer.text
    assert said in " ".join(answer.json()["problems"])


def test_a_body_that_is_no_json_is_told(client: TestClient) -> None:
    answer = client.post("/api/jobs", content=b"{", headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    assert answer.json()["problems"]
