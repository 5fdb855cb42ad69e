"""What a shop says of itself, as one value: its prices and gates, its meters, where its database is."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from faultnet.readings import METERS, Meter
from faultnet.settings import ShopSettings
from faultnet.shop.groups import PanelGroups

USUAL_METER_CLASS = "plain"


@dataclass(frozen=True)
class Shop:
    """A shop. meter: the one used where a reading names no other, of a class or near it; own_meters: more to be named,
    each of a class, too.

    panel_groups: which panel codes belong together. database: the URL or file of its database, "" for the usual place.
    file: the settings file, None when there is none. told: the keys that stand in it (`gates.panel`); every other value
    is a default.
    """

    settings: ShopSettings = field(default_factory=ShopSettings)
    meter: Meter = METERS[USUAL_METER_CLASS]
    meter_class: str = USUAL_METER_CLASS
    own_meters: Mapping[str, Meter] = field(default_factory=dict)
    own_meter_classes: Mapping[str, str] = field(default_factory=dict)
    panel_groups: PanelGroups = field(default_factory=PanelGroups)
    database: str = ""
    file: Path | None = None
    told: frozenset[str] = frozenset()

    @property
    def meters(self) -> Mapping[str, Meter]:
        """Every meter that may be named after `@meter:`: the classes and the shop's own."""
        return {**METERS, **self.own_meters}

    def settings_for(self, trained: bool | None) -> ShopSettings:
        """The settings; what is said about training, where anything is, goes before what they say."""
        return self.settings if trained is None else replace(self.settings, trained=trained)
