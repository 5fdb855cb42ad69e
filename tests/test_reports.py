"""Reports: kept on both kinds of database, worked out in a process of their own, and accepted as they were shown."""

import json
import os
import re
import signal
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import sqlalchemy as sa
from conftest import opened_workshop
from histories import made_up, taken, written_out

from faultnet.errors import StoreProblem, UsageProblem
from faultnet.reports.document import Document, document_from_data
from faultnet.reports.working import Place, Worker, place_of, work_out
from faultnet.shop import Shop
from faultnet.store import archive, reports
from faultnet.store.database import Database, open_database
from faultnet.store.migrate import migrate_to
from faultnet.store.tables import IN_ORDER, MADE_AGAIN, OF_THE_PAGE, metadata
from faultnet.telling.block import Block, Line
from faultnet.workshop import tuning
from faultnet.workshop.backup import back_up, restore
from faultnet.workshop.reporting import (
    BROKEN_OFF,
    MOST_OPEN,
    accept_report,
    ask,
    fail_broken_off,
    finish,
    report_of,
    reports_of,
)
from faultnet.workshop.tuning import Tuned, Wanted, tune
from faultnet.workshop.versions import accept, take_back, versions_of, would_be
from faultnet.workshop.workshop import Workshop

NOW = datetime(2031, 5, 17, 14, 5, tzinfo=UTC)
TUNE = {"model": "backlight", "n_starts": 0, "with_blanks": False}
RATES = {"model": "backlight", "of": "component", "by": ["panel_group"], "counted_only": True}
CALIBRATION = {"model": "backlight@0", "since": "2028-01-10"}
WAIT_S = 250


@pytest.fixture
def database(database_url: str) -> Iterator[Database]:
    opened = open_database(database_url)
    yield opened
    opened.close()


def asked_for(database: Database, at: datetime = NOW, **told: Any) -> int:
    with database.write() as connection:
        return reports.insert_report(connection, told.pop("kind", "tune"), TUNE, "bo", at, **told)


# -- kept --------------------------------------------------------------------------------------------------------------


def test_a_report_is_read_as_it_was_asked_for_and_finished(database: Database) -> None:
    number = asked_for(database, file="jobs.xlsx", content=b"\x00\xff", kind="import")
    with database.read() as connection:
        waiting = reports.read_report(connection, number)
        assert reports.read_content(connection, number) == b"\x00\xff"
    assert waiting == reports.Report(number, "import", TUNE, "bo", NOW, file="jobs.xlsx")
    assert waiting.is_open
    document = {"blocks": [], "json": {"share": 0.1 + 0.2, "ünit": "Ω"}}
    with database.write() as connection:
        reports.finish_report(connection, number, document, NOW + timedelta(seconds=9))
        reports.fail_report(connection, number, "too late", NOW)  # what is done stays done
        reports.note_what_came_of(connection, number, "batch 4")
    with database.read() as connection:
        done = reports.read_report(connection, number)
        with pytest.raises(UsageProblem, match="not kept any more"):
            reports.read_content(connection, number)
    assert (done.document, done.failed, done.led_to) == (document, "", "batch 4")
    assert done.done_at == NOW + timedelta(seconds=9)


def test_of_many_reports_the_newest_are_kept_and_listed_first(database: Database) -> None:
    numbers = [asked_for(database) for _ in range(reports.MOST_KEPT + 2)]
    other = asked_for(database, kind="rates")
    with database.read() as connection:
        listed = reports.list_reports(connection, ["tune"])
        both = reports.list_reports(connection, ["tune", "rates"])
        with pytest.raises(UsageProblem, match=f"there is no report {numbers[0]}"):
            reports.read_report(connection, numbers[0])
    assert [each.id for each in listed] == numbers[:2:-1]
    assert both[0].id == other
    assert len(both) == reports.MOST_KEPT


def test_an_upload_that_nobody_takes_in_goes_after_a_day(database: Database) -> None:
    number = asked_for(database, kind="import", content=b"x")
    asked_for(database, NOW + timedelta(hours=23))
    with database.read() as connection:
        assert reports.read_content(connection, number) == b"x"
    asked_for(database, NOW + timedelta(hours=25))
    with database.read() as connection, pytest.raises(UsageProblem, match="choose the file again"):
        reports.read_content(connection, number)


def test_what_was_broken_off_says_so_until_it_is_done_after_all(database: Database) -> None:
    first, second = asked_for(database), asked_for(database)
    with database.write() as connection:
        reports.finish_report(connection, first, {}, NOW)
        assert reports.fail_open_reports(connection, "broken off", NOW) == 1
    with database.read() as connection:
        assert [reports.read_report(connection, each).failed for each in (first, second)] == ["", "broken off"]
    with database.write() as connection:
        reports.finish_report(connection, second, {}, NOW)  # it went on elsewhere
    with database.read() as connection:
        assert reports.read_report(connection, second).failed == ""


