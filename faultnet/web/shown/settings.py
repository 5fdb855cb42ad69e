"""The shop's settings in groups, as they stand and as they can be typed."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from faultnet.readings import METERS
from faultnet.settings import ShopSettings
from faultnet.shop import Shop
from faultnet.shop.edit import Change
from faultnet.shop.keys import METER_KEYS, PRICE, PRICE_LISTS, SETTINGS
from faultnet.telling.settings import setting_told
from faultnet.words import fixed

TRAINED = "shop.trained"

TITLES: Mapping[str, str] = {
    "shop": "Money and numbers",
    "gates": "How sure before a repair",
    "hazard_prices": "What a hazard costs",
    "new_set_prices": "What a new set costs",
    "meter": "The usual meter",
}
"""The groups of settings that every shop has, by their tables."""

ABOUT: Mapping[str, str] = {
    "shop": "What the order of tests and repairs is worked out from.",
    "gates": "A repair is advised from here on; below, a test comes first.",
    "hazard_prices": (
        "Added to the price of a step, so that a safer one goes before it. A more dangerous step cannot cost less than "
        "a safer one."
    ),
    "new_set_prices": "By size, for when a repair does not pay. A larger set cannot cost less than a smaller one.",
    "meter": "What readings are weighed by where they name no other. Its data sheet says.",
}

_FLAGS = {"true": "yes", "false": "no"}


@dataclass(frozen=True)
class Field:
    """A setting as it is typed. value: what stands in the settings file, "" where nothing does; default: what counts
    then. choices: the texts that it may have, with words; empty where it is written out. may_be: in words.
    """

    key: str
    label: str
    value: str
    default: str
    may_be: str
    choices: Mapping[str, str]

    @property
    def told(self) -> str:
        """The value that counts, in words."""
        return self.choices.get(self.value, self.value) if self.value else self.default

    @property
    def is_default(self) -> bool:
        return not self.value


@dataclass(frozen=True)
class Group:
    """Settings that are changed together. name: of it in an address; is_own: made by the shop, and may go."""

    name: str
    title: str
    about: str
    fields: tuple[Field, ...]
    is_own: bool = False


def groups_of(shop: Shop) -> Iterator[Group]:
    """Every group, in the order of the file; then the shop's own meters and panel groups."""
    for table in TITLES:
        yield Group(table, TITLES[table], ABOUT[table], tuple(_fields(shop, table)))
    for name in shop.own_meters:
        yield own_meter(shop, name)
    for name in shop.panel_groups.codes:
        yield panel_group(shop, name)


def own_meter(shop: Shop, name: str) -> Group:
    """A meter of the shop's own, or one to be."""
    about = f"Named for a reading as meter {name}."
    return Group(f"meters.{name}", f"Meter {name}", about, tuple(_meter_fields(shop, f"meters.{name}")), is_own=True)


def panel_group(shop: Shop, name: str) -> Group:
    """A group of panel codes, or one to be."""
    key = f"panel_groups.{name}"
    codes = ", ".join(shop.panel_groups.codes.get(name, ()))
    field = Field(key, "Panel codes", codes, "none", "with commas between them; PX-55* is all that begin so", {})
    return Group(key, f"Panel group {name}", "Panels that are counted and learned together.", (field,), is_own=True)


def changes_of(group: Group, typed: Mapping[str, str], was: Mapping[str, str], *, comma: bool) -> Sequence[Change]:
    """What was changed of a group. was: the values that the form showed, so that nobody else's change is undone.

    comma: whether a comma is the decimal sign. An empty field goes back to the default.
    """
    changes = []
    for field in group.fields:
        text = typed.get(field.key, field.value)
        if text != was.get(field.key, field.value):
            changes.append(Change(field.key, _as_written(field, text, comma=comma) if text else None))
    return changes


def _as_written(field: Field, text: str, *, comma: bool) -> str:
    is_number = field.key.partition(".")[0] != "panel_groups" and not field.choices
    return text.replace(",", ".") if is_number and comma and text.count(",") == 1 and "." not in text else text


def _fields(shop: Shop, table: str) -> Iterator[Field]:
    if table == "meter":
        yield from _meter_fields(shop, table)
    elif table in PRICE_LISTS:
        usual = getattr(ShopSettings(), table)
        for (name, means), price in zip(PRICE_LISTS[table].items(), usual, strict=True):
            yield _field(shop, f"{table}.{name}", f"Price of {means}", price, PRICE.may_be, above=table)
    else:
        for name, setting in SETTINGS[table].items():
            if f"{table}.{name}" != TRAINED:
                usual = getattr(ShopSettings(), setting.field)
                yield _field(shop, f"{table}.{name}", setting.means, usual, setting.check.may_be)


def _meter_fields(shop: Shop, table: str) -> Iterator[Field]:
    """The fields of a meter, whose defaults are those of its class."""
    kind = setting_told(shop, f"{table}.class").value
    known = {name: name for name in METERS}
    told = f"{table}.class" in shop.told
    yield Field(f"{table}.class", "What it is like", kind if told else "", "plain", "", known)
    for name, setting in METER_KEYS.items():
        usual = getattr(METERS[kind or "plain"], setting.field)
        yield _field(shop, f"{table}.{name}", setting.means, usual, setting.check.may_be)


def _field(shop: Shop, key: str, means: str, usual: Any, may_be: str, above: str = "") -> Field:
    is_told = not shop.told.isdisjoint((key, above))
    value = _text(setting_told(shop, key).value) if is_told else ""
    choices = _FLAGS if isinstance(usual, bool) else {}
    default = choices.get(_text(usual), _text(usual)) or "none"
    return Field(key, means[:1].upper() + means[1:], value, default, may_be, choices)


def _text(value: Any) -> str:
    """A value as it is typed."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return fixed(value, 10).rstrip("0").rstrip(".")
    return "" if value is None else str(value)
