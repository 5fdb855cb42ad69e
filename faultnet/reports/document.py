"""What comes out of a report, as a value that is kept as JSON: told, as plain values, and drawn."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from faultnet.telling.block import Block, as_data, blocks_from_data

SCHEMA_VERSION = 1


@dataclass(frozen=True)
class Document:
    """What came out. blocks: the most of it told, for a page; everything: all of it. json: as the command line's
    `--json`; pictures: SVG text by name. version: the would-be version of a model, where something was learned.
    """

    blocks: tuple[Block, ...]
    everything: tuple[Block, ...]
    json: Mapping[str, Any]
    pictures: Mapping[str, str] = field(default_factory=dict)
    version: Mapping[str, Any] | None = None

    def as_data(self) -> dict[str, Any]:
        """All of it as plain values."""
        return {
            "schema_version": SCHEMA_VERSION,
            "blocks": as_data(self.blocks),
            "everything": as_data(self.everything),
            "json": self.json,
            "pictures": self.pictures,
            "version": self.version,
        }


def document_from_data(data: Mapping[str, Any]) -> Document:
    """The document of such values. KeyError, TypeError: they are none."""
    blocks, everything = (blocks_from_data(data[name]) for name in ("blocks", "everything"))
    return Document(blocks, everything, data["json"], data["pictures"], data["version"])
