"""`faultnet job ...` and `shop backup/restore/check` as they are typed, and what they answer with."""

import json
import os
import re
from pathlib import Path

import pytest
from test_cli import run

from faultnet.store.database import open_database
from faultnet.store.jobs import find_job, list_jobs


@pytest.fixture
def db(tmp_path: Path) -> str:
    return str(tmp_path / "shop.db")


def job(*arguments: str, db: str, expect: int = 0, **environment: str) -> str:
    done = run("job", *arguments, "--db", db, expect=expect, **environment)
    return done.stdout if expect == 0 else done.stderr


def shown(db: str, number: str = "1001") -> dict:  # type: ignore[type-arg]
    told: dict = json.loads(job("show", number, "--json", db=db))  # type: ignore[type-arg]
    return told


def test_an_empty_shop_lists_nothing_and_is_no_error(db: str) -> None:
    assert "No such jobs" in job("list", db=db)
    assert json.loads(job("list", "--all", "--json", db=db))["jobs"] == []
    assert "there is none yet" in job("show", "1001", db=db, expect=2)


def test_what_was_typed_is_echoed_with_numbers_and_what_to_do_next(db: str) -> None:
    opened = job("open", "--model", "backlight", "--number", "A-7", "--size", "50", "--nominal", "54", db=db)
    assert "Next: listen for sound [sound]" in opened
    entered = job("add", "A-7", "sound=present", "loaded=0,2", db=db)
    added = " ".join(entered.split())
    assert "3. sound: present 4. loaded_voltage: 2 points: 0 V, 2 V" in added
    assert "if 0.2 V was meant, the decimal sign is '.'" in added
    corrected = job("add", "A-7", "--instead-of", "4", "loaded=0.2", db=db)
    assert "5. loaded_voltage: 0.2 V (steady) -- instead of 4" in corrected
    assert "6. 3 taken back: not muted" in job("add", "A-7", "--take-back", "3", "--because", "not muted", db=db)
    assert "skipped: startup_flash: no dark room" in job(
        "add", "A-7", "--skip", "flash", "--because", "no dark room", db=db
    )
    told = shown(db, "A-7")
    assert [entry["seq"] for entry in told["entries"] if entry["stands"]] == [1, 2, 5, 7]
    assert told["stage"] == "tested"
    text = job("show", "A-7", "--advice", db=db)
    assert "(does not stand)" in text
    assert "backlight@0" in text
    assert max(map(len, (text + entered + opened).splitlines())) <= 80


def test_next_answers_as_without_a_job_and_notes_what_it_advised(db: str) -> None:
    """The same findings typed after `next` give the same numbers."""
    job("open", "--model", "backlight", "--size", "50", "--nominal", "54", "--age", "12", db=db)
    events = ["sound=present", "flashlight=image_seen", "loaded_voltage=0.2"]
    job("add", "1001", *events, db=db)
    told = json.loads(job("next", "1001", "--trained", "--json", db=db))
    options = ["--size", "50", "--nominal", "54", "--given", "age_band=over_10_years", "--trained", "--json"]
    plain = json.loads(run("next", "backlight", *events, *options).stdout)
    assert {key: told[key] for key in plain} == plain
    assert (told["job"], told["entries"]) == ("1001", [4, 5, 6])
    advised = shown(db)["advice"]
    assert [each["shown_in"] for each in advised] == ["job open", "job add", "job next"]
    assert advised[-1]["trained"] is True


