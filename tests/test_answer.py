"""The answer of `next`: what its text shows within 80 columns, and what its JSON says it was worked out with."""

import json
import re
import shutil
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from test_cli import run

from faultnet.cli.terminal import bar, wrapped_table
from faultnet.files import load_model
from faultnet.files.finder import is_shipped

CONFIRMED = ("sound=present", "torch=image_seen")
PULLING = (*CONFIRMED, "unplugged=65", "tester=all_light_ok", "--nominal", "54")
MODEL = Path(__file__).parent.parent / "models" / "backlight.yaml"


@cache
def text(*arguments: str, model: str = "backlight") -> str:
    shown = run("next", model, *arguments).stdout
    assert [line for line in shown.splitlines() if len(line) > 80] == []
    return shown


@cache
def told(*arguments: str, model: str = "backlight") -> dict[str, Any]:
    answer: dict[str, Any] = json.loads(run("next", model, *arguments, "--json").stdout)
    return answer


def section(shown: str, heading: str) -> str:
    return shown.split(f"\n{heading}", 1)[1].split("\n\n")[0]


# -- text --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("arguments", [(), CONFIRMED, (*CONFIRMED, "flash=none")])
def test_a_usual_answer_stays_within_about_60_lines(arguments: tuple[str, ...]) -> None:
    assert len(text(*arguments).splitlines()) <= 64


def test_the_three_likeliest_repairs_are_shown_with_what_holds_them() -> None:
    shown = section(text(*CONFIRMED), "Ways on")
    ranked = told(*CONFIRMED)["repairs"]
    for repair in ranked[:3]:
        (line,) = (line for line in shown.splitlines() if line.startswith(f"  {repair['repair']} "))
        assert f"{100 * repair['named_right']:.0f} %" in line
        assert "training; gate" in line
        assert f" {repair['expected_cost']:.0f} " in line
    assert not any(repair["repair"] in shown for repair in ranked[3:])
    trained = section(text(*CONFIRMED, "--trained"), "Ways on")
    assert re.search(r"replace_driver +\d+ +\d+ % +\d+ +3  gate 85 %", trained)
    assert "training" not in trained
    full = section(text(*CONFIRMED, "--full"), "Ways on")
    assert all(repair["repair"] in full for repair in ranked)
    assert "training; gate 85 %; after strip_tester" in " ".join(full.split())
    assert "..." not in full


def test_a_repair_that_is_advised_is_held_by_nothing() -> None:
    events = (*CONFIRMED, "flash=flash_then_off", "unplugged=65", "tester=dark", "--nominal", "54", "--trained")
    assert told(*events)["advice"]["id"] == "replace_strips"
    (line,) = (line for line in section(text(*events), "Ways on").splitlines() if "replace_strips" in line)
    assert line.endswith("advised")


def test_findings_that_pull_apart_are_named_with_their_factor() -> None:
    (conflict,) = told(*PULLING)["surprises"]
    shown = " ".join(section(text(*PULLING), "Surprises").split())
    assert (conflict["kind"], conflict["unit"], conflict["events"]) == ("conflict", "nats", [1, 2, 3])
    factor = f"{2.718281828 ** conflict['events_value']:.1f}"
    named = "2. flashlight: faint picture seen; 3. open_voltage: 65 V (max hold); 4. strip_tester: all light"
    assert f"these findings fit each other badly: {named}; together {factor} times less likely than each by" in shown
    assert "sound" not in shown


def test_a_conflict_below_half_a_nat_is_in_the_json_and_not_in_the_text() -> None:
    events = (*CONFIRMED, "tester=dark", "bl_on=low")
    (conflict,) = told(*events)["surprises"]
    assert 0 < conflict["value"] < 0.5
    assert "Surprises" not in text(*events)


