"""`faultnet shop info` and `set`: every setting with its value and where it comes from, and changing it."""

import json
import os
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from faultnet.cli.terminal import bold, table, wrapped, wrapped_table
from faultnet.errors import StoreProblem, UsageProblem
from faultnet.readings import METERS, Meter
from faultnet.shop import Shop, load_shop
from faultnet.shop.find import SETTINGS_FILE, usual_settings_file
from faultnet.shop.keys import METER_KEYS, PRICE_LISTS, SETTINGS
from faultnet.words import percent

SCHEMA_VERSION = 1

Row = tuple[str, Any, str, str]
"""Key, value, `file` or `default`, and what it means."""


def info(shop_file: str, *, as_json: bool) -> None:
    """Print the settings of the shop."""
    shop = load_shop(shop_file)
    print(json.dumps(_info_json(shop), indent=2) if as_json else "\n".join(_info_text(shop)))


def rows(shop: Shop) -> Iterator[Row]:
    """Every setting, in the order of the file."""
    for name, keys in SETTINGS.items():
        for key, setting in keys.items():
            dotted = f"{name}.{key}"
            yield dotted, getattr(shop.settings, setting.field), _origin(shop, dotted), setting.means
    for table_name, names in PRICE_LISTS.items():
        for (name, means), price in zip(names.items(), getattr(shop.settings, table_name), strict=True):
            dotted = f"{table_name}.{name}"
            yield dotted, price, _origin(shop, dotted, table_name), f"price of {means}"
    yield "meter.class", shop.meter_class, _origin(shop, "meter.class"), f"what the meter is like: {', '.join(METERS)}"
    for key, setting in METER_KEYS.items():
        dotted = f"meter.{key}"
        yield dotted, getattr(shop.meter, setting.field), _origin(shop, dotted, "meter.class"), setting.means
    yield "database.url", database_words(shop), _origin(shop, "database.url"), "the database"


def database_words(shop: Shop) -> str:
    """Where the database is, without a password."""
    from faultnet.store.database import parse_url, shown_url
    from faultnet.workshop.place import usual_database

    return shown_url(parse_url(usual_database(shop)))


def _origin(shop: Shop, *keys: str) -> str:
    """Whether a value comes from the file, by any of these keys."""
    return "default" if shop.told.isdisjoint(keys) else "file"


def _info_json(shop: Shop) -> dict[str, Any]:
    return {
        "schema_version": SCHEMA_VERSION,
        "files": {
            "settings": None if shop.file is None else str(shop.file),
            "usual_settings": None if (usual := usual_settings_file()) is None else str(usual),
            "database": database_words(shop),
        },
        "settings": [{"key": k, "value": v, "from": origin, "means": means} for k, v, origin, means in rows(shop)],
        "panel_groups": {group: list(codes) for group, codes in shop.panel_groups.codes.items()},
        "meters": {name: asdict(meter) for name, meter in shop.own_meters.items()},
        "meter_classes": {name: asdict(meter) for name, meter in METERS.items()},
    }


def _info_text(shop: Shop) -> Iterator[str]:
    yield bold("Files")
    if shop.file is None:
        yield wrapped(
            f"settings: none, so all are defaults; they would stand in {usual_settings_file() or SETTINGS_FILE}", 2, 4
        )
    else:
        yield wrapped(f"settings: {shop.file}", 2, 4)
    yield wrapped(f"database: {database_words(shop)}", 2, 4)
    yield ""
    yield bold("Settings")
    yield from wrapped_table(
        [(k, _written(v), origin, m) for k, v, origin, m in rows(shop) if k != "database.url"], "llll"
    )
    yield ""
    yield bold("Panel groups") + "  (which panel codes belong together)"
    rows_of = [(group, ", ".join(codes)) for group, codes in shop.panel_groups.codes.items()]
    yield from (
        wrapped_table(rows_of, "ll")
        if rows_of
        else [wrapped('none; faultnet shop set panel_groups.NAME "CODE, BEGINNING*"', 2, 4)]
    )
    yield ""
    yield bold("Meters") + "  (to name after @meter:, and as class)"
    yield from table([_HEADING, *(_meter_row(*named) for named in shop.meters.items())], "lrrrr")
    yield wrapped("pulse missed: by max hold, of a driver's start pulse; cut: less than nine tenths of it seen", 2)


_HEADING = ("", "accuracy", "shows to", "a second", "pulse missed / cut")


def _meter_row(name: str, meter: Meter) -> tuple[str, ...]:
    pulse = f"{percent(meter.pulse_missed)} / {percent(meter.pulse_shortened)}"
    accuracy = f"{meter.percent:g} % + {meter.counts:g}"
    return name, accuracy, f"{meter.display_counts}", f"{meter.updates_per_second:g}", pulse


def _written(value: Any) -> str:
    """A value as it stands in TOML, or that there is none."""
    if value is None or value == "":
        return "not stated"
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) else f"{value:g}" if isinstance(value, float) else str(value)


def set_(texts: Sequence[str], unset: Sequence[str], shop_file: str) -> None:
    """Change settings, and print each with what it was. UsageProblem: a slip; nothing was changed then."""
    from faultnet.shop.edit import Change, change_settings

    if len(texts) % 2 or not (texts or unset):
        raise UsageProblem("write KEY VALUE [KEY VALUE]..., such as: faultnet shop set hourly_rate 52 currency EUR")
    changes = [Change(key, value) for key, value in zip(texts[::2], texts[1::2], strict=True)]
    changes += [Change(key, None) for key in unset]
    file = place_to_write(shop_file)
    changed = change_settings(file, changes, _has_a_database)
    for key in changed.keys:
        print(wrapped(f"{key}: {_with_origin(changed.before, key)} -> {_with_origin(changed.after, key)}", 0, 2))
    print(wrapped(f"in {file}", 0, 2))


def _has_a_database(shop: Shop) -> None:
    """UsageProblem: the settings name a database that can be none."""
    from faultnet.store.database import parse_url

    try:
        parse_url(shop.database)
    except StoreProblem as error:
        raise UsageProblem(f"database.url: {error}", "nothing was changed") from None


def _with_origin(shop: Shop, key: str) -> str:
    """A setting's value as it stands in TOML, and whether it is the default."""
    if key.startswith("meters."):
        value, origin = _of_own_meter(shop, key)
    elif key.startswith("panel_groups."):
        value, origin = ", ".join(shop.panel_groups.codes.get(key.removeprefix("panel_groups."), ())), "set"
    else:
        _, value, origin, _ = next(row for row in rows(shop) if row[0] == key)
    return f"{_written(value)}{' (default)' if origin == 'default' and value not in (None, '') else ''}"


def _of_own_meter(shop: Shop, key: str) -> tuple[Any, str]:
    """What a key says of a meter of the shop's own, and where that comes from; None where there is no such meter."""
    _, name, field = key.split(".")
    origin = _origin(shop, key, f"meters.{name}.class")
    if field == "class":
        return shop.own_meter_classes.get(name), origin
    return getattr(shop.own_meters.get(name), field, None), origin


def place_to_write(shop_file: str) -> Path:
    """The settings file to write, which is made if need be: as named, else that of `FAULTNET_SHOP`, else the usual."""
    in_environment = os.environ.get("FAULTNET_SHOP", "")
    if named := shop_file or in_environment.replace(os.devnull, ""):
        return Path(named)
    usual = usual_settings_file()
    if usual is None:
        raise UsageProblem("there is no config folder without a home; name a file with --shop FILE")
    return usual
