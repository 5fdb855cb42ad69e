"""A shop's settings: every key, every slip with its place, which file is used, and that an answer goes by them."""

import json
import os
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_cli import run

from faultnet.errors import FileProblem, ShopProblem, UsageProblem
from faultnet.readings import METERS, Meter
from faultnet.settings import ShopSettings
from faultnet.shop import Shop, load_shop
from faultnet.shop.keys import METER_KEYS, PRICE_LISTS, SETTINGS
from faultnet.shop.settings_file import read_shop
from faultnet.shop.toml_text import MOST_BYTES, find_places, line_and_column, place_of

HERE = Path("bench") / "shop.toml"

EVERYTHING = """
[shop]
hourly_rate = 55
currency = "CHF"
trained = true
decimal_comma = true
harm_claim = 0.4

[hazard_prices]
none = 0.5
cold = 1.5
powered = 3
high_voltage = 6
panel_opened = 40

[new_set_prices]
up_to_39_inch = 200
larger = 1500

[gates]
panel = 0.95
repair = 0.8
uneconomic = 0.4

[meter]
class = "good"
percent = 0.25

[meters.scope]
class = "peak"
counts = 4

[meters.old_one]
percent = 1.5
counts = 6
display_counts = 1999
updates_per_second = 2
range_digit_volts = 0.1

[database]
url = "lists/shop.db"
"""


def read(text: str) -> Shop:
    return read_shop(text.encode(), HERE)


def slips(text: str) -> list[str]:
    with pytest.raises(ShopProblem) as caught:
        read(text)
    return str(caught.value).splitlines()


def test_every_setting_reaches_the_shop() -> None:
    shop = read(EVERYTHING)
    assert shop.settings == ShopSettings(
        hourly_rate=55,
        hazard_prices=(0.5, 1.5, 3, 6, 40),
        gate_panel=0.95,
        gate_repair=0.8,
        trained=True,
        currency="CHF",
        gate_uneconomic=0.4,
        new_set_prices=(200, 450, 750, 1500),
        harm_claim=0.4,
        decimal_comma=True,
    )
    assert shop.meter == replace(METERS["good"], percent=0.25)
    assert shop.own_meters == {
        "scope": replace(METERS["peak"], counts=4),
        "old_one": Meter(1.5, 6, 1999, 2, 0.1),
    }
    assert shop.meters == {**METERS, **shop.own_meters}
    assert shop.database == str(HERE.parent / "lists" / "shop.db")


def test_every_field_of_the_settings_has_a_key() -> None:
    named = {setting.field for keys in SETTINGS.values() for setting in keys.values()} | set(PRICE_LISTS)
    assert named == set(ShopSettings.__dataclass_fields__)
    assert {setting.field for setting in METER_KEYS.values()} == set(Meter.__dataclass_fields__)


@pytest.mark.parametrize("text", ["", "# nothing\n", "[shop]\n[gates]\n[meter]\n", "\ufeff[shop]\r\n"])
def test_what_is_not_said_is_a_default(text: str) -> None:
    assert read(text) == Shop()


