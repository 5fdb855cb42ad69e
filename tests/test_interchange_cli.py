"""Networks from elsewhere on the command line: import, answers, export, second opinion."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from networks import packed, text
from test_cli import run
from test_schema import problems_of

from faultnet.files import load_model


@pytest.fixture(scope="module")
def asia(tmp_path_factory: pytest.TempPathFactory) -> str:
    file = tmp_path_factory.mktemp("asia") / "asia.yaml"
    run("model", "import", str(packed("asia")), "--component", "tub,lung,bronc", "--out", str(file))
    return str(file)


def test_a_network_is_imported_asked_and_exported_again(tmp_path: Path) -> None:
    model, back = tmp_path / "asia.yaml", tmp_path / "back.xmlbif"
    done = run("model", "import", str(packed("asia")), "--component", "tub,lung,bronc", "--out", str(model))
    assert "8 nodes, 36 numbers, every table whole" in done.stdout
    assert "components: tub (healthy: no), lung (healthy: no), bronc (healthy: no)" in done.stdout
    assert f"faultnet next {model} xray=yes" in " ".join(done.stdout.split())
    told = json.loads(run("next", str(model), "asia=yes", "dysp=yes", "xray=yes", "--json").stdout)
    chances = {(f["component"], f["mode"]): f["probability"] for f in told["faults"]}
    # Lauritzen & Spiegelhalter 1988, section 2; derived by enumeration and by pyAgrum
    assert chances["tub", "yes"] == pytest.approx(0.39171172, abs=1e-7)
    assert {(f["low"], f["high"], f["source"]) for f in told["faults"]} == {(None, None, "imported")}
    assert "read back the same" in run("model", "export", str(model), "--out", str(back)).stdout
    again = run(
        "model", "import", str(back), "--component", "tub,lung,bronc", "--json", "--out", str(tmp_path / "b.yaml")
    )
    assert json.loads(again.stdout)["nodes"]["tub"]["given"] == ["asia"]


def test_the_answer_says_that_its_numbers_are_imported_and_have_no_intervals(asia: str) -> None:
    done = run("next", asia, "smoke=yes", "either=no:0.2,yes:0.9", "--full")
    assert "imported numbers, used as they are" in done.stdout
    assert "imported numbers have no intervals" in done.stdout
    assert "imported and used as they are" in " ".join(done.stdout.split())
    assert "the set does not work" not in done.stdout
    assert [line for line in done.stdout.splitlines() if len(line) > 80 and "asia.yaml" not in line] == []


def test_an_imported_model_is_shown_and_checked_and_has_no_set_ups(asia: str) -> None:
    assert "bronc: no; yes 45 %" in run("model", "show", asia).stdout
    assert json.loads(run("model", "show", asia, "--json").stdout)["chances"]["lung.yes"] == pytest.approx(0.055)
    assert "is sound: an imported network, 3 components" in run("model", "check", asia).stdout
    assert json.loads(run("model", "check", asia, "--json").stdout)["counts"]["tests"] == 2
    assert "--at cover=off" in run("next", asia, "--at", "cover=off", expect=2).stderr


def test_what_an_imported_network_holds_impossible_is_exit_6(asia: str) -> None:
    assert "either" in run("next", asia, "tub=yes", "either=no", "xray=yes", expect=6).stderr


def test_names_that_are_no_ids_are_printed_with_what_they_became(tmp_path: Path) -> None:
    out = tmp_path / "child.yaml"
    done = run(
        "model", "import", str(packed("child")), "--component", "Disease,CO2", "--ok", "CO2=High", "--out", str(out)
    )
    assert "lowerbodyo2: under_5 is '<5'" in done.stdout
    assert "co2 (healthy: high)" in done.stdout
    assert [line for line in done.stdout.splitlines() if len(line) > 80 and "child.yaml" not in line] == []
    model = load_model(str(out))
    assert model.components["co2"].states == ("high", "normal", "low")
    assert model.visible["chestxray"].state_labels["asy_patch"] == "Asy/Patch"
    run("next", str(out), "LowerBodyO2=under_5", "Disease=TGA")


def test_rows_that_were_scaled_are_told(tmp_path: Path) -> None:
    done = run("model", "import", str(packed("insurance")), "--out", str(tmp_path / "i.yaml"), "--json")
    told = json.loads(done.stdout)
    assert told["scaled"]["rows"] == 1
    assert told["guessed"] is True
    text_ = run("model", "import", str(packed("insurance")), "--out", str(tmp_path / "j.yaml")).stdout
    assert "scaled, since they did not sum to 1 exactly: 1 row in 1 table" in " ".join(text_.split())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--component", "tub,lng"], "--component lng: no such node; did you mean lung"),
        (["--component", "tub", "--rail", "tub"], "--rail tub: already told as --component"),
        (["--component", "tub", "--ok", "tub=maybe"], "no such state; it has yes, no"),
        (["--component", "tub", "--ok", "xray=no"], "xray is no component"),
        (["--component", "tub", "--ok", "tub"], "write NODE=STATE"),
        (["--rail", "asia,smoke"], "no node is a component"),
        (["--out", "model.txt"], "a model file ends in .yaml"),
    ],
)
def test_a_slip_in_an_import_is_exit_2(arguments: list[str], said: str, tmp_path: Path) -> None:
    options = arguments if "--out" in arguments else [*arguments, "--out", str(tmp_path / "a.yaml")]
    done = run("model", "import", str(packed("asia")), *options, expect=2)
    assert said in done.stderr
    assert done.stdout == ""
    assert not list(tmp_path.iterdir())


def test_a_model_file_that_may_have_been_edited_is_not_replaced_unasked(tmp_path: Path) -> None:
    out = tmp_path / "asia.yaml"
    out.write_text("mine", encoding="utf-8")
    arguments = ["model", "import", str(packed("asia")), "--out", str(out)]
    assert "is there already" in run(*arguments, expect=2).stderr
    assert out.read_text(encoding="utf-8") == "mine"
    run(*arguments, "--force")
    assert load_model(str(out)).id == "asia"


def test_a_damaged_network_is_exit_3_with_its_place(tmp_path: Path) -> None:
    bad = tmp_path / "bad.bif"
    bad.write_text(text("asia").replace("(no) 0.01, 0.99;", "(no) 0.01, 0.98;", 1), encoding="utf-8")
    done = run("model", "import", str(bad), "--out", str(tmp_path / "bad.yaml"), expect=3)
    assert re.search(r"bad\.bif:\d+:1: table of 'tub': a row sums to 0\.99, not 1", done.stderr)
    assert list(tmp_path.iterdir()) == [bad]
    assert "cannot be read" in run("model", "import", str(tmp_path / "none.bif"), expect=3).stderr


def test_the_second_opinion_on_a_model_agrees(asia: str) -> None:
    done = run("model", "check", "intake", "--against", "pgmpy", "--cases", "5")
    assert "below 1e-08" in done.stdout
    told = json.loads(run("model", "check", asia, "--against", "pgmpy", "--seed", "4", "--json").stdout)
    assert told["agrees"] is True
    assert told["worst"]["difference"] < 1e-12
    assert (told["cases"], told["seed"]) == (20, 4)
    assert "pgmpy" in run("model", "check", "intake", "--against", "excel", expect=2).stderr


def test_a_second_opinion_that_differs_is_exit_1_and_prints_its_case() -> None:
    """Another library that answers wrong: pgmpy with every chance a little off."""
    code = (
        "import sys\n"
        "from faultnet.interchange import against\n"
        "right = against.ask_pgmpy\n"
        "against.ask_pgmpy = lambda *a: right(*a) * (1 - 1e-6)\n"
        "sys.argv = ['faultnet', 'model', 'check', 'intake', '--against', 'pgmpy', '--cases', '3']\n"
        "from faultnet.cli.main import run\nrun()\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 1
    assert "intake@0 and pgmpy differ by 9.49e-07" in done.stderr
    assert re.search(r"P\(\w+=\w+\): \S+ here, \S+ there, given", " ".join(done.stdout.split()))


@pytest.mark.skipif(os.name != "posix", reason="a terminal is made with pty")
def test_at_a_terminal_the_guess_is_asked_about(tmp_path: Path) -> None:
    import pty

    def answer_in_turn(*lines: str) -> tuple[str, Any]:
        out = tmp_path / f"{len(lines)}.yaml"
        ours, theirs = pty.openpty()
        command = [sys.executable, "-m", "faultnet", "model", "import", str(packed("asia")), "--out", str(out)]
        child = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, close_fds=True)
        os.close(theirs)
        os.write(ours, "".join(f"{line}\n" for line in lines).encode())
        shown = b""
        while True:
            try:
                part = os.read(ours, 4096)
            except OSError:  # the other end is closed: the program is done
                break
            if not part:
                break
            shown += part
        os.close(ours)
        assert child.wait(timeout=60) == 0, shown.decode()
        return shown.decode(), load_model(str(out))

    shown, model = answer_in_turn("")
    assert "Enter takes it so" in shown
    assert list(model.components) == ["asia", "smoke"]
    _, model = answer_in_turn("component lung, tub", "rail smoke,asia", "ok lung=yes", "what", "")
    assert list(model.components) == ["tub", "lung"]
    assert model.components["lung"].healthy == "yes"


def test_help_names_what_can_be_done_with_networks() -> None:
    for arguments in (["model", "export"], ["model", "import"], ["model", "check"]):
        assert "Usage" in run(*arguments, "--help").stdout


# -- the file ------------------------------------------------------------------------------------------------------


SOUND = """id: two
title: Two
network:
  a:
    kind: component
    label: A
    states: [fine, bad]
    table: [[0.9, 0.1]]
  b:
    kind: observation
    label: B
    states: [low, high]
    given: [a]
    table: [[0.8, 0.2], [0.3, 0.7]]
