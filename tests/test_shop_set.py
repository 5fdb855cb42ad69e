"""Settings changed from the command line: every key there is, with comments kept, all or none."""

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from test_cli import run

from faultnet.errors import FileProblem, PlacedProblem, UsageProblem
from faultnet.shop import load_shop
from faultnet.shop.edit import Change, change_settings, known_keys
from faultnet.shop.keys import METER_KEYS, PRICE_LISTS, SETTINGS

SOME = """\
# Lantern Street
[shop]
hourly_rate = 40  # since spring
trained = true

[hazard_prices]
cold = 1
"""

VALUES = {
    "shop.currency": "CHF", "shop.trained": "true", "shop.decimal_comma": "true", "meter.class": "good",
    "meter.display_counts": "6000", "database.url": "postgresql://bench@server/shop",
    "new_set_prices.up_to_39_inch": "200", "new_set_prices.up_to_52_inch": "500",
    "new_set_prices.up_to_69_inch": "800", "new_set_prices.larger": "1600",
    "hazard_prices.cold": "1.5", "hazard_prices.powered": "3", "hazard_prices.high_voltage": "5",
    "hazard_prices.panel_opened": "9",
}  # fmt: skip
"""A value for each key that is no plain number below 1."""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    found = tmp_path / "shop.toml"
    found.write_text(SOME, encoding="utf-8")
    return found


DOTTED = sorted({*known_keys().values()})


def test_every_key_can_be_set() -> None:
    tables = {**SETTINGS, **PRICE_LISTS, "meter": ["class", *METER_KEYS], "database": ["url"]}
    assert {f"{table}.{key}" for table, keys in tables.items() for key in keys} == {*DOTTED}


@pytest.mark.parametrize("key", DOTTED)
def test_a_key_is_set_and_taken_back(tmp_path: Path, key: str) -> None:
    """What the file says then is what was typed; taken back, everything is as before."""
    file = tmp_path / "new" / "shop.toml"
    text = VALUES.get(key, "0.5")
    change_settings(file, [Change(key, text)])
    data = tomllib.loads(file.read_text(encoding="utf-8"))
    table, _, name = key.partition(".")
    assert str(data[table][name]).lower() == text.lower()
    assert key in load_shop(str(file)).told
    change_settings(file, [Change(key, None)])
    assert load_shop(str(file)).told == frozenset()


def test_comments_order_and_all_else_stay(file: Path) -> None:
    change_settings(file, [Change("hourly_rate", "52"), Change("gates.panel", "0.92"), Change("powered", "3")])
    assert (
        file.read_text(encoding="utf-8")
        == SOME.replace("40  #", "52  #").replace("cold = 1\n", "cold = 1\npowered = 3\n") + "\n[gates]\npanel = 0.92\n"
    )


def test_a_list_of_prices_is_changed_in_its_place(file: Path) -> None:
    file.write_text("hazard_prices = [0, 1, 2, 4, 8]  # all of them\n", encoding="utf-8")
    told = change_settings(file, [Change("panel_opened", "40")])
    assert told == {"hazard_prices.panel_opened": (8, 40)}
    assert file.read_text(encoding="utf-8") == "hazard_prices = [0, 1, 2, 4, 40]  # all of them\n"


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ([("hourly_rat", "52")], "did you mean hourly_rate"),
        ([("gates.panel", "92")], "for 92 % write 0.92"),
        ([("trained", "maybe")], "neither true nor false"),
        ([("currency", "money")], "no currency code"),
        ([("cold", "9")], "a more dangerous step must not cost less"),
        ([("meters.peak.percent", "1")], "is a class of meters"),
        ([("meters.old_one.persent", "1")], "no setting has this name"),
        ([("class", "fast")], "no class of meters"),
    ],
)
def test_a_slip_is_told_and_nothing_is_changed(file: Path, changes: list[tuple[str, str]], said: str) -> None:
    wanted = [Change("hourly_rate", "77"), *(Change(*each) for each in changes)]
    with pytest.raises(UsageProblem, match=said):
        change_settings(file, wanted)
    assert file.read_text(encoding="utf-8") == SOME


def test_all_slips_are_told_at_once(file: Path) -> None:
    with pytest.raises(UsageProblem) as raised:
        change_settings(file, [Change("gates.panel", "92"), Change("trained", "maybe")])
    assert len(raised.value.problems) == 2
    with pytest.raises(UsageProblem) as raised:
        change_settings(file, [Change("gats.panel", "1"), Change("trainde", "true")])
    assert len(raised.value.problems) == 2


def test_damage_that_is_there_already_is_told_with_its_place(file: Path) -> None:
    file.write_text("[gates]\npanel = 90\n", encoding="utf-8")
    with pytest.raises(PlacedProblem, match=r"shop\.toml:2:1: gates\.panel"):
        change_settings(file, [Change("hourly_rate", "52")])


def test_a_link_stays_a_link_and_rights_stay_as_they_are(file: Path, tmp_path: Path) -> None:
    file.chmod(0o640)
    link = tmp_path / "link.toml"
    link.symlink_to(file)
    change_settings(link, [Change("hourly_rate", "52")])
    assert link.is_symlink()
    assert "52" in file.read_text(encoding="utf-8")
    assert file.stat().st_mode & 0o777 == 0o640


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "a file").touch()
    with pytest.raises(FileProblem, match="cannot be written"):
        change_settings(tmp_path / "a file" / "shop.toml", [Change("hourly_rate", "52")])


def test_several_at_once_lose_no_change(tmp_path: Path) -> None:
    file = tmp_path / "shop.toml"
    code = "import sys; from pathlib import Path; from faultnet.shop.edit import Change, change_settings\n"
    code += "for n in range(20): change_settings(Path(sys.argv[1]), [Change(sys.argv[2], str(0.6 + n / 100))])"
    keys = ["gates.panel", "gates.repair", "gates.uneconomic", "shop.harm_claim"]
    running = [subprocess.Popen([sys.executable, "-c", code, str(file), key]) for key in keys]
    assert [process.wait(60) for process in running] == [0, 0, 0, 0]
    assert load_shop(str(file)).told == frozenset(keys)
    settings = load_shop(str(file)).settings
    found = (settings.gate_panel, settings.gate_repair, settings.gate_uneconomic, settings.harm_claim)
    assert found == (0.79, 0.79, 0.79, 0.79)


def test_set_at_the_terminal(tmp_path: Path) -> None:
    file = tmp_path / "shop.toml"
    done = run("shop", "set", "hourly_rate", "52", "currency", "eur", "--shop", str(file))
    assert done.stdout.splitlines()[:2] == ["shop.hourly_rate: 40 -> 52", 'shop.currency: not stated -> "EUR"']
    back = run("shop", "set", "--unset", "hourly_rate", "--shop", str(file)).stdout
    assert "shop.hourly_rate: 52 -> 40 (default)" in back
    assert "KEY VALUE" in run("shop", "set", "hourly_rate", "--shop", str(file), expect=2).stderr
    home = {"FAULTNET_SHOP": os.devnull, "HOME": str(tmp_path), "XDG_CONFIG_HOME": str(tmp_path / "config")}
    run("shop", "set", "hourly_rate", "61", **home)
    (usual,) = tmp_path.rglob("faultnet/shop.toml")
    assert "hourly_rate = 61" in usual.read_text(encoding="utf-8")