def test_hazard_prices_are_five_numbers_or_some_keys() -> None:
    assert read("hazard_prices = [0, 2, 4, 8, 50]").settings.hazard_prices == (0, 2, 4, 8, 50)
    assert read("[hazard_prices]\npanel_opened = 60").settings.hazard_prices == (0, 1, 2, 4, 60)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[shop]\nhourly_rat = 3", "bench/shop.toml:2:1: shop.hourly_rat: unknown; did you mean hourly_rate?"),
        ("[shop]\nhourly_rate = '55,5'", 'bench/shop.toml:2:1: shop.hourly_rate: "55,5" is no number; write 55.5'),
        ("shop.hourly_rate = 0", "bench/shop.toml:1:1: shop.hourly_rate: 0 is not from 0.01"),
        ("[shop]\nhourly_rate = true", "true is no number"),
        ("[shop]\nhourly_rate = [40]", "a list is no number"),
        ("[shop]\nhourly_rate = 2020-01-01", "2020-01-01 is no number"),
        ("[shop]\nhourly_rate = inf", "inf is not from 0.01"),
        (f"[shop]\nhourly_rate = 1{'0' * 400}", "is not from 0.01"),
        ("[shop]\ncurrency = 'eur'", 'write "EUR"'),
        ("[shop]\ncurrency = '€'", 'such as "EUR"'),
        ("[shop]\ncurrency = 978", "ISO 4217"),
        ("[shop]\ntrained = 1", "1 is neither true nor false"),
        ("[shop]\n\n  trained = 'yes'", "bench/shop.toml:3:3: shop.trained: "),
        ("[gates]\npanel = 90", "for 90 % write 0.9"),
        ("[gates]\nrepair = 0.2", "0.2 is not from 0.5 to 1"),
        ("[gates]\nuneconomic = nan", "nan is not from 0.01"),
        ("[shop]\npanel = 0.9", "bench/shop.toml:2:1: shop.panel: unknown here; it stands below [gates]"),
        ("trained = true", "it stands below [shop]"),
        ("percent = 1", "it stands below [meter]"),
        ("[meterz]", "bench/shop.toml:1:2: meterz: unknown; did you mean meter or meters?"),
        ("shop = 3", "write [shop] on a line of its own"),
        ("[[shop]]\ntrained = true", "write [shop] on a line of its own"),
        ("hazard_prices = [0, 1, 2, 4]", "4 numbers; write 5, one for each of none, cold, powered"),
        ("hazard_prices = [0, 1, 2, -4, 25]", "bench/shop.toml:1:27: hazard_prices[3]: -4 is not from 0"),
        ("new_set_prices = [300, 200, 650, 1300]", "a larger set must not cost less: up_to_39_inch 300, up_to_52"),
        ("hazard_prices = 25", "write 5 numbers, [0, 1, 2, 4, 8]"),
        ("[hazard_prices]\ncold = 'x'", "bench/shop.toml:2:1: hazard_prices.cold: "),
        ("[hazard_prices]\ncould = 1", "did you mean cold"),
        ("[hazard_prices]\ncold = 30", "a more dangerous step must not cost less"),
        ("[meter]\nclass = 'quik'", "bench/shop.toml:2:1: meter.class: no class of meters; they are slow"),
        ("[meter]\nclass = 'quik'", "did you mean quick"),
        ("[meter]\nclass = [1]", "no class of meters"),
        ("[meter]\nupdates = 3", "did you mean updates_per_second?"),
        ("[meter]\ndisplay_counts = 6000.0", "6000.0 is no whole number"),
        ("[meters.quick]", "quick is a class of meters"),
        ("[meters.Fast]", "small letters"),
        ("[meters.'']", "small letters"),
        ("[meters.bench]\nclass = 'god'", "bench/shop.toml:2:1: meters.bench.class: "),
        ("[meters]\nbench = 3", "write [meters.bench] on a line of its own"),
        ("[database]\nurl = ''", "no file or URL"),
        ('[database]\nurl = "a\\u0000b"', "no file or URL"),
        ("[database]\nurl = '~nobody_like_this/x.db'", "write it out"),
        ("[database]\nurll = 'x'", "did you mean url?"),
        ("[shop\nx = 1", "bench/shop.toml:1:6: not TOML: "),
        ("[shop]\nhourly_rate = 40,5", "bench/shop.toml:2:17: not TOML: "),
        ("[shop]\ntrained = yes", "bench/shop.toml:2:11: not TOML: "),
        ("[shop]\ntrained = true\ntrained = true", "bench/shop.toml:3:"),
        ("[shop]\nnote = 'x", "not TOML"),
        ("x = " + "[" * 5_000, "not TOML"),
        ("x = " + "1" * 5_000, "not TOML"),
    ],
)
def test_a_slip_in_the_settings_is_told_with_its_place(text: str, said: str) -> None:
    told = slips(text)
    assert [said in line.replace(os.sep, "/") for line in told] == [True]


def test_all_slips_are_told_at_once_in_the_order_of_the_file() -> None:
    told = slips("[gates]\npanel = 90\n[meter]\nclass = 'x'\ncounts = -1\n[shop]\ntrained = 2\n[database]\nurl = 1\n")
    assert [re.findall(r":(\d+):1: ", line) for line in told] == [["2"], ["4"], ["5"], ["7"], ["9"]]


def test_bytes_that_are_no_text_are_told_with_their_place() -> None:
    with pytest.raises(ShopProblem, match=r":2:13: not text in UTF-8 \(byte 0xFC\)"):
        read_shop(b"[shop]\ncurrency = '\xfc'", HERE)
    with pytest.raises(ShopProblem, match="at most 1 MB"):
        read_shop(b"#" * (MOST_BYTES + 1), HERE)


def test_what_a_terminal_would_obey_is_told_as_an_escape() -> None:
    (told,) = slips('[shop]\n"\\u001b[2J" = 1')
    assert told.isprintable()