@pytest.fixture(scope="module")
def untouched(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A shop with one job, in which nothing is ever written."""
    db = str(tmp_path_factory.mktemp("untouched") / "shop.db")
    job("open", "--model", "backlight", db=db)
    return db


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["add", "1001"], "nothing to enter"),
        (["add", "1001", "sond=present"], "did you mean sound"),
        (["add", "1001", "replace_strips=not"], "enter a repair with `faultnet job repair`"),
        (["add", "1001", "--instead-of", "1", "sound=present", "light=none"], "goes with one event"),
        (["add", "1001", "--take-back", "1", "sound=present"], "goes by itself"),
        (["add", "1001", "--skip", "smell"], "no such test"),
        (["add", "1001", "--model", "backlight"], "with backlight already"),
        (["add", "1001", "--model", "intake", "sound=present"], "goes by itself"),
        (["add", "1002", "sound=present"], "did you mean 1001"),
        (["repair", "1001", "replace_strips=works"], "read the code on the old part first"),
        (["repair", "1001", "replace_strip=works"], "did you mean replace_strips"),
        (["repair", "1001", "sound=present"], "that is no repair"),
        (["repair", "1001", "replace_strips=works", "--source", "found"], "--source found: one of new"),
        (["repair", "1001", "replace_strips=works", "--strips", "6"], "go together"),
        (["repair", "1001", "replace_strips+replace_driver=not", "--old", "X"], "--old replace_strips:X"),
        (["price", "1001", "--name", "cheap"], "a number from 0"),
        (["price", "1001", "--agreed"], "not possible while the job is open"),
        (["move", "1001", "repaird"], "job move goes to one of"),
        (["move", "1001", "watched"], "not possible while the job is open"),
        (["close", "1001", "fixed"], "--verified: say how sure"),
        (["close", "1001", "fixed", "--verified", "symptom_cleared"], "not possible while the job is open"),
        (["close", "1001", "mended", "--verified", "not_verified"], "OUTCOME mended: one of fixed"),
        (["comeback", "1001"], "not possible while the job is open"),
        (["comeback"], "name the job"),
        (["comeback", "1001", "--symptom", "worse"], "--symptom worse: one of same, other"),
        (["list", "--stage", "opn"], "did you mean open"),
        (["sheet", "1001", "--out", "sheet.txt"], "ends in .html or .pdf"),
        (["next", "1001", "--sort", "luck"], "--sort is one of"),
    ],
)
def test_a_slip_says_what_to_write_and_writes_nothing(untouched: str, arguments: list[str], said: str) -> None:
    assert said in " ".join(job(*arguments, db=untouched, expect=2).split())
    opened = open_database(untouched)
    with opened.read() as connection:
        assert [find_job(connection, each.number).entries for each in list_jobs(connection)] == [()]
    opened.close()


def test_two_repairs_at_once_keep_the_codes_apart(db: str) -> None:
    job("open", "--model", "backlight", db=db)
    codes = ["--old", "replace_strips:LS-9", "--old", "replace_driver:LD-2", "--new", "replace_strips:LS-9"]
    codes += ["--new", "replace_driver:LD-2", "--paid", "replace_strips:42.5"]
    job("repair", "1001", "replace_strips+replace_driver=not", *codes, db=db)
    parts = {part["repair"]: (part["old_code"], part["new_code"], part["price"]) for part in shown(db)["parts"]}
    assert parts == {"replace_strips": ("LS-9", "LS-9", 42.5), "replace_driver": ("LD-2", "LD-2", None)}
    assert shown(db)["stage"] == "tested"


def test_price_and_end_take_what_was_said_before(db: str) -> None:
    """The price agreed and the parts as entered, unless other sums are given."""
    job("open", "--model", "backlight", "--nominal", "54", db=db)
    job("add", "1001", "sound=present", "flashlight=image_seen", "strip_tester=dark", db=db)
    assert "low" in job("price", "1001", db=db)
    job("price", "1001", "--name", "180", "--agreed", db=db)
    job("repair", "1001", "replace_strips=works", "--old", "LS-9", "--new", "LS-9", "--paid", "42.5", db=db)
    told = " ".join(job("close", "1001", "fixed", "--verified", "symptom-cleared", db=db).split())
    assert "parts 42.50; price 180.00" in told
    assert "Hours on test were not noted" in told
    job("move", "1001", "watched", db=db)
    assert "watched for 90 days" in job("list", "--all", db=db)
    assert "watched" not in job("list", db=db)
    back = " ".join(job("comeback", "1001", "--symptom", "same", db=db).split())
    assert "Before, in job 1001" in back
    assert "replace_strips: made, and the set works" in back
    assert "weighed as what happened before: backlight repaired" in back
    assert shown(db, "1002")["after"] == "1001"
    assert "came back as job 1002" in job("show", "1001", db=db)


def test_a_watch_ends_by_itself(db: str) -> None:
    job("open", "--model", "backlight", db=db)
    job("repair", "1001", "reset_settings=works", db=db, FAULTNET_NOW="2031-05-17T09:00:00+00:00")
    job("close", "1001", "fixed", "--verified", "symptom_cleared", db=db, FAULTNET_NOW="2031-05-17T10:00:00+00:00")
    job("move", "1001", "watched", db=db, FAULTNET_NOW="2031-05-18T10:00:00+00:00")
    for day, stage in (("2031-08-15", "watched"), ("2031-08-16", "done")):
        listed = job("list", "--stage", stage, db=db, FAULTNET_NOW=f"{day}T12:00:00+00:00")
        assert "1001" in listed


def test_a_job_sheet_holds_what_was_found_and_done(db: str, tmp_path: Path) -> None:
    job("open", "--model", "backlight", "--panel", "<PX>", "--nominal", "54", db=db)
    job("add", "1001", "sound=present", "loaded=0.2", "--note", "<script>alert(1)</script>", db=db)
    job("repair", "1001", "replace_strips=works", "--old", "LS-9", "--new", "LS-9", db=db)
    for name in ("sheet.html", "sheet.pdf"):
        job("sheet", "1001", "--out", str(tmp_path / name), db=db)
    assert (tmp_path / "sheet.pdf").read_bytes().startswith(b"%PDF-")
    text = (tmp_path / "sheet.html").read_text(encoding="utf-8")
    for word in ("sound: present", "0.2 V", "LS-9", "replace_strips", "Mains plug out", "backlight@0", "90 % interval"):
        assert word in text
    assert "What it pointed to before the last repair" in text
    faulty = re.search(r"<td>LED strips</td><td>(\d+) %</td>", text)
    assert faulty is not None, "not what is left once the set works"
    assert int(faulty[1]) > 20
    assert "<script" not in text
    assert "&lt;PX&gt;" in text


def test_backup_restore_and_check_at_the_terminal(db: str, tmp_path: Path) -> None:
    job("open", "--model", "backlight", db=db)
    file, here = str(tmp_path / "shop.zip"), {"FAULTNET_DATA": str(tmp_path / "data")}
    assert "1 jobs" in run("shop", "backup", file, "--db", db, **here).stdout
    assert "is there already" in run("shop", "backup", file, "--db", db, expect=5, **here).stderr
    job("add", "1001", "sound=present", db=db)
    assert "Say so with --sure" in run("shop", "restore", file, "--db", db, expect=2, **here).stderr
    done = run("shop", "restore", file, "--sure", "--db", db, **here).stdout
    assert "before-restore" in done
    assert shown(db)["entries"] == []
    assert "whole; 1 jobs" in run("shop", "check", "--db", db, **here).stdout
    opened = open_database(db)
    with opened.write() as connection:
        connection.exec_driver_sql("UPDATE jobs SET model = 'gone', n_entries = 7")
    opened.close()
    told = run("shop", "check", "--db", db, expect=5, **here).stderr
    assert "has 7 entries" in told
    assert "unknown model gone" in told


def test_what_is_no_database_is_exit_5_for_every_command(tmp_path: Path) -> None:
    file = tmp_path / "letter.db"
    file.write_text("Dear customer, " * 100, encoding="utf-8")
    for arguments in (["job", "list"], ["bench", "1001"], ["shop", "check"], ["voltages", "list"]):
        assert "is no database" in run(*arguments, "--db", str(file), expect=5).stderr


def test_next_and_a_plan_need_no_database(tmp_path: Path) -> None:
    """And make none, even when they ask for a panel's volts."""
    here = {"FAULTNET_DATA": str(tmp_path / "data"), "FAULTNET_SHOP": os.devnull}
    run("next", "backlight", "sound=present", "--panel", "PX-1", **here)
    assert not (tmp_path / "data").exists()