tests:
  b: {label: B, minutes: 1, hazard: 0, mark: reasoned}
"""


@pytest.mark.parametrize(
    ("old", "new", "path", "line", "said"),
    [
        ("title: Two\n", "title: Two\nstrength: {shares: 1, rows: 1}\n", "strength", 3, "does not go with `network`"),
        ("title: Two\n", "title: Two\nrepairs: {}\n", "repairs", 3, "does not go with `network`"),
        ("kind: component", "kind: part", "network.a.kind", 5, "'component', 'rail' or 'observation'"),
        ("kind: component", "kind: rail", "network", 3, "no node is a component"),
        ("[[0.9, 0.1]]", "[[0.9, 0.2]]", "network.a.table[0]", 8, "add to 1.1, not 1"),
        ("[[0.9, 0.1]]", "[[0.9, 0.1], [1, 0]]", "network.a.table", 8, "2 rows for 1 combinations"),
        ("[0.3, 0.7]", "[0.3, 0.6, 0.1]", "network.b.table[1]", 14, "3 probabilities for 2 states"),
        ("given: [a]", "given: [c]", "network.b.given[0]", 13, "unknown node c"),
        ("given: [a]", "given: [b]", "network.b.given", 13, "a cycle of nodes: b -> b"),
        ("[low, high]", "[low, low]", "network.b.states", 12, "low stands here twice"),
        ("label: A\n", "label: A\n    labels: {poor: p}\n", "network.a.labels.poor", 7, "unknown state poor"),
        ("hazard: 0", "hazard: 2", "tests.b", 16, "goes with `setups`"),
        ("  b: {label: B", "  a: {label: B", "tests.a", 16, "unknown observation a"),
    ],
)
def test_a_slip_in_an_imported_file_is_told_with_its_place(
    old: str, new: str, path: str, line: int, said: str, tmp_path: Path
) -> None:
    assert SOUND.count(old) == 1
    found = [p for p in problems_of(SOUND.replace(old, new), tmp_path) if p.path == path]
    assert [(p.line, said in p.message) for p in found][:1] == [(line, True)], found


def test_an_imported_file_is_sound_without_the_slip_and_with_a_test_that_has_a_hazard(tmp_path: Path) -> None:
    file = tmp_path / "two.yaml"
    file.write_text(SOUND, encoding="utf-8")
    assert load_model(str(file)).tests["b"].hazard == 0
    backlight = Path("models/backlight.yaml").read_text(encoding="utf-8")
    setups = re.search(r"^setups:\n(?:(?: .*|#.*)?\n)+", backlight, flags=re.MULTILINE)
    cautions = re.search(r"^cautions:\n(?:(?: .*|#.*)?\n)+", backlight, flags=re.MULTILINE)
    assert setups is not None
    assert cautions is not None
    first = cautions.group().split("\n")[1].strip().partition(":")[0]
    powered = SOUND.replace("hazard: 0", f"hazard: 2, needs: {{cover: off}}, cautions: [{first}]")
    file.write_text(f"{powered}{cautions.group()}{setups.group()}", encoding="utf-8")
    assert load_model(str(file)).tests["b"].hazard == 2
    told = json.loads(run("next", str(file), "--at", "cover=off", "--json").stdout)
    assert [h["id"] for h in told["held_back"]] == ["b"]


def test_too_many_joint_states_are_a_problem_of_the_file(tmp_path: Path) -> None:
    more = "".join(f"  x{n}: {{kind: component, label: X, states: [p, q], table: [[0.5, 0.5]]}}\n" for n in range(14))
    (problem,) = problems_of(SOUND.replace("tests:", f"{more}tests:"), tmp_path)
    assert "the 15 components have 32,768 joint states; at most 16,384 fit" in problem.message
