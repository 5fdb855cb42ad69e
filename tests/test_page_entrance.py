"""The way in from the shop's network: PIN, cookie, lock-out."""

import re
import signal
import socket
import subprocess
import sys
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import httpx
import pytest
from fastapi.testclient import TestClient
from pages import HERE, START, house_on, text_of

from faultnet.cli.main import app as command_line
from faultnet.errors import UsageProblem
from faultnet.web.app import make_app
from faultnet.web.entrance import COOKIE, LASTS_SECONDS
from faultnet.web.house import House
from faultnet.workshop.entrance import MOST_WRONG, MOST_WRONG_IN_ALL, WAIT, entrance_of
from faultnet.workshop.workshop import Workshop


class Now:
    """A clock that stands until it is put on."""

    def __init__(self) -> None:
        self.at = START

    def __call__(self) -> object:
        return self.at


@pytest.fixture
def now() -> Now:
    return Now()


@pytest.fixture
def house(tmp_path: Path, now: Now) -> House:
    local = house_on(tmp_path)
    workshop = replace(local.opened, clock=now)
    door = entrance_of(workshop)
    return replace(local, opened=workshop, pin=door.pin, secret=door.secret)


def tablet_from(house: House, address: str = "192.168.7.20") -> TestClient:
    return TestClient(make_app(house), base_url=HERE, client=(address, 40000), follow_redirects=False)


@pytest.fixture
def tablet(house: House) -> TestClient:
    return tablet_from(house)


def sign_in(tablet: TestClient, pin: str, back: str = "/") -> tuple[int, str]:
    answer = tablet.post("/sign-in", data={"pin": pin, "back": back}, headers={"Origin": HERE})
    return answer.status_code, answer.headers.get("location", "") or text_of(answer.text)


def wrong(house: House) -> str:
    return f"{(int(house.pin) + 1) % 10**6:06}"


def test_nothing_is_shown_before_the_pin(tablet: TestClient) -> None:
    for path in ("/", "/jobs", "/new", "/tablet"):
        answer = tablet.get(path)
        assert (answer.status_code, answer.headers["location"]) == (303, f"/sign-in?back={path}")
    assert tablet.post("/new", data={"model": "backlight"}, headers={"Origin": HERE}).status_code == 401
    assert tablet.get("/api/jobs").status_code == 401
    assert tablet.get("/api/openapi.json").status_code == 401
    assert "PIN" in text_of(tablet.get("/sign-in").text)


def test_the_pin_opens_the_page_and_leads_back(tablet: TestClient, house: House) -> None:
    assert sign_in(tablet, house.pin, "/jobs") == (303, "/jobs")
    assert tablet.get("/").status_code == 200
    assert tablet.get("/sign-in").headers["location"] == "/"
    cookie = next(each for each in tablet.cookies.jar if each.name == COOKIE)
    assert cookie.has_nonstandard_attr("HttpOnly")
    assert cookie.get_nonstandard_attr("SameSite") == "strict"
    tablet.post("/sign-out", headers={"Origin": HERE})
    assert tablet.get("/").status_code == 303


def test_a_wrong_pin_says_so_and_five_of_them_shut_the_door(tablet: TestClient, house: House, now: Now) -> None:
    for _ in range(MOST_WRONG):
        status, told = sign_in(tablet, wrong(house))
        assert status == 422
        assert "not the PIN" in told
    status, told = sign_in(tablet, house.pin)
    assert status == 422
    assert "Too many wrong PINs" in told
    assert tablet.get("/api/jobs", headers={"Authorization": f"Bearer {house.pin}"}).status_code == 429
    assert sign_in(tablet_from(house, "192.168.7.21"), house.pin)[0] == 303  # others are not shut out with it
    now.at += WAIT + timedelta(seconds=1)
    assert sign_in(tablet, house.pin)[0] == 303


def test_many_addresses_together_are_shut_out_too(house: House) -> None:
    for n in range(MOST_WRONG_IN_ALL):
        assert sign_in(tablet_from(house, f"192.168.8.{n}"), wrong(house))[0] == 422
    assert "Too many" in sign_in(tablet_from(house, "192.168.9.9"), house.pin)[1]