def test_two_per_cent_does_not_look_like_seven(capsys: pytest.CaptureFixture[str]) -> None:
    del capsys  # what pytest captures is UTF-8
    assert (bar(0.07, 14), bar(0.03, 14), bar(0.02, 14)) == ("█" + "·" * 13, "█" + "·" * 13, "▏" + "·" * 13)
    assert bar(0.0249, 14) != bar(0.0251, 14)  # shown as 2 % and 3 %
    assert (bar(0.0, 14)[0], bar(1.0, 14)) == ("▏", "█" * 13 + "·")
    for line in text(*CONFIRMED).splitlines():
        if found := re.search(r" ([█▏])·+ +(<1|\d+) %", line):
            assert (found[1] == "▏") == (found[2] in ("<1", "1", "2"))
    assert "▏ below 3 %" in text(*CONFIRMED)
    plain = run("next", "backlight", *CONFIRMED, PYTHONIOENCODING="ascii:strict").stdout
    assert "| below 3 %" in plain
    assert "|............." in plain


def test_what_you_may_see_shows_the_name_to_type_where_it_is_another() -> None:
    shown = text(*CONFIRMED).split("what you may see")[1].split("\n\n")[0]
    assert "no flash [none]" in shown
    assert re.search(r"^ +flash, then off .*\n +\[flash_then_off\]$", shown, flags=re.MULTILINE)
    assert re.search(r"^ +stays_lit ", shown, flags=re.MULTILINE)
    run("next", "backlight", *CONFIRMED, "startup_flash=stays_lit")
    seen = text(*CONFIRMED, "flash=none", "bl_on=high", "--at", "cover=off").split("what you may see")[1]
    assert "[burnt_or_loose_conn]" in seen  # long names go on below, nothing is cut
    assert "..." not in seen


