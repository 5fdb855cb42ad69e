"""The guided loop, driven through a pseudo-terminal and with input piped in."""

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pexpect
import pytest
from test_cli import certain_text, run

from faultnet.jobs import Job
from faultnet.store.database import open_database
from faultnet.store.jobs import find_job

KEY, NONE = r"\n> ", "Enter for none: "


@pytest.fixture
def db(tmp_path: Path) -> str:
    return str(tmp_path / "shop.db")


@pytest.fixture
def number(db: str) -> str:
    run("job", "open", "--model", "backlight", "--size", "50", "--nominal", "54", "--db", db)
    return "1001"


def job_of(db: str, number: str) -> Job:
    database = open_database(db)
    with database.read() as connection:
        job = find_job(connection, number)
    database.close()
    return job


def entered(db: str, number: str) -> list[str]:
    return [f"{e.name}={e.state or e.value}" for e in job_of(db, number).standing if e.kind not in ("fact", "stage")]


@pytest.fixture
def terminal(db: str, number: str) -> Iterator[pexpect.spawn]:
    """A terminal of 80 columns with the loop of job 1001, waiting for its first key."""
    env = {**os.environ, "TERM": "xterm", "PYTHONIOENCODING": "utf-8"}
    arguments = ["-m", "faultnet", "bench", number, "--trained", "--db", db]
    child = pexpect.spawn(sys.executable, arguments, env=env, dimensions=(50, 80), encoding="utf-8", timeout=30)
    child.expect(KEY)
    yield child
    child.close(force=True)


def test_one_key_answers_and_is_written_down_at_once(terminal: pexpect.spawn, db: str) -> None:
    """No Enter: the key alone."""
    assert "listen for sound" in terminal.before
    terminal.send("1")
    terminal.expect("Written down:\r\n  3. sound: present")
    terminal.expect(KEY)
    assert entered(db, "1001") == ["sound=present"]
    assert "LED strips" in terminal.before
    terminal.send("l")
    terminal.expect("go on with: faultnet bench 1001")
    terminal.expect(pexpect.EOF)


def test_a_line_that_is_cut_loses_nothing(terminal: pexpect.spawn, db: str) -> None:
    """The connection breaks: the process gets a hang-up."""
    terminal.send("1")
    terminal.expect("Written down")
    terminal.close(force=True)
    assert entered(db, "1001") == ["sound=present"]


def test_leaving_with_ctrl_c_is_orderly_and_the_terminal_is_as_before(terminal: pexpect.spawn) -> None:
    import termios

    before = termios.tcgetattr(terminal.child_fd)
    terminal.send("\x03")
    terminal.expect("Left. Everything is kept")
    terminal.expect(pexpect.EOF)
    terminal.wait()
    assert terminal.exitstatus == 0
    assert before[3] & termios.ECHO == 0  # while a key is asked for
    assert termios.tcgetattr(terminal.child_fd)[3] & termios.ECHO


def test_taking_back_asks_first_and_the_test_is_advised_again(terminal: pexpect.spawn, db: str) -> None:
    terminal.send("1")
    terminal.expect(KEY)
    terminal.send("b")
    terminal.expect("3. sound: present")
    terminal.expect(r"\[y/n\] ")
    terminal.send("n")
    terminal.expect(KEY)
    assert entered(db, "1001") == ["sound=present"]
    terminal.send("b")
    terminal.expect(r"\[y/n\] ")
    terminal.send("y")
    terminal.expect("taken back")
    terminal.expect(KEY)
    assert entered(db, "1001") == []
    assert "listen for sound" in terminal.before


def test_skipping_asks_why_and_advises_something_else(terminal: pexpect.spawn, db: str) -> None:
    terminal.send("s")
    terminal.expect(r"why skip listen for sound\? ")
    terminal.sendline("no speakers in it")
    terminal.expect(KEY)
    assert job_of(db, "1001").skipped == {"sound": "no speakers in it"}
    assert "listen for sound  [sound]" not in terminal.before


def test_volts_are_asked_point_by_point_with_a_comma_as_decimal_sign(terminal: pexpect.spawn, db: str) -> None:
    terminal.send("o")
    terminal.expect("Which test")
    terminal.expect(NONE)
    wanted = re.search(r"(\d+)  measure the loaded LED voltage", terminal.before)
    assert wanted is not None
    terminal.sendline(wanted[1])
    terminal.expect(NONE)
    assert "  ! LED strings" in terminal.before, "a powered step shows its cautions before it is answered"
    volts = re.search(r"(\d)  volts, point by point", terminal.before)
    assert volts is not None
    terminal.send(volts[1])
    for number, text in enumerate(("0,2", "0.1", ""), start=1):
        terminal.expect(f"point {number}: ")
        terminal.sendline(text)
    terminal.expect("as usual: ")
    terminal.sendline("")
    terminal.expect(KEY)
    assert entered(db, "1001") == ["loaded_voltage=0.2,0.1"]


def test_what_somebody_else_entered_meanwhile_is_shown(terminal: pexpect.spawn, db: str) -> None:
    """Once, at the next screen, and what was entered here is not told as somebody else's."""
    run("job", "add", "1001", "flashlight=image_seen", "--db", db)
    terminal.send("1")
    terminal.expect(KEY)
    assert "entered elsewhere: 3. flashlight: faint picture seen" in terminal.before
    assert "elsewhere: 4" not in terminal.before
    assert entered(db, "1001") == ["flashlight=image_seen", "sound=present"]
    terminal.send("1")
    terminal.expect(KEY)
    assert "elsewhere" not in terminal.before


