"""The shop's settings, told: every one with its value, where that comes from and what it means."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from faultnet.readings import METERS
from faultnet.shop import Shop
from faultnet.shop.find import usual_settings_file
from faultnet.shop.keys import METER_KEYS, PRICE_LISTS, SETTINGS
from faultnet.store.database import parse_url, shown_url
from faultnet.workshop.place import usual_database

SCHEMA_VERSION = 1

IN_FILE, DEFAULT = "file", "default"
"""Where a value comes from."""

DATABASE = "database.url"


@dataclass(frozen=True)
class Told:
    """A setting: its key with the table, its value, where that comes from, and what it means."""

    key: str
    value: Any
    origin: str
    means: str


def settings_told(shop: Shop) -> Iterator[Told]:
    """Every setting, in the order of the file."""
    for name, keys in SETTINGS.items():
        for key, setting in keys.items():
            dotted = f"{name}.{key}"
            yield Told(dotted, getattr(shop.settings, setting.field), _origin(shop, dotted), setting.means)
    for table, names in PRICE_LISTS.items():
        for (name, means), price in zip(names.items(), getattr(shop.settings, table), strict=True):
            dotted = f"{table}.{name}"
            yield Told(dotted, price, _origin(shop, dotted, table), f"price of {means}")
    known = ", ".join(METERS)
    yield Told("meter.class", shop.meter_class, _origin(shop, "meter.class"), f"what the meter is like: {known}")
    for key, setting in METER_KEYS.items():
        dotted = f"meter.{key}"
        yield Told(dotted, getattr(shop.meter, setting.field), _origin(shop, dotted, "meter.class"), setting.means)
    yield Told(DATABASE, database_words(shop), _origin(shop, DATABASE), "the database")


def database_words(shop: Shop) -> str:
    """Where the database is, without a password."""
    return shown_url(parse_url(usual_database(shop)))


def setting_told(shop: Shop, key: str) -> Told:
    """One setting, by its key; of a meter or panel group of the shop's own, too."""
    if key.startswith("meters."):
        return _of_own_meter(shop, key)
    if key.startswith("panel_groups."):
        return Told(key, ", ".join(shop.panel_groups.codes.get(key.removeprefix("panel_groups."), ())), IN_FILE, "")
    return next(each for each in settings_told(shop) if each.key == key)


def changed_words(before: Shop, after: Shop, key: str) -> str:
    """What a setting was and is: "shop.hourly_rate: 40 (default) -> 52"."""
    return f"{key}: {_with_origin(setting_told(before, key))} -> {_with_origin(setting_told(after, key))}"


def written(value: Any) -> str:
    """A value as it stands in the file, or that there is none."""
    if value is None or value == "":
        return "not stated"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else f"{value:g}" if isinstance(value, float) else str(value)


def settings_json(shop: Shop) -> dict[str, Any]:
    """All of it as plain values, for JSON."""
    return {
        "schema_version": SCHEMA_VERSION,
        "files": {
            "settings": None if shop.file is None else str(shop.file),
            "usual_settings": None if (usual := usual_settings_file()) is None else str(usual),
            "database": database_words(shop),
        },
        "settings": [
            {"key": told.key, "value": told.value, "from": told.origin, "means": told.means}
            for told in settings_told(shop)
        ],
        "panel_groups": {group: list(codes) for group, codes in shop.panel_groups.codes.items()},
        "meters": {name: asdict(meter) for name, meter in shop.own_meters.items()},
        "meter_classes": {name: asdict(meter) for name, meter in METERS.items()},
    }


def _with_origin(told: Told) -> str:
    is_default = told.origin == DEFAULT and told.value not in (None, "")
    return f"{written(told.value)}{' (default)' if is_default else ''}"


def _origin(shop: Shop, *keys: str) -> str:
    """Whether a value comes from the file, by any of these keys."""
    return DEFAULT if shop.told.isdisjoint(keys) else IN_FILE


def _of_own_meter(shop: Shop, key: str) -> Told:
    """What a key says of a meter of the shop's own; None where there is no such meter."""
    _, name, field = key.split(".")
    meter_class = shop.own_meter_classes.get(name)
    value = meter_class if field == "class" else getattr(shop.own_meters.get(name), field, None)
    return Told(key, value, _origin(shop, key, f"meters.{name}.class"), "")