def test_tries_are_remembered_by_the_database_not_the_process(tablet: TestClient, house: House) -> None:
    for _ in range(MOST_WRONG):
        sign_in(tablet, wrong(house))
    again = house_on(Path(house.shop_file).parent, pin=house.pin)
    again = replace(again, opened=replace(again.opened, clock=house.opened.clock), secret=house.secret)
    assert "Too many" in sign_in(tablet_from(again), house.pin)[1]


@pytest.mark.parametrize("cookie", ["in", "in.AAAA.BBBB", "", "x" * 5000])
def test_a_cookie_that_this_page_did_not_sign_opens_nothing(tablet: TestClient, cookie: str) -> None:
    assert tablet.get("/", headers={"Cookie": f"{COOKIE}={cookie}"}).status_code == 303


def test_a_cookie_signed_for_another_house_or_long_ago_opens_nothing(
    tablet: TestClient, house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = tablet_from(replace(house, secret="another"))
    sign_in(other, house.pin)
    assert tablet.get("/", headers={"Cookie": f"{COOKIE}={other.cookies[COOKIE]}"}).status_code == 303
    monkeypatch.setattr("itsdangerous.TimestampSigner.get_timestamp", lambda _self: 1_000_000)
    sign_in(tablet, house.pin)
    assert tablet.get("/").status_code == 200
    monkeypatch.setattr("itsdangerous.TimestampSigner.get_timestamp", lambda _self: 1_000_001 + LASTS_SECONDS)
    assert tablet.get("/").status_code == 303


def test_programs_send_the_pin_along(tablet: TestClient, house: House) -> None:
    assert tablet.get("/api/jobs", headers={"Authorization": f"Bearer {house.pin}"}).status_code == 200
    for said in (f"Bearer {wrong(house)}", "Bearer", f"Basic {house.pin}", f"Bearer {house.pin}0", "Bearer ä".encode()):
        assert tablet.get("/api/jobs", headers={"Authorization": said}).status_code == 401


def test_the_pin_is_kept_until_another_is_wanted(workshop: Workshop) -> None:
    first = entrance_of(workshop)
    assert entrance_of(workshop) == first
    assert len(first.pin) == 6
    another = entrance_of(workshop, anew=True)
    assert another.secret != first.secret


def test_options_for_the_network_go_with_it() -> None:
    with pytest.raises(UsageProblem, match="go with --lan"):
        command_line(["serve", "--new-pin"], standalone_mode=False)


# -- the command -------------------------------------------------------------------------------------------------------


def test_the_command_serves_until_it_is_stopped(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [
        sys.executable,
        "-m",
        "faultnet",
        "serve",
        "--lan",
        "--port",
        str(port),
        "--db",
        str(tmp_path / "shop.db"),
    ]
    serving = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        assert serving.stdout is not None
        said = ""
        while "Ctrl-C" not in said:
            line = serving.stdout.readline()
            assert line, serving.stderr and serving.stderr.read()
            said += line
        pin = re.search(r"PIN (\d{6})", said)
        address = f"http://127.0.0.1:{port}"
        with httpx.Client(base_url=address, transport=httpx.HTTPTransport(retries=5)) as client:
            assert client.get("/").headers["location"] == "/sign-in?back=/"
            assert pin is not None
            signed = client.post("/sign-in", data={"pin": pin[1]}, headers={"Origin": address})
            assert signed.status_code == 303
            assert "No set is on the bench" in client.get("/").text
    finally:
        serving.send_signal(signal.SIGINT)
        _, errors = serving.communicate(timeout=20)
    assert errors == ""
    assert serving.returncode == 0


def test_a_port_that_is_taken_is_told(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        with pytest.raises(UsageProblem, match="cannot be used here"):
            command_line(["serve", "--port", port, "--db", str(tmp_path / "shop.db")], standalone_mode=False)