def test_an_unknown_key_says_which_there_are(terminal: pexpect.spawn) -> None:
    terminal.send("z")
    terminal.expect("Keys: ")
    terminal.expect(KEY)
    terminal.send("?")
    terminal.expect("Likeliest explanations")


# -- piped in --------------------------------------------------------------------------------------------------------


def piped(db: str, *keys: str, job: str = "1001") -> str:
    command = [sys.executable, "-m", "faultnet", "bench", *([job] if job else []), "--trained", "--db", db]
    env = {**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8"}
    done = subprocess.run(
        command, input="".join(f"{key}\n" for key in keys), capture_output=True, encoding="utf-8", env=env, timeout=60
    )
    assert done.returncode == 0, done.stderr
    said = [
        line for line in done.stdout.splitlines() if not line.startswith("enter: ")
    ]  # a terminal wraps what is typed
    assert max(map(len, said)) <= 80
    assert "\x1b" not in done.stdout
    return done.stdout


def strips_key(db: str) -> str:
    """The key of new strips in the list of repairs."""
    found = re.search(r"(\d)  replace all LED strips", piped(db, "r", "", "l"))
    assert found is not None
    return found[1]


def test_a_whole_job_with_input_piped_in(db: str, number: str) -> None:
    """Findings, a repair with its part, the end: one after the other, then the input ends."""
    enter = (
        "e",
        "sound=present flashlight=image_seen startup_flash=flash_then_off loaded=0 open_voltage=65 strip_tester=dark",
    )
    out = piped(db, *enter, "l")
    assert "replace all LED strips" in out or "replace_strips" in out
    strips = strips_key(db)
    out = piped(db, "r", strips, "LS-9", "LS-9", "1", "6x9", "42,5", "y", "m", "1", "c", "1", "3", "4", "95", "180", "")
    job = job_of(db, number)
    assert (job.stage, [part.price for part in job.parts]) == ("closed", [42.5])
    assert job.closing is not None
    assert (job.closing.outcome, job.closing.verification, job.closing.hours_on_test) == ("fixed", "symptom_cleared", 4)
    assert (job.closing.minutes, job.closing.price) == (95, 180)
    assert "When it goes home" in out


def test_parts_that_differ_are_asked_about_before_they_are_written_down(db: str, number: str) -> None:
    strips = strips_key(db)
    out = piped(db, "r", strips, "LS-9", "LS-10", "1", "", "", "y", "n", "l")
    assert "? replace_strips: the old part says LS-9, the new one LS-10" in " ".join(out.split())
    assert job_of(db, number).parts == ()
    piped(db, "r", strips, "LS-9", "LS-10", "1", "", "", "n", "y", "l")
    assert job_of(db, number).parts[0].new_code == "LS-10"


def test_entries_that_contradict_each_other_are_told_and_one_can_be_taken_back(
    tmp_path: Path, db: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FAULTNET_DATA", str(tmp_path / "data"))
    folder = tmp_path / "data" / "models"
    folder.mkdir(parents=True)
    text = certain_text().replace("id: backlight\n", "id: certain\n", 1)
    (folder / "certain.yaml").write_text(text, encoding="utf-8")
    run("job", "open", "--model", "certain", "--db", db)
    out = piped(db, "e", "sound=present strip_tester=abnormal blinks=normal_on", "2", "l")
    assert "The model holds this impossible" in " ".join(out.split())
    assert "2. strip_tester" in out
    assert entered(db, "1001") == ["sound=present", "blink_code=normal_on"]


def test_a_new_job_is_opened_from_the_list(db: str) -> None:
    out = piped(db, "n", "1", "PX-1040", "50", "6", "54", "1", "l", job="")
    assert "no job is open" in out
    assert job_of(db, "1001").facts == {
        "panel": "PX-1040", "size": "50", "age": "6", "nominal": "54", "occurrence": "always",
    }  # fmt: skip
    assert "1001" in piped(db, "1", "l", job="")


def test_of_a_set_that_fails_only_at_times_it_is_asked_whether_it_did(db: str) -> None:
    run("job", "open", "--model", "backlight", "--occurrence", "sometimes", "--db", db)
    piped(db, "1", "n", "1", "y", "e", "startup_flash=none@showing", "l")
    told = [entry.symptom for entry in job_of(db, "1001").standing if entry.kind == "finding"]
    assert told == ["not_showing", "showing", "showing"]


def test_intake_goes_on_with_the_model_it_names(db: str) -> None:
    run("job", "open", "--model", "intake", "--db", db)
    out = piped(db, "e", "sound=present light=none torch=image_seen", "g", "1", "l")
    assert "g go on with another model" in " ".join(out.split())
    assert job_of(db, "1001").model == "backlight"
    assert "LED strips" in out


def test_slips_are_told_and_nothing_is_written(db: str, number: str) -> None:
    out = piped(db, "e", "sond=present", "l")
    assert "Everything is kept" in out
    assert entered(db, number) == []


def test_every_powered_step_shows_its_cautions(db: str, number: str) -> None:
    """All the way through a job by always pressing 1: before each step above hazard 0 stands a caution."""
    out = piped(db, *["1"] * 14, "l")
    steps = re.findall(r"hazard\s+(\d)\s+of\s+4(.*?)what you may see", out, flags=re.DOTALL)
    assert any(int(hazard) >= 2 for hazard, _ in steps)
    for hazard, after in steps:
        assert int(hazard) == 0 or "! " in after
    del number
