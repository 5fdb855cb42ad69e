"""The command line as people use it: a process of its own, 80 columns, no colour."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

CAUTION_HAZARD = 1
UNTRAINED_HAZARD = 1


def run(*arguments: str, expect: int = 0, **environment: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "faultnet", *arguments]
    env = {**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8", **environment}
    done = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", env=env, timeout=60, check=False)
    assert expect == done.returncode, done.stderr
    assert "Traceback" not in done.stderr
    return done


def answer(*arguments: str) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(run("next", "backlight", *arguments, "--json").stdout)
    return loaded


def test_the_demo_goes_from_intake_to_repair_within_80_columns() -> None:
    done = run("demo")
    assert "Time to repair: replace all LED strips as a set" in done.stdout
    assert "replace_strips=works" in done.stdout
    assert [line for line in done.stdout.splitlines() if len(line) > 80] == []
    assert done.stderr == ""
    assert "\x1b" not in done.stdout


def test_the_command_that_the_demo_ends_with_gives_the_demo_s_verdict() -> None:
    told = " ".join(run("demo").stdout.split("The same answer in one command:")[1].split("These are")[0].split())
    done = run(*told.split()[1:], "--json")
    assert {"kind": "repair", "id": "replace_strips"}.items() <= json.loads(done.stdout)["advice"].items()


def test_next_keeps_to_80_columns_in_full_and_needs_no_colour() -> None:
    events = [
        "sound=present",
        "torch=image_seen",
        "flash=none",
        "loaded_voltage=0.1,0,0.2",
        "tester=dark",
        "unplugged=0",
    ]
    done = run("next", "backlight", *events, "--full", "--trained", "--nominal", "37")
    assert [line for line in done.stdout.splitlines() if len(line) > 80] == []
    assert "\x1b" not in done.stdout
    assert "3 points: 0.1 V, 0 V, 0.2 V" in done.stdout


def test_bars_are_plain_characters_where_the_terminal_has_no_others() -> None:
    done = run("next", "backlight", PYTHONIOENCODING="ascii:strict")
    assert "#" in done.stdout
    assert done.stdout.isascii()


def test_probabilities_for_people_are_never_0_or_100_per_cent() -> None:
    done = run("next", "backlight", "sound=present", "torch=image_seen", "tester=dark", "unplugged=44", "--full")
    assert re.findall(r"(?<![\d.])(?:0|100) %", done.stdout) == []


def test_json_has_the_promised_layout() -> None:
    told = answer("sound=present", "loaded_voltage=36.8,37.1", "open_voltage=0@settled+by:anna", "--nominal", "37")
    assert told["schema_version"] == 1
    assert (told["model"], told["version"]) == ("backlight", "backlight@0")
    assert pytest.approx(1.0) == sum(f["probability"] for f in told["faults"] if f["component"] == "strips")
    assert {"component", "mode", "probability", "low", "high", "source", "jobs"} == set(told["faults"][0])
    assert all(f["low"] <= f["probability"] <= f["high"] for f in told["faults"])
    assert len(told["joint"]) == 5
    test_keys = {"test", "gain_bits", "gain_repair_bits", "minutes", "setup_minutes", "cost", "hazard", "setup"}
    assert test_keys | {"cautions", "outcomes"} <= set(told["tests"][0])
    assert {"state", "chance", "leading_fault", "probability"} == set(told["tests"][0]["outcomes"][0])
    assert {"repair", "cures", "expected_cost", "hazard", "cautions"} <= set(told["repairs"][0])
    assert {"kind", "id", "why", "verdict", "looks_ahead", "expected_cost"} == set(told["advice"])
    for key in ("log_evidence", "entropy_bits", "nothing_found", "two_or_more", "surprises", "disclaimer", "held_back"):
        assert key in told
    assert told["events"][1]["points"] == [36.8, 37.1]
    assert (told["events"][2]["hold"], told["events"][2]["by"]) == ("settled", "anna")


def test_every_step_with_a_hazard_shows_its_cautions_once() -> None:
    for told in (answer("--trained"), answer("sound=present", "torch=image_seen", "loaded=0", "--trained")):
        for step in told["tests"] + told["repairs"]:
            assert step["hazard"] < CAUTION_HAZARD or step["cautions"]
            assert len(step["cautions"]) == len(set(step["cautions"]))


def test_an_untrained_bench_is_only_advised_harmless_steps_and_told_what_is_held_back() -> None:
    told = answer("sound=present", "torch=image_seen", "flash=none", "visual=nothing", "blinks=normal_on")
    assert told["advice"]["kind"] == "hand_over"
    held = {h["id"] for h in told["held_back"]}
    assert {"loaded_voltage", "open_voltage", "strip_tester", "replace_strips"} <= held
    assert all(t["test"] in held for t in told["tests"] if t["hazard"] > UNTRAINED_HAZARD)


def test_set_up_is_paid_once_from_where_the_bench_stands() -> None:
    def setup_minutes(*arguments: str) -> float:
        tests = {t["test"]: t for t in answer("sound=present", *arguments)["tests"]}
        return float(tests["loaded_voltage_peak"]["setup_minutes"])

    assert pytest.approx(9.0) == setup_minutes()  # cover off 8, switch on 1
    assert pytest.approx(0.0) == setup_minutes("loaded_voltage=0")  # as the last test left it
    assert pytest.approx(1.0) == setup_minutes("--at", "cover=off,mains=off")


def test_after_a_repair_the_set_stands_closed_together_and_on() -> None:
    told = answer("sound=present", "torch=image_seen", "unplugged=65", "replace_strips=not", "--trained")
    tests = {t["test"]: t for t in told["tests"]}
    assert tests["blink_code"]["setup"] == []
    assert tests["loaded_voltage"]["setup"] == ["unplug the mains", "take the cover off", "switch on"]
    assert "panel" not in " ".join(tests["visual"]["setup"])
    assert "discharge and measure" in tests["strip_tester"]["setup"]


def test_without_the_complaint_and_with_a_given_condition() -> None:
    def faulty(told: dict[str, Any], component: str) -> float:
        return sum(f["probability"] for f in told["faults"] if f["component"] == component and f["mode"] != "ok")

    assert answer("--without-complaint")["nothing_found"] > 0.8
    surge = answer("sound=present", "torch=image_seen", "--given", "event_before=surge")
    usual = answer("sound=present", "torch=image_seen", "--given", "event_before=nothing")
    assert faulty(surge, "supply") > 2 * faulty(usual, "supply")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["backlit"], "backlight"),
        (["backlight", "soud=present"], "sound"),
        (["backlight", "sound=presen"], "present"),
        (["backlight", "replace_strip=not"], "replace_strips"),
        (["backlight", "replace_strips=maybe"], "works"),
        (["backlight", "loaded_voltage=abc"], "off_level"),
        (["backlight", "loaded_voltage=1e9"], "1e9"),
        (["backlight", "loaded_voltage=99999"], "decimal"),
        (["backlight", "--given", "age=old"], "age_band"),
        (["backlight", "--at", "cover=of"], "on, off"),
        (["backlight", "driver_policy=latch"], "--given"),
        (["backlight", "leds=dead"], "a part"),
        (["backlight", "--nominal", "-4"], "nominal"),
        (["backlight@3"], "backlight@0"),
    ],
)
def test_a_slip_on_the_command_line_is_exit_2_and_says_what_was_meant(arguments: list[str], said: str) -> None:
    done = run("next", *arguments, expect=2)
    assert done.stdout == ""
    assert said in done.stderr


def test_all_slips_are_told_at_once() -> None:
    done = run(
        "next", "backlight", "soud=present", "torch=imge_seen", "--given", "ages=old", "--at", "lid=off", expect=2
    )
    for slip in ("soud", "imge_seen", "ages", "lid"):
        assert slip in done.stderr


def test_a_bad_model_file_is_exit_3_with_its_place(tmp_path: Path) -> None:
    bad = tmp_path / "bad.yaml"
    bad.write_text("id: bad\ntitle: [\n", encoding="utf-8")
    done = run("model", "check", str(bad), expect=3)
    assert re.search(r"bad\.yaml:\d+:\d+: ", done.stderr)
    assert done.stdout == ""


def certain_text() -> str:
    """A model in which a strip tester never shows `abnormal`."""
    model = Path("models/backlight.yaml").read_text(encoding="utf-8")
    certain = model.replace("- {when: {strips: open}, p: [0.06, 0.10, 0.84]}", "- {when: {strips: open}, p: [0, 0, 1]}")
    certain = certain.replace("- {p: [0.95, 0.03, 0.02]}", "- {p: [1, 0, 0]}").replace(
        "- {when: {other: unknown}, p: [0.80, 0.10, 0.10]}", "- {when: {other: unknown}, p: [1, 0, 0]}"
    )
    certain = certain.replace("p: [0.18, 0.17, 0.65]", "p: [1, 0, 0]")
    for row in ("p: [0.30, 0.50, 0.20]", "p: [0.30, 0.62, 0.08]"):
        certain = certain.replace(row, "p: [1, 0, 0]")
    return certain


def test_contradictory_evidence_is_exit_6_and_names_the_conflict(tmp_path: Path) -> None:
    file = tmp_path / "certain.yaml"
    file.write_text(certain_text(), encoding="utf-8")
    done = run("next", str(file), "sound=present", "strip_tester=abnormal", "blinks=normal_on", expect=6)
    assert "some dark or flickering" in done.stderr
    assert "sound" not in done.stderr


def test_models_are_listed_shown_and_checked() -> None:
    listed = json.loads(run("model", "list", "--json").stdout)["models"]
    assert {"id": "backlight", "version": "backlight@0"}.items() <= listed[0].items()
    assert {"id", "title", "version"} == set(listed[0])
    assert "backlight" in run("model", "list").stdout
    shown = run("model", "show", "backlight").stdout
    assert "strips.open" in shown
    assert "torch" in shown
    checked = json.loads(run("model", "check", "backlight", "--json").stdout)
    assert checked["engine"]["component_states"] == 4608
    assert all(abs(s["share"] - s["network"]) < 0.02 for s in checked["shares"].values())
    text = run("model", "check", "backlight").stdout
    assert "is sound" in text
    assert [line for line in (shown + text).splitlines() if len(line) > 80] == []


def test_the_technician_s_path_imports_nothing_heavy() -> None:
    run("next", "backlight", "sound=present")  # the first start fills the cache
    code = (
        "import sys; from faultnet.cli import main\n"
        "sys.argv = ['faultnet', 'next', 'backlight', 'sound=present']\n"
        "try:\n    main.run()\nexcept SystemExit:\n    pass\n"
        "print('MODULES', *sys.modules, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    loaded = set(done.stderr.split("MODULES")[1].split())
    heavy = {
        "pgmpy",
        "sqlalchemy",
        "fastapi",
        "jinja2",
        "pandas",
        "sklearn",
        "matplotlib",
        "numba",
        "pydantic",
        "ruamel.yaml",
        "scipy",
        "networkx",
        "rich",
    }
    assert set() == heavy & loaded


def test_help_names_every_command() -> None:
    groups = {"model": ["list", "show", "check", "export", "import"], "voltages": ["add", "list"], "shop": ["info"]}
    commands = [[group, name] for group, names in groups.items() for name in names]
    for arguments in ([], ["next"], ["demo"], *([group] for group in groups), *commands):
        assert "Usage" in run(*arguments, "--help").stdout
    assert "6 contradictory evidence" in " ".join(run("--help").stdout.split())


def test_version() -> None:
    assert re.fullmatch(r"faultnet \d+\.\d+\.\d+\n", run("--version").stdout)
