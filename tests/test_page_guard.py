"""What is turned away at the page's gate. Sources: OWASP cheat sheets on cross-site request forgery (`Origin`, then
Fetch Metadata) and the Host header (DNS rebinding), from memory; CSP Level 3 (W3C)."""

import http.client
import re
import socket
from contextlib import closing, suppress
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from fastapi.testclient import TestClient
from pages import HERE, bench, house_on, served, text_of

from faultnet.web.app import make_app
from faultnet.web.guard import HEADERS, MOST_BYTES, MOST_UPLOADED
from faultnet.web.house import House
from faultnet.workshop.workshop import read_job

FORM = {"model": "backlight"}
OWN = [{"Origin": HERE}, {"Origin": HERE.replace("http", "https")}, {"Sec-Fetch-Site": "same-origin"}]


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    return house_on(tmp_path_factory.mktemp("guarded"))


@pytest.fixture(scope="module")
def client(house: House) -> TestClient:
    return TestClient(make_app(house), base_url=HERE, follow_redirects=False)


def n_jobs(client: TestClient) -> int:
    return len(client.get("/api/jobs").json()["jobs"])


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1:81"},
        {"Origin": "http://127.0.0.1:81"},
        {"Origin": "http://127.0.0.1.elsewhere.example"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
        {},
    ],
    ids=str,
)
def test_a_form_from_another_page_writes_nothing(client: TestClient, headers: dict[str, str]) -> None:
    before = n_jobs(client)
    answer = client.post("/new", data=FORM, headers=headers)
    assert answer.status_code == 403
    assert "came from another page" in text_of(answer.text)
    assert n_jobs(client) == before


@pytest.mark.parametrize("headers", OWN, ids=str)
def test_the_page_s_own_form_writes(client: TestClient, headers: dict[str, str]) -> None:
    before = n_jobs(client)
    assert client.post("/new", data=FORM, headers=headers).status_code == 303
    assert n_jobs(client) == before + 1


def test_json_without_an_origin_is_a_program_s_and_with_a_foreign_one_refused(client: TestClient) -> None:
    body = {"model": "backlight"}
    assert client.post("/api/jobs", json=body).status_code == 201
    assert client.post("/api/jobs", json=body, headers={"Origin": "http://elsewhere.example"}).status_code == 403
    text = client.post("/api/jobs", content='{"model": "backlight"}', headers={"Content-Type": "text/plain"})
    assert text.status_code == 403  # what a form elsewhere could send as well


@pytest.mark.parametrize(
    "host",
    ["elsewhere.example", "127.0.0.1.elsewhere.example", "elsewhere.example:80", "192.0.2.7", "a@127.0.0.1", "", "[::1",
     "127.0.0.1/x", "127.0.0.1:port"],
)  # fmt: skip
def test_another_name_for_this_machine_is_refused(client: TestClient, host: str) -> None:
    answer = client.get("/", headers={"Host": host})
    assert answer.status_code == 421
    assert "not served under that name" in text_of(answer.text)


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8321", "localhost:8321", "LOCALHOST", "[::1]:8321"])
def test_its_own_names_are_answered(client: TestClient, host: str) -> None:
    assert client.get("/", headers={"Host": host}).status_code == 200


def test_a_name_that_was_given_is_answered_too(tmp_path: Path) -> None:
    named = TestClient(make_app(house_on(tmp_path, names=frozenset({"Bench.local"}))), base_url="http://bench.local")
    assert named.get("/").status_code == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_only_reading_and_posting_is_done(client: TestClient, method: str) -> None:
    assert client.request(method, "/", headers={"Origin": HERE}).status_code == 405


def test_every_answer_forbids_what_the_page_does_not_need(client: TestClient) -> None:
    for path in ("/", "/static/bench.css", "/nowhere", "/api/jobs", "/api/nowhere"):
        answer = client.get(path)
        for name, value in HEADERS.items():
            assert answer.headers[name] == value, path
    policy = HEADERS["Content-Security-Policy"]
    assert "unsafe" not in policy
    assert "script-src" not in policy  # none: `default-src 'none'` holds for scripts
    assert "default-src 'none'" in policy


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%2fapp.py",
        "/static/....//app.py",
        "/static//etc/passwd",
        "/jobs/..%2f..%2f..%2fetc%2fpasswd",
        "/jobs/%00",
        "/jobs/1001/test/..%2f..",
    ],
)
def test_path_tricks_find_nothing(house: House, path: str) -> None:
    with served(house) as address:  # a client of its own would tidy the path up before it is sent
        place = urlsplit(address)
        with closing(http.client.HTTPConnection(place.hostname or "", place.port)) as connection:
            connection.request("GET", path)
            answer = connection.getresponse()
            told = answer.read().decode()
        assert answer.status in (404, 422)
        assert "root:" not in told
        assert "import" not in told