# -- places -----------------------------------------------------------------------------------------------------------

AWKWARD = [
    "a.b.'c d' = 1 # x = 2\n",
    "[ t . \"q.r\" ] # [no]\nk = '''\n[no]\nx = 1'''\nl = 2\n",
    'a = """x\\"""\n[b]""""" \n[c]\nd = 1\n',
    "a = [1, [2, ']'], # ]\n {q = 'a}b', r.s = [3]},\n]\nb = 4",
    "a = {b = {c = 1}, d = []}\n[e.f]\ng = 1979-05-27T07:32:00Z\n[e]\nh = -inf",
    "",
]


def paths(data: Any, above: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    if isinstance(data, dict):
        return [p for k, v in data.items() for p in [(*above, k), *paths(v, (*above, k))]]
    if isinstance(data, list):
        return [p for k, v in enumerate(data) for p in [(*above, k), *paths(v, (*above, k))]]
    return []


def starts_there(text: str, path: tuple[str | int, ...], at: int) -> bool:
    """Whether a key with this name, or an item, starts there; a dotted key starts where its first part does."""
    if isinstance(path[-1], int):
        return text[at] not in " ,\n#="
    key = re.match(r"""[\w-]+|"[^"]*"|'[^']*'""", text[at:])
    return key is not None and key[0].strip("'\"") in path


@pytest.mark.parametrize("text", [*AWKWARD, EVERYTHING])
def test_every_key_and_item_has_its_place(text: str) -> None:
    places = find_places(text)
    for path in paths(tomllib.loads(text)):
        assert path in places
        assert starts_there(text, path, places[path])


values = st.recursive(
    st.integers(-9, 9) | st.booleans() | st.text("ab]}[{=,#'\n\\ ", max_size=6),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("a.]= '", max_size=3), inner, max_size=3),
    max_leaves=8,
)