def test_a_table_goes_on_below_where_it_is_too_wide(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    rows = [("short", "1", "a word " * 12), ("first cell that goes on for more than thirty", "22", "end")]
    lines = wrapped_table(rows, "lrl", indent=4)
    assert [line for line in lines if len(line) > 80 or not line.startswith("    ")] == []
    assert "      more than thirty" in lines
    assert "22" in next(line for line in lines if "first cell" in line)
    assert " ".join("".join(lines).split()).count("a word") == 12


def test_why_names_each_entry_as_it_is_typed() -> None:
    shown = section(text(*CONFIRMED, "peak=0.1,0@by:anna", "bl_on=high:0.8,low:0.2", "new_strips=no", "--full"), "Why")
    for entry in (
        "1. sound=present",
        "2. flashlight=image_seen",
        "3. loaded_voltage_peak=0.1,0@by:anna",
        "4. bl_on=high:0.8,low:0.2",
        "5. replace_strips=not",
    ):
        assert re.search(rf"^  {re.escape(entry)} ", shown, flags=re.MULTILINE)


def test_what_is_not_in_the_intervals_is_said_in_full() -> None:
    shown = " ".join(text(*CONFIRMED, "--full").split())
    assert "how well a repair works, what it may harm, and which volts go with which state" in shown


def test_doubts_are_echoed_with_the_entry() -> None:
    events = ("loaded=0,2", "loaded=high", "unplugged=325")
    shown = " ".join(text(*events).split())
    assert (
        "2 points: 0 V, 2 V (steady) -- replaced by a later entry -- taken as two points; if 0.2 V was meant" in shown
    )
    assert "open_voltage: 325 V (max hold) -- this is a mains-side level: check the reference and the range" in shown
    listed = told(*events)["events"]
    assert [len(event.get("doubts", ())) for event in listed] == [1, 0, 1]
    assert "set_aside" not in listed[2]


def test_repairs_made_together_and_again_are_echoed_and_listed() -> None:
    events = (*CONFIRMED, "open_voltage=61", "new_strips+new_driver=not", "replace_strips=not")
    shown = " ".join(text(*events).split())
    assert "4. replace_strips and replace_driver: made together, and the set does not work" in shown
    again = "replace_strips for the second time: taken as another part of the same kind, as likely to help"
    assert f"5. replace_strips: made, and the set does not work -- {again}" in shown
    *_, both, once_more = told(*events)["events"]
    assert (both["kind"], both["name"]) == ("repair", "replace_strips+replace_driver")
    assert (both["repairs"], both["works"]) == (["replace_strips", "replace_driver"], False)
    assert "notes" not in both
    assert once_more["notes"] == [again]


def test_nothing_is_shown_as_minus_nought() -> None:
    for arguments in ((*CONFIRMED, "--full"), ("new_strips=works", "--full")):
        assert re.search(r"-0\.0+(?!\d)", text(*arguments)) is None
    assert "0.00 bit open; log evidence" in text("new_strips=works", "--full")


# -- which file --------------------------------------------------------------------------------------------------------


def test_two_copies_of_a_model_can_be_told_apart(tmp_path: Path) -> None:
    copy, edited = tmp_path / "my_backlight.yaml", tmp_path / "edited.yaml"
    shutil.copy(MODEL, copy)
    edited.write_text(MODEL.read_text(encoding="utf-8") + "# touched\n", encoding="utf-8")
    digests = {}
    for file in (copy, edited):
        digests[file] = sha256(file.read_bytes()).hexdigest()[:8]
        answer = told(model=str(file))
        assert (answer["version"], answer["file"], answer["digest"]) == ("backlight@0", str(file), digests[file])
        head = text(model=str(file)).partition("Understood")[0]
        assert f"({digests[file]})" in head
        assert file.name in head
    assert digests[copy] != digests[edited]
    assert load_model(str(edited)).digest == digests[edited]  # from the cache, too


def test_a_shipped_model_shows_no_path_and_its_digest_in_full() -> None:
    digest = sha256(MODEL.read_bytes()).hexdigest()[:8]
    assert is_shipped(MODEL)
    assert not is_shipped(MODEL.parent.parent / "my.yaml")
    assert text().splitlines()[1] == "  model backlight@0: starting numbers, no jobs of this shop yet"
    assert f"model backlight@0 ({digest}): " in text("--full")
    assert (told()["digest"], Path(told()["file"]).name) == (digest, "backlight.yaml")


# -- JSON --------------------------------------------------------------------------------------------------------------


def test_json_says_what_the_answer_was_worked_out_with() -> None:
    answer = told("sound=present", "--nominal", "54", "--size", "50", "--trained", "--at", "cover=off")
    assert (answer["nominal_volts"], answer["size_inches"], answer["trained"]) == (54, 50, True)
    assert answer["bench"] == {"cover": "off", "mains": "on", "led_cable": "in", "panel": "closed"}
    assert {"hourly_rate": 40.0, "gate_panel": 0.9, "gate_repair": 0.85, "trained": True}.items() <= answer[
        "settings"
    ].items()
    assert len(answer["settings"]["hazard_prices"]) == 5
    assert (answer["draws"], answer["seed"]) == (200, 0)
    assert {"gain": "bit", "entropy": "bit", "log_evidence": "nat", "minutes": "min", "nominal_volts": "V"}.items() <= (
        answer["units"].items()
    )
    unknown = told(*CONFIRMED)
    assert (unknown["nominal_volts"], unknown["size_inches"], unknown["trained"]) == (None, None, False)
    assert unknown["bench"]["cover"] == "on"


def test_json_says_of_each_step_why_it_is_held_back_or_null() -> None:
    answer = told(*CONFIRMED)
    held = {(item["kind"], item["id"]): item["reason"] for item in answer["held_back"]}
    for kind in ("test", "repair"):
        reasons = {step[kind]: step["held_because"] for step in answer[f"{kind}s"]}
        assert reasons == {name: held.get((kind, name)) for name in reasons}
        assert any(reasons.values())
    assert None in {test["held_because"] for test in answer["tests"]}
    advised = told(*CONFIRMED, "flash=flash_then_off", "unplugged=65", "tester=dark", "--nominal", "54", "--trained")
    (repair,) = (r for r in advised["repairs"] if r["repair"] == advised["advice"]["id"])
    assert repair["held_because"] is None
