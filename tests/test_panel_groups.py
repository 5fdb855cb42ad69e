"""Panel groups in the shop's settings: read, set, refused, and what they group."""

import json
from pathlib import Path

import pytest
from test_cli import run

from faultnet.cli.shop import set_
from faultnet.errors import ShopProblem, UsageProblem
from faultnet.shop import load_shop
from faultnet.shop.edit import Change, change_settings
from faultnet.shop.groups import PanelGroups

GROUPS = PanelGroups({"marten": ("MRT-32A", "MRT-4*"), "heron": ("MRT-43*", "HRN-5")})


@pytest.mark.parametrize(
    ("code", "group"),
    [
        ("mrt 32a", "marten"),
        ("MRT-41B", "marten"),
        ("MRT-43C", "heron"),
        ("HRN-5", "heron"),
        ("hrn-55", "HRN55"),
        ("", ""),
    ],
)
def test_a_code_finds_its_group_however_it_is_written(code: str, group: str) -> None:
    """The longest beginning counts; what has no * is the whole code."""
    assert GROUPS.group_of(code) == group


def test_groups_are_set_and_read(tmp_path: Path) -> None:
    file = tmp_path / "shop.toml"
    file.write_text('[panel_groups]\nmarten = ["MRT-32A", "MRT-4*"]\n', encoding="utf-8")
    change_settings(file, [Change("panel_groups.heron", "MRT-43*, HRN-5")])
    assert load_shop(str(file)).panel_groups == GROUPS
    change_settings(file, [Change("panel_groups.heron", None)])
    assert [*load_shop(str(file)).panel_groups.codes] == ["marten"]
    assert "MRT-4*" in run("shop", "info", "--shop", str(file)).stdout
    with pytest.raises(UsageProblem, match="no panel code"):
        change_settings(file, [Change("panel_groups.heron", "A*B")])


def test_slips_are_told_with_their_places(tmp_path: Path) -> None:
    file = tmp_path / "shop.toml"
    file.write_text(
        '[panel_groups]\nMarten = ["X-1"]\nheron = ["x1", "--"]\nfinch = ["X 1"]\nowl = 5\n', encoding="utf-8"
    )
    with pytest.raises(ShopProblem) as raised:
        load_shop(str(file))
    told = str(raised.value)
    for words in ("2:1: panel_groups.Marten", "3:1: panel_groups.heron", "'--'", "Marten and in finch", "5:1"):
        assert words in told, words


def test_the_summary_counts_by_group(tmp_path: Path) -> None:
    shop, db = tmp_path / "shop.toml", str(tmp_path / "shop.db")
    shop.write_text('[panel_groups]\nmarten = "MRT-3*"\n', encoding="utf-8")
    for panel in ("MRT-32A", "mrt-39", "OTR-1"):
        run("job", "open", "--model", "backlight", "--panel", panel, "--db", db, "--shop", str(shop))
    told = run("history", "summary", "--db", db, "--shop", str(shop))
    assert "By panel group" in told.stdout
    counts = json.loads(run("history", "summary", "--json", "--db", db, "--shop", str(shop)).stdout)["by_panel_group"]
    assert counts == {"marten": 2, "OTR1": 1}


def test_a_group_can_be_set_and_unset_at_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(tmp_path / "shop.toml")
    set_(["panel_groups.otter", "OTR-50*, OTR-9"], [], file)
    set_([], ["panel_groups.otter"], file)
    said = capsys.readouterr().out.splitlines()
    assert 'panel_groups.otter: not stated -> "OTR-50*, OTR-9"' in said
    assert 'panel_groups.otter: "OTR-50*, OTR-9" -> not stated' in said