def written(value: Any) -> str:
    """A value as TOML; text and keys as JSON writes them, which TOML reads the same."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {written(v)}" for k, v in value.items()) + "}"
    return "[\n" + ",".join(map(written, value)) + " # ]\n]" if isinstance(value, list) else json.dumps(value)


@given(st.dictionaries(st.text("xy.[", min_size=1, max_size=3), values, max_size=4))
def test_places_are_found_in_any_values(data: dict[str, Any]) -> None:
    text = "".join(f"{json.dumps(key)}={written(value)} # end\n" for key, value in data.items())
    if tomllib.loads(text) != data:  # pragma: no cover
        raise AssertionError("the test writes TOML wrongly")
    places = find_places(text)
    assert set(paths(data)) == set(places)
    for key in data:
        assert text.startswith(f"{json.dumps(key)}=", places[key,])
    lines = [line_and_column(text, place_of((key, 0, "no such"), places))[0] for key in data]
    assert lines == sorted(lines)


# -- which file -------------------------------------------------------------------------------------------------------


def test_the_file_is_the_one_named_else_the_environment_s_else_the_usual_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number, name in enumerate(("named", "environment", "usual")):
        (tmp_path / name).write_text(f"[shop]\nhourly_rate = {number + 50}\n", encoding="utf-8")
    monkeypatch.setattr("faultnet.shop.find.usual_settings_file", lambda: tmp_path / "usual")
    monkeypatch.setenv("FAULTNET_SHOP", str(tmp_path / "environment"))
    assert load_shop(str(tmp_path / "named")).settings.hourly_rate == 50
    assert load_shop().settings.hourly_rate == 51
    monkeypatch.delenv("FAULTNET_SHOP")
    assert load_shop().settings.hourly_rate == 52
    (tmp_path / "usual").unlink()
    assert load_shop() == Shop()


def test_a_named_file_must_be_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in (str(tmp_path / "none.toml"), "x" * 5_000, "a\0b"):
        with pytest.raises(UsageProblem, match=r"--shop .*no such file"):
            load_shop(name)
    monkeypatch.setenv("FAULTNET_SHOP", str(tmp_path / "none.toml"))
    with pytest.raises(UsageProblem, match=r"FAULTNET_SHOP=.*no such file"):
        load_shop()
    with pytest.raises(FileProblem, match="cannot be read"):
        load_shop(str(tmp_path))


# -- answers that go by it --------------------------------------------------------------------------------------------


@pytest.fixture
def shop_file(tmp_path: Path) -> str:
    file = tmp_path / "shop.toml"
    file.write_text(EVERYTHING, encoding="utf-8")
    return str(file)


def test_next_goes_by_the_settings(shop_file: str) -> None:
    told = json.loads(run("next", "backlight", "--shop", shop_file, "--json").stdout)
    assert (told["trained"], told["settings"]["hourly_rate"], told["settings"]["gate_panel"]) == (True, 55, 0.95)
    assert told["meter"] == {**METERS["good"].__dict__, "percent": 0.25}
    assert (told["units"]["cost"], told["units"]["hourly_rate"]) == ("CHF", "CHF per hour")
    flash = next(t for t in told["tests"] if t["test"] == "startup_flash")
    assert flash["cost"] == pytest.approx((flash["minutes"] + flash["setup_minutes"]) / 60 * 55 + 0.5)
    plain = json.loads(run("next", "backlight", "--json").stdout)
    assert (plain["trained"], plain["settings"]["hourly_rate"]) == (False, 40)
    assert plain["units"]["cost"] == "money of the shop"


def test_what_is_typed_about_training_goes_before_the_settings(shop_file: str) -> None:
    told = json.loads(run("next", "backlight", "--untrained", "--json", FAULTNET_SHOP=shop_file).stdout)
    assert (told["trained"], told["settings"]["trained"], told["settings"]["hourly_rate"]) == (False, False, 55)
    assert all(h["hazard"] > 1 for h in told["held_back"] if h["kind"] == "test")
    assert json.loads(run("next", "backlight", "--trained", "--json").stdout)["trained"] is True


def test_a_meter_of_the_shop_s_own_can_be_named_and_weighs_as_it_is(shop_file: str) -> None:
    """A slow meter misses a start pulse more often, so that nothing seen speaks less for a dead driver."""
    event = "loaded_voltage_peak=0"
    dead = {}
    for meter in ("old_one", "scope"):
        done = run("next", "backlight", f"{event}@meter:{meter}", "--shop", shop_file, "--json")
        faults = json.loads(done.stdout)["faults"]
        dead[meter] = next(f["probability"] for f in faults if (f["component"], f["mode"]) == ("driver", "dead"))
    assert dead["scope"] > dead["old_one"] + 0.01
    done = run("next", "backlight", f"{event}@meter:old_on", "--shop", shop_file, expect=2)
    assert "did you mean old_one" in done.stderr
    assert "unknown meter scope" in run("next", "backlight", f"{event}@meter:scope", expect=2).stderr


def test_bad_settings_are_exit_3_and_a_missing_file_is_exit_2(tmp_path: Path) -> None:
    file = tmp_path / "shop.toml"
    file.write_text("[gates]\npanel = 90\nrepare = 1\n", encoding="utf-8")
    for command in (["next", "backlight"], ["shop", "info"], ["voltages", "list"]):
        done = run(*command, "--shop", str(file), expect=3)
        assert (done.stdout, len(done.stderr.splitlines())) == ("", 2)
        assert f"{file}:2:1: gates.panel" in done.stderr
    assert "no such file" in run("next", "backlight", "--shop", str(tmp_path / "x.toml"), expect=2).stderr


def test_shop_info_tells_every_setting_and_where_it_comes_from(shop_file: str) -> None:
    told = json.loads(run("shop", "info", "--json", "--shop", shop_file).stdout)
    settings = {row["key"]: (row["value"], row["from"]) for row in told["settings"]}
    assert len(settings) == len(told["settings"])
    assert settings["shop.hourly_rate"] == (55, "file")
    assert settings["hazard_prices.panel_opened"] == (40, "file")
    assert settings["meter.percent"] == (0.25, "file")
    assert settings["meter.counts"] == (2, "file"), "by the class that the file names"
    assert settings["database.url"][0].endswith("shop.db")
    assert told["files"]["settings"] == shop_file
    assert set(told["meter_classes"]) == set(METERS)
    assert told["meters"]["old_one"]["updates_per_second"] == 2
    plain = json.loads(run("shop", "info", "--json").stdout)
    assert {row["from"] for row in plain["settings"]} == {"default"}


def test_shop_info_keeps_to_80_columns(shop_file: str) -> None:
    for arguments in ([], ["--shop", shop_file]):
        text = run("shop", "info", *arguments).stdout
        too_long = [line for line in text.splitlines() if len(line) > 80 and "/" not in line]
        assert too_long == []
        for word in (*METERS, "gates.uneconomic", "default" if not arguments else "file"):
            assert word in text
