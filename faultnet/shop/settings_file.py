"""From the text of `shop.toml` to a `Shop`."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from faultnet.case.entry import nearest
from faultnet.errors import Problem, ShopProblem
from faultnet.readings import METERS, Meter
from faultnet.settings import ShopSettings
from faultnet.shop.groups import PanelGroups, read_codes, twice
from faultnet.shop.keys import DATABASE_KEYS, METER_KEYS, PRICE, PRICE_LISTS, SETTINGS, TABLES, Setting, instead_of
from faultnet.shop.shop import USUAL_METER_CLASS, Shop
from faultnet.shop.toml_text import NotToml, find_places, line_and_column, place_of, read_toml

Keys = tuple[str | int, ...]
Slips = list[tuple[Keys, str]]


def read_shop(raw: bytes, file: Path) -> Shop:
    """The shop that these bytes describe. ShopProblem lists everything that is wrong, each with its place."""
    try:
        text, data = read_toml(raw)
    except NotToml as error:
        raise ShopProblem(str(file), [error.problem.printable()]) from None
    slips: Slips = []
    shop = _shop(data, file.parent, slips)
    if slips:
        places = find_places(text)
        raise ShopProblem(
            str(file),
            [
                Problem(_dotted(keys), message, *line_and_column(text, place_of(keys, places))).printable()
                for keys, message in slips
            ],
        )
    return shop


def _shop(data: Mapping[str, Any], folder: Path, slips: Slips) -> Shop:
    for name in data:
        if name not in TABLES:
            slips.append(((name,), instead_of(name, TABLES)))
    fields: dict[str, Any] = {}
    for name, keys in SETTINGS.items():
        fields.update(_checked(_table(data, (name,), slips), (name,), keys, slips))
    fields.update({name: _price_list(name, data.get(name, {}), slips) for name in PRICE_LISTS})
    url: str = _checked(_table(data, ("database",), slips), ("database",), DATABASE_KEYS, slips).get("url", "")
    meter, meters = (_table(data, (name,), slips) for name in ("meter", "meters"))
    return Shop(
        settings=replace(ShopSettings(), **fields),
        meter=_meter(meter, ("meter",), slips),
        meter_class=meter.get("class", USUAL_METER_CLASS),
        own_meters=_own_meters(meters, slips),
        own_meter_classes={n: m.get("class", USUAL_METER_CLASS) for n, m in meters.items() if isinstance(m, dict)},
        panel_groups=_panel_groups(_table(data, ("panel_groups",), slips), slips),
        database=str(folder / url) if url and "://" not in url else url,
        told=frozenset(_told(data)),
    )


def _table(data: Mapping[str, Any], keys: Keys, slips: Slips) -> Mapping[str, Any]:
    """The table of this name, empty where there is none."""
    found = data.get(str(keys[-1]), {})
    if isinstance(found, dict):
        return found
    slips.append((keys, f"a table: write [{_dotted(keys)}] on a line of its own, and its keys on the lines below"))
    return {}


def _checked(
    table: Mapping[str, Any], keys: Keys, settings: Mapping[str, Setting], slips: Slips, others: tuple[str, ...] = ()
) -> dict[str, Any]:
    """The values of a table by field; slips are noted. others: further keys that may stand in it."""
    fields: dict[str, Any] = {}
    for name, value in table.items():
        if name in settings:
            try:
                fields[settings[name].field] = settings[name].check(value)
            except ValueError as error:
                slips.append(((*keys, name), str(error)))
        elif name not in others:
            slips.append(((*keys, name), instead_of(name, [*others, *settings])))
    return fields


def _price_list(name: str, told: Any, slips: Slips) -> tuple[float, ...]:
    """Prices that do not fall from one to the next, from a list of numbers or from keys."""
    usual: tuple[float, ...] = getattr(ShopSettings(), name)
    keys: Keys = (name,)
    names = PRICE_LISTS[name]
    before = len(slips)
    if isinstance(told, list):
        if len(told) != len(names):
            slips.append((keys, f"{len(told)} numbers; write {len(names)}, one for each of {', '.join(names)}"))
        paths: dict[str, Keys] = {key: (*keys, n) for n, key in enumerate(names)}
        table = dict(zip(names, told, strict=False))
    elif isinstance(told, dict):
        paths = {key: (*keys, key) for key in names}
        table = told
        _checked(table, keys, {}, slips, tuple(names))
    else:
        listed = ", ".join(f"{price:g}" for price in usual)
        slips.append((keys, f"write {len(names)} numbers, [{listed}], or a table of them"))
        return usual
    prices = dict(zip(names, usual, strict=True))
    for key in filter(table.__contains__, names):
        try:
            prices[key] = PRICE(table[key])
        except ValueError as error:
            slips.append((paths[key], str(error)))
    rising = tuple(prices.values())
    if len(slips) == before and list(rising) != sorted(rising):
        shown = ", ".join(f"{key} {price:g}" for key, price in prices.items())
        what = "a more dangerous step" if name == "hazard_prices" else "a larger set"
        slips.append((keys, f"{what} must not cost less: {shown}"))
    return rising


def _own_meters(tables: Mapping[str, Any], slips: Slips) -> dict[str, Meter]:
    own = {}
    for name in tables:
        keys: Keys = ("meters", name)
        if name in METERS:
            slips.append((keys, f"{name} is a class of meters; give this one a name of its own"))
        elif not _is_name(name):
            slips.append((keys, f"a meter's name {_NAMED}"))
        own[name] = _meter(_table(tables, keys, slips), keys, slips)
    return own


def _panel_groups(table: Mapping[str, Any], slips: Slips) -> PanelGroups:
    codes = {}
    for name, value in table.items():
        keys: Keys = ("panel_groups", name)
        if not _is_name(name):
            slips.append((keys, f"a group's name {_NAMED}"))
        try:
            codes[name] = read_codes(value)
        except ValueError as error:
            slips.append((keys, str(error)))
    for code, groups in twice(codes).items():
        slips.append(
            (("panel_groups", groups[1]), f"the code {code} stands in {' and in '.join(groups)}; write it once")
        )
    return PanelGroups(codes)


_NAMED = "is of small letters, digits and _, and starts with a letter"


def _is_name(name: str) -> bool:
    return name.isascii() and name.replace("_", "a").isalnum() and name[0].isalpha() and name == name.lower()


def _meter(table: Mapping[str, Any], keys: Keys, slips: Slips) -> Meter:
    """A meter of its class, `plain` where none is named, but for what its data sheet says otherwise."""
    base = table.get("class", USUAL_METER_CLASS)
    if not isinstance(base, str) or base not in METERS:
        listed = ", ".join(METERS)
        slips.append(((*keys, "class"), f"no class of meters; they are {listed}{nearest(str(base), METERS)}"))
        base = USUAL_METER_CLASS
    return replace(METERS[base], **_checked(table, keys, METER_KEYS, slips, ("class",)))


def _told(data: Mapping[str, Any], above: Keys = ()) -> list[str]:
    """The dotted name of every key with a value."""
    told: list[str] = []
    for name, value in data.items():
        told += _told(value, (*above, name)) if isinstance(value, dict) else [_dotted((*above, name))]
    return told


def _dotted(keys: Keys) -> str:
    """A path as people read it: hazard_prices[2]"""
    text = ""
    for key in keys:
        text += f"[{key}]" if isinstance(key, int) else f".{key}" if text else key
    return text