def test_reports_go_with_their_form(database: Database) -> None:
    """Down to the form before there were any, and up: the table is there and empty."""
    number = asked_for(database)
    migrate_to(database.engine, "0004")
    with database.engine.connect() as connection:
        assert "reports" not in sa.inspect(connection).get_table_names()
    migrate_to(database.engine, "0005")
    with database.read() as connection:
        assert reports.list_reports(connection, ["tune"]) == ()
    assert asked_for(database) == number


def test_a_backup_holds_every_table_but_what_can_be_made_again(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Reports tell of the jobs before: they go when others are put in their place."""
    monkeypatch.setenv("FAULTNET_DATA", str(tmp_path / "data"))
    assert [*archive.ORDER] == [table.name for table in IN_ORDER]
    assert set(metadata.tables) == {table.name for table in (*IN_ORDER, *MADE_AGAIN, *OF_THE_PAGE)}
    number = asked_for(database)
    assert "reports" not in back_up(database, Shop(), tmp_path / "shop.zip", NOW)
    restore(database, Shop(), tmp_path / "shop.zip", NOW)
    with database.read() as connection, pytest.raises(UsageProblem):
        reports.read_report(connection, number)


def test_a_document_is_the_same_after_a_way_through_json() -> None:
    block = Block("Shares", lines=(Line("none"),))
    document = Document((block,), (block, block), {"a": [1.5]}, {"shares": "<svg/>"}, {"number": 1})
    assert document_from_data(json.loads(json.dumps(document.as_data()))) == document


# -- asked -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "asked", "said"),
    [
        ("tune", {}, ["say which model"]),
        ("tune", {**TUNE, "before": "spring", "strength": 0}, ["spring: write a day", "strength 0: a number from"]),
        ("tune", {**TUNE, "groups": "colour"}, ["jobs are not counted by colour; possible are panel_group"]),
        ("tune", {**TUNE, "files": ["/etc/passwd"]}, ["files: nothing to ask; possible are model"]),
        ("tune", {**TUNE, "with_blanks": "maybe"}, ["with_blanks: true or false"]),
        ("tune", {**TUNE, "half_life_months": "nan"}, ["half life months nan: a number"]),
        ("tune", {**TUNE, "model": "/etc/passwd"}, ["write a model's id"]),
        ("tune", {**TUNE, "model": "no_such"}, ["no_such"]),
        ("rates", {**RATES, "by": ["colour"]}, ["not counted by colour"]),
        ("rates", {**RATES, "of": "comebacks", "by": "shape"}, ["comebacks by shape"]),
        ("rates", {**RATES, "of": "comebacks", "by": "repair"}, ["goes with shares, not with comebacks"]),
        ("rates", {**RATES, "of": "mode", "watched_days": 0}, ["in which mode it failed", "watched days 0: a number"]),
        ("calibration", {"model": "backlight", "since": "17.5.2031"}, ["17.5.2031: write a day"]),
        ("import", {}, ["import: no report of this kind"]),
    ],
)
def test_everything_that_is_wrong_is_said_before_anything_is_worked_out(
    on_sqlite: Workshop, kind: str, asked: dict[str, Any], said: list[str]
) -> None:
    with pytest.raises(UsageProblem) as error:
        ask(on_sqlite, kind, asked, "bo")
    assert len(error.value.problems) == len(said)
    for part in said:
        assert part in str(error.value)
    assert reports_of(on_sqlite, "tune", "rates", "calibration") == ()


def test_who_asks_what_is_being_worked_out_waits_for_the_same(on_sqlite: Workshop) -> None:
    first = ask(on_sqlite, "tune", TUNE, "bo")
    assert ask(on_sqlite, "tune", TUNE, "al") == first
    assert ask(on_sqlite, "tune", {**TUNE, "before": "2029-01-01"}, "al") != first
    finish(on_sqlite, first, {})
    assert ask(on_sqlite, "tune", TUNE, "al") != first


def test_only_so_many_wait(on_sqlite: Workshop) -> None:
    numbers = [ask(on_sqlite, "tune", {**TUNE, "seed": seed}, "bo") for seed in range(MOST_OPEN)]
    with pytest.raises(UsageProblem, match="ask again when some are done"):
        ask(on_sqlite, "rates", RATES, "bo")
    finish(on_sqlite, numbers[0], {})
    ask(on_sqlite, "rates", RATES, "bo")


# -- worked out --------------------------------------------------------------------------------------------------------


FEW = 2
"""Of so many jobs is asked whether the advice would have been another: each takes a second."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """A shop with a few made-up jobs."""
    folder = tmp_path_factory.mktemp("shop")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FAULTNET_DATA", str(folder / "data"))
        patch.setattr(tuning, "LAST_JOBS", FEW)
        for opened in opened_workshop(str(folder / "shop.db")):
            taken(opened, written_out(folder / "jobs.csv", made_up(400).jobs[:60]))
            yield opened


@pytest.fixture(scope="module")
def worked_out(shop: Workshop) -> dict[str, reports.Report]:
    """A report of each kind, and one of too few jobs, in real processes."""
    worker = Worker(shop, place_of(shop), quickly)
    kinds = {
        "tune": ("tune", TUNE),
        "rates": ("rates", RATES),
        "comebacks": ("rates", {"of": "comebacks", "by": ["part_source"]}),
        "calibration": ("calibration", CALIBRATION),
    }
    numbers = {name: ask(shop, kind, asked, "bo") for name, (kind, asked) in kinds.items()}
    try:
        for number in numbers.values():
            worker.take(number)
        return {name: until_done(shop, number) for name, number in numbers.items()}
    finally:
        worker.close()


def quickly(place: Place, number: int) -> None:
    """Work it out, with the advice on few jobs."""
    tuning.LAST_JOBS = FEW
    work_out(place, number)


def until_done(workshop: Workshop, number: int) -> reports.Report:
    end = time.monotonic() + WAIT_S
    while (report := report_of(workshop, number)).is_open:
        assert time.monotonic() < end
        time.sleep(0.05)
    return report


def document(report: reports.Report) -> Document:
    assert report.failed == ""
    assert report.document is not None
    return document_from_data(report.document)


SHOWN = [
    ("tune", r"backlight@0 and \d+ past jobs", "shares"),
    ("rates", "Shares by component, for each panel group", "rates"),
    ("comebacks", "Reported back with the same symptom, by part source", "comebacks"),
    ("calibration", r"Do the chances of backlight@0 hold\?", "reliability"),
]
"""Of each report a heading, and its picture."""


def test_reports_are_worked_out_shown_and_accepted(shop: Workshop, worked_out: dict[str, reports.Report]) -> None:
    """In one test, for what it takes to work them out is half a minute on each worker of a run."""
    for name, heading, picture in SHOWN:
        tells_shows_and_draws(worked_out[name], heading, picture)
    draws_plainly(worked_out)
    tuned = tune(shop, Wanted("backlight", n_starts=0, with_blanks=False))
    says_what_the_command_line_says(tuned, worked_out)
    is_not_accepted_where_the_file_is_another(shop, worked_out)
    is_accepted_once(shop, tuned, worked_out)


def tells_shows_and_draws(report: reports.Report, heading: str, picture: str) -> None:
    told = document(report)
    assert any(re.fullmatch(heading, block.heading) for block in told.blocks)
    assert len(told.everything) >= len(told.blocks)
    assert told.json["schema_version"] == 1
    (drawn,) = told.pictures
    assert drawn == picture
    said = json.dumps(report.document["blocks"])  # type: ignore[index]
    assert "--" not in said, "options are the command line's"
    assert "faultnet tune" not in said


def draws_plainly(worked_out: dict[str, reports.Report]) -> None:
    """A plot within a page has neither style nor anything from elsewhere."""
    for name in ("rates", "comebacks", "calibration"):
        (svg,) = document(worked_out[name]).pictures.values()
        root = ElementTree.fromstring(svg)
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        for element in root.iter():
            assert element.tag.rpartition("}")[2] not in ("style", "script", "metadata", "image", "a")
            assert "style" not in element.attrib
            links = [value for key, value in element.attrib.items() if key.endswith("href")]
            assert all(link.startswith("#") for link in links)
        assert any(element.get("stroke-width") for element in root.iter())
        assert root[0].text


def test_what_cannot_be_answered_says_why(on_sqlite: Workshop) -> None:
    """In the process that a server starts."""
    worker = Worker(on_sqlite, place_of(on_sqlite))
    number = ask(on_sqlite, "tune", TUNE, "bo")
    worker.take(number)
    report = until_done(on_sqlite, number)
    worker.close()
    assert "at least 30 are needed" in report.failed
    assert report.document is None


def says_what_the_command_line_says(tuned: Tuned, worked_out: dict[str, reports.Report]) -> None:
    """The same numbers, and the version that they would be."""
    told = document(worked_out["tune"])
    assert told.version is not None
    assert_alike(told.version, json.loads(json.dumps(would_be(tuned.learned, 0).as_document())))
    assert told.json["log_score_after"] == pytest.approx(tuned.learned.log_score_after, rel=1e-9)


def is_accepted_once(shop: Workshop, tuned: Tuned, worked_out: dict[str, reports.Report]) -> None:
    """As `tune --accept` on the same jobs, without learning again; refused without who and why, and the second time."""
    number = worked_out["tune"].id
    with pytest.raises(UsageProblem) as error:
        accept_report(shop, number, " ", "")
    assert len(error.value.problems) == 2
    accepted = accept_report(shop, number, "bo", "a year <script>")
    assert (accepted.id, accepted.by, accepted.reason) == ("backlight@1", "bo", "a year <script>")
    assert report_of(shop, number).led_to == "backlight@1"
    with pytest.raises(UsageProblem, match="is stale: ask again"):
        accept_report(shop, number, "al", "again")
    take_back(shop, "backlight", "bo", "")
    other = accept(shop, tuned.learned, 2, "bo", "at the command line")
    for each in (other, accepted):
        assert each.chances
    own, learned_here = (json.loads(json.dumps(each.as_document())) for each in (accepted, other))
    for name in ("chances", "root_odds", "pooled"):
        assert_alike(own[name], learned_here[name])
    assert [each.id for each in versions_of(shop, "backlight")] == ["backlight@1", "backlight@2", "backlight@3"]


def is_not_accepted_where_the_file_is_another(shop: Workshop, worked_out: dict[str, reports.Report]) -> None:
    with pytest.raises(UsageProblem, match="no learned numbers"):
        accept_report(shop, kept(shop, {}), "bo", "why")
    version = dict(document(worked_out["tune"]).version or {})
    with pytest.raises(UsageProblem, match="not the one that this was learned with"):
        accept_report(shop, kept(shop, {"version": {**version, "digest": "0" * 64}}), "bo", "why")
    with pytest.raises(StoreProblem, match="is damaged"):
        accept_report(shop, kept(shop, {"version": {"model": "backlight"}}), "bo", "why")
    assert versions_of(shop, "backlight") == []


def kept(workshop: Workshop, document: dict[str, Any]) -> int:
    with workshop.database.write() as connection:
        number = reports.insert_report(connection, "tune", TUNE, "bo", NOW)
    finish(workshop, number, document)
    return number


def assert_alike(one: Any, other: Any) -> None:
    """The same values; sums of the child's process may end in other digits than ours."""
    if isinstance(one, dict):
        assert one.keys() == other.keys()
        for name in one:
            assert_alike(one[name], other[name])
    elif isinstance(one, list):
        assert len(one) == len(other)
        for each, its in zip(one, other, strict=True):
            assert_alike(each, its)
    else:
        assert one == (pytest.approx(other, rel=1e-8) if isinstance(other, float) else other)


def is_killed(place: Place, number: int) -> None:
    """As the system kills what takes too much memory: what is asked with the seed 1."""
    opened = open_database(place.database)
    with opened.write() as connection:
        if reports.read_report(connection, number).asked["seed"] == 1:
            os.kill(os.getpid(), signal.SIGKILL)
        reports.finish_report(connection, number, {}, NOW)
    opened.close()


def test_a_process_that_is_killed_leaves_a_report_that_says_what_to_do(on_sqlite: Workshop) -> None:
    """As does one that a server before this one left; and those that were asked for later are worked out."""
    before = ask(on_sqlite, "calibration", {"model": "backlight", "seed": 0}, "bo")
    worker = Worker(on_sqlite, place_of(on_sqlite), is_killed)
    assert report_of(on_sqlite, before).failed == BROKEN_OFF
    numbers = [ask(on_sqlite, "calibration", {"model": "backlight", "seed": seed}, "bo") for seed in (1, 2)]
    for number in numbers:
        worker.take(number)
    assert [until_done(on_sqlite, number).failed for number in numbers] == [BROKEN_OFF, ""]
    worker.close()


def lasts(place: Place, number: int) -> None:
    Path(place.shop_file).write_text(str(number), encoding="utf-8")
    time.sleep(WAIT_S)


def test_a_server_that_stops_does_not_wait_for_what_is_worked_out(on_sqlite: Workshop, tmp_path: Path) -> None:
    begun = tmp_path / "begun"
    worker = Worker(on_sqlite, place_of(on_sqlite, str(begun)), lasts)
    numbers = [ask(on_sqlite, "calibration", {"model": "backlight", "seed": seed}, "bo") for seed in (1, 2)]
    for number in numbers:
        worker.take(number)
    end = time.monotonic() + WAIT_S
    while not begun.exists():
        assert time.monotonic() < end
        time.sleep(0.05)
    started = time.monotonic()
    worker.close()
    assert time.monotonic() - started < WAIT_S / 2
    assert report_of(on_sqlite, numbers[0]).failed == BROKEN_OFF
    assert report_of(on_sqlite, numbers[1]).is_open, "noticed at the next start"
    assert fail_broken_off(on_sqlite) == 1