@pytest.mark.parametrize("model", ["../../etc/passwd", "/etc/passwd", "models/backlight.yaml", "..\\x.yaml", "x/y"])
def test_a_model_is_named_by_its_id_never_by_a_file(client: TestClient, model: str) -> None:
    form = client.post("/new", data={"model": model}, headers={"Origin": HERE})
    assert form.status_code == 422
    assert client.post("/api/answers", json={"model": model}).status_code == 422
    assert client.post("/api/jobs", json={"model": model}).status_code == 422


def test_a_form_of_many_megabytes_is_refused_however_it_is_announced(house: House, client: TestClient) -> None:
    big = b"note=" + b"x" * (50 * 1024 * 1024)
    own = {"Origin": HERE, "Content-Type": "application/x-www-form-urlencoded"}
    assert client.post("/new", content=big, headers=own).status_code == 413
    with served(house) as address:
        place = urlsplit(address)
        with socket.create_connection((place.hostname, place.port)) as line:  # in pieces, its length not announced
            line.sendall(
                f"POST /new HTTP/1.1\r\nHost: {place.netloc}\r\nOrigin: {address}\r\n"
                "Content-Type: application/x-www-form-urlencoded\r\nTransfer-Encoding: chunked\r\n\r\n".encode()
            )
            with suppress(OSError):  # it may have hung up
                for _ in range(2 + MOST_BYTES // 0x8000):
                    line.sendall(b"8000\r\n" + b"x" * 0x8000 + b"\r\n")
            assert b" 413 " in line.recv(200)


def test_a_form_with_thousands_of_fields_is_refused(client: TestClient) -> None:
    fields = {f"f{n}": "" for n in range(2000)}
    assert client.post("/new", data=fields, headers={"Origin": HERE}).status_code == 400


def test_uploads_may_be_larger_and_no_larger_than_told(client: TestClient) -> None:
    assert MOST_BYTES < MOST_UPLOADED < 50 * 1024 * 1024
    sent = {"Origin": HERE, "Content-Type": "multipart/form-data; boundary=x"}
    answer = client.post("/history/import", content=b"x" * (MOST_UPLOADED + 1), headers=sent)
    assert answer.status_code == 413
    assert "faultnet history import" in text_of(answer.text)


def test_a_form_that_is_none_is_refused_in_words(client: TestClient) -> None:
    sent = {"Origin": HERE, "Content-Type": "multipart/form-data"}
    answer = client.post("/new", content=b"\xff\xfe", headers=sent)
    assert answer.status_code in (400, 422)
    assert "Traceback" not in answer.text


def test_no_template_and_no_style_names_another_place() -> None:
    web = Path(make_app.__code__.co_filename).parent
    for file in [*web.rglob("*.html"), *web.rglob("*.css"), *web.rglob("*.svg")]:
        found = re.findall(r"https?://[^\"'\s)]+", file.read_text(encoding="utf-8"))
        assert {*found} <= {"http://www.w3.org/2000/svg"}, file


def test_the_document_of_the_json_is_served_and_no_page_that_loads_scripts(client: TestClient) -> None:
    document = client.get("/api/openapi.json").json()
    assert document["openapi"].startswith("3.")
    assert "/api/jobs/{job}/answer" in document["paths"]
    for path in ("/docs", "/redoc"):
        assert client.get(path).status_code == 404


def test_a_way_back_leads_nowhere_else(client: TestClient) -> None:
    for back in ("//elsewhere.example/", "http://elsewhere.example/", "\\\\elsewhere.example"):
        answer = client.post("/light", data={"light": "dark", "back": back}, headers={"Origin": HERE})
        assert answer.headers["location"] == "/"


def test_what_is_written_is_there_for_a_house_opened_anew(tmp_path: Path) -> None:
    bench(house_on(tmp_path)).post("/new", model="backlight")
    again = house_on(tmp_path)
    assert read_job(again.workshop(), "1001")[0].model == "backlight"
