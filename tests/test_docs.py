"""README and the contributors' guide say what is true."""

import ast
import doctest
import importlib
import pkgutil
import re
import shlex
from pathlib import Path
from xml.etree import ElementTree

import pytest
from draw_readme import NEXT, PICTURES, at_a_terminal, network_of_readme, plain
from fill_readme import BLOCK, refilled
from test_cli import run

import faultnet
from faultnet.case.doubts import doubts
from faultnet.case.words import describe_event
from faultnet.errors import UsageProblem
from faultnet.readings.learned import learned_spread
from faultnet.shop.keys import SETTINGS
from faultnet.shop.settings_file import read_shop

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
LISTED_ENTRIES = README.partition("## Entries, taken and refused")[2].partition("\n## ")[0]


def module_names() -> list[str]:
    """All but those that are run, never imported."""
    found = [m.name for m in pkgutil.walk_packages(faultnet.__path__, "faultnet.")]
    return [name for name in found if not name.endswith((".__main__", ".migrations.env"))]


def test_the_public_names_are_sorted_and_all_there() -> None:
    assert sorted(faultnet.__all__) == faultnet.__all__
    assert set(faultnet._HOMES) == set(faultnet.__all__)
    for name in faultnet.__all__:
        assert name == getattr(faultnet, name).__name__
    with pytest.raises(AttributeError):
        _ = faultnet.no_such_name


@pytest.mark.parametrize("name", module_names())
def test_docstring_examples_run(name: str) -> None:
    failed, _ = doctest.testmod(importlib.import_module(name))
    assert failed == 0


def test_the_package_s_own_example_runs() -> None:
    failed, tried = doctest.testmod(faultnet)
    assert (failed, tried > 0) == (0, True)


def test_readme_s_python_runs(capsys: pytest.CaptureFixture[str]) -> None:
    blocks = re.findall(r"```python\n(.*?)```", README, flags=re.DOTALL)
    assert blocks
    for block in blocks:
        exec(compile(ast.parse(block), "README.md", "exec"), {})
    assert "strips" in capsys.readouterr().out


def test_readme_has_exactly_two_set_up_commands_and_ci_runs_them() -> None:
    commands = re.findall(r"^    (python3 -m venv .*)$", README, flags=re.MULTILINE)
    assert len(commands) == 2
    assert commands[0].endswith("faultnet demo")
    assert "pytest" in commands[1]
    assert "readme_command" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_readme_s_terminal_answers_are_what_the_commands_print() -> None:
    assert len(BLOCK.findall(README)) >= 3
    assert refilled(README) == README


def test_every_entry_shown_in_readme_is_understood() -> None:
    model = faultnet.load_model("backlight")
    above = README.partition("## Entries, taken and refused")[0]
    entries = re.findall(r"^\| `([^` ]+=[^` ]+)` \|", above, flags=re.MULTILINE)
    assert len(entries) >= 9
    assert len(entries) == len(faultnet.parse_events(model, entries))


ENTRIES = re.findall(
    r"^\| `([^`]+)` \| (.+) \|$", README.partition("## Entries, taken and refused")[2].partition("## ")[0], re.M
)


def test_readme_lists_many_entries() -> None:
    refused = [told for _, told in ENTRIES if told.startswith("refused: ")]
    assert len(refused) >= 10
    assert len(ENTRIES) - len(refused) >= 10


@pytest.mark.parametrize(("typed", "told"), ENTRIES)
def test_an_entry_in_readme_is_taken_or_refused_as_it_says(typed: str, told: str) -> None:
    model = faultnet.load_model("backlight")
    if told.startswith("refused: "):
        with pytest.raises(UsageProblem) as raised:
            faultnet.parse_events(model, [typed])
        assert told.removeprefix("refused: ") in str(raised.value)
        return
    (event,) = faultnet.parse_events(model, [typed])
    notes = "; ".join(doubts(event, model))
    assert told == describe_event(model, event) + (f" ({notes})" if notes else "")


def test_readme_s_shop_file_is_one_and_each_of_its_keys_is_used() -> None:
    (block,) = re.findall(r"```toml\n(.*?)```", README, flags=re.DOTALL)
    shop = read_shop(block.encode(), Path("shop.toml"))
    assert (shop.settings.hourly_rate, shop.settings.currency, shop.settings.trained) == (52, "EUR", True)
    assert shop.settings.hazard_prices == (0, 1, 2, 6, 40)
    assert (shop.meter.counts, shop.own_meters["old_one"].percent, shop.database) == (3, 1.2, "shop.db")
    shown = {f"{table}.{key}" for table, keys in SETTINGS.items() for key in keys}
    assert shown <= shop.told, "README shows every setting there is"


def test_readme_s_commands_about_voltages_run_and_say_what_stands_there(tmp_path: Path) -> None:
    section = README.split("## The shop's settings and voltages")[1].split("\n## ")[0]
    commands = re.findall(r"^    (faultnet .*)$", section, flags=re.MULTILINE)
    assert len(commands) == 5
    for command in commands:
        done = run(*shlex.split(command)[1:], FAULTNET_DATA=str(tmp_path))
        assert done.stderr == ""
    assert "54.02 V +-3.1 % (list, 2 readings)" in done.stdout
    assert "unplugged 64.03 V" in done.stdout, "the limit is the board's"
    agreeing = learned_spread([54.0] * 10 + [54.5] * 10, 24, 200)
    assert f"twenty that agree\n+-{100 * agreeing.relative_sd:.2g} %" in section


def test_readme_s_pictures_show_what_is_said_and_drawn_now() -> None:
    """But for the plot of shares, which takes half a minute: `draw_readme.py` is run by hand."""
    shown = ElementTree.parse(PICTURES / "answer.svg").getroot()
    words = [" ".join(each.text.split()) for each in shown.iter("{http://www.w3.org/2000/svg}text") if each.text]
    said = " ".join(plain(at_a_terminal(NEXT)).split())
    assert " ".join(words).endswith(said)
    assert (PICTURES / "network.svg").read_text(encoding="utf-8") == network_of_readme()
    for picture in re.findall(r"!\[[^]]+\]\(([^)]+)\)", README):
        assert (ROOT / picture).is_file()


def test_readme_s_tables_were_made() -> None:
    for mark in ("compared", "checks"):
        (table,) = re.findall(rf"<!-- {mark} -->\n(.*?)<!-- /{mark} -->", README, flags=re.DOTALL)
        assert table.count("\n| ") >= 5
        assert "python tests/" in table


def test_every_module_stands_in_the_guide() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    top = {name.split(".")[1] for name in module_names()}
    assert set() == {name for name in top if f"`{name}" not in guide}


def test_no_module_is_past_400_lines() -> None:
    long = [p for p in (ROOT / "faultnet").rglob("*.py") if len(p.read_text(encoding="utf-8").splitlines()) > 400]
    assert long == []
