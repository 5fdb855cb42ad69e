"""The keys `shop.toml` may have: what each may be, which field it fills, and what it means."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from faultnet.case.entry import nearest
from faultnet.shop import values
from faultnet.shop.values import Check


@dataclass(frozen=True)
class Setting:
    """A key of a table of `shop.toml`. check: what it may be; field: where it goes; means: in words, with the unit."""

    check: Check
    field: str
    means: str


SETTINGS: Mapping[str, Mapping[str, Setting]] = {
    "shop": {
        "hourly_rate": Setting(values.Number(0.01, 1e9), "hourly_rate", "money for an hour at the bench"),
        "currency": Setting(values.Currency(), "currency", "what money is counted in (ISO 4217)"),
        "trained": Setting(values.Flag(), "trained", "trained for powered steps and for panels"),
        "harm_claim": Setting(values.share(0.0), "harm_claim", "share of a new set's price owed for a ruined one"),
        "decimal_comma": Setting(values.Flag(), "decimal_comma", "54,2 is 54.2 where one number is asked"),
    },
    "gates": {
        "panel": Setting(values.share(0.5), "gate_panel", "how sure of the part before the panel is opened"),
        "repair": Setting(values.share(0.5), "gate_repair", "how sure of the part before any other repair"),
        "uneconomic": Setting(values.share(0.01), "gate_uneconomic", "share of a new set's price that is too much"),
    },
}
"""The tables whose keys are fields of `ShopSettings`."""

HAZARDS: Mapping[str, str] = {
    "none": "hazard 0: none",
    "cold": "hazard 1: cold and discharged",
    "powered": "hazard 2: powered, low-voltage side",
    "high_voltage": "hazard 3: near more than 60 V or the mains side",
    "panel_opened": "hazard 4: panel opened",
}
"""The keys of `[hazard_prices]`, by rising hazard."""

NEW_SETS: Mapping[str, str] = {
    "up_to_39_inch": "a new set up to 39 inch",
    "up_to_52_inch": "a new set of 40 to 52 inch",
    "up_to_69_inch": "a new set of 53 to 69 inch",
    "larger": "a new set of 70 inch and more",
}
"""The keys of `[new_set_prices]`, by rising size class."""

PRICE_LISTS: Mapping[str, Mapping[str, str]] = {"hazard_prices": HAZARDS, "new_set_prices": NEW_SETS}
"""The tables of prices that do not fall from one key to the next, each a field of `ShopSettings` of the same name."""

PRICE = values.Number(0, 1e9)

METER_KEYS: Mapping[str, Setting] = {
    "percent": Setting(values.Number(0, 20, "%"), "percent", "accuracy: +- so many % of the reading ..."),
    "counts": Setting(values.Number(0, 1000), "counts", "... and so many of the last digit"),
    "display_counts": Setting(values.Whole(100, 10**8), "display_counts", "the largest number it shows, 2000 or 6000"),
    "updates_per_second": Setting(values.Number(0.1, 1e6), "updates_per_second", "new values a second"),
    "range_digit_volts": Setting(
        values.Number(1e-6, 10, "V"), "range_digit_volts", "last digit, where one range is used for everything"
    ),
}
"""The keys of `[meter]` and of each `[meters.NAME]`, besides `class`."""

DATABASE_KEYS: Mapping[str, Setting] = {
    "url": Setting(values.DatabasePlace(), "url", "the database: a file, or postgresql://USER@HOST/NAME")
}

TABLES = ("shop", *PRICE_LISTS, "gates", "meter", "meters", "database", "panel_groups")

HOMES: Mapping[str, str] = {
    **{key: table for table, keys in SETTINGS.items() for key in keys},
    **{key: table for table, keys in PRICE_LISTS.items() for key in keys},
    **dict.fromkeys(("class", *METER_KEYS), "meter"),
}
"""Which table a key stands in."""


def instead_of(name: str, known: Iterable[str]) -> str:
    """What to say about a key that is none of the known ones: where it belongs, or which is nearest."""
    listed = list(known)
    if name in HOMES:
        return f"unknown here; it stands below [{HOMES[name]}]"
    return f"unknown{nearest(name, listed) or '; known are ' + ', '.join(listed)}"
