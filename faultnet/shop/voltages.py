"""The shop's list of nominal voltages: what an entry is, and what the list says of a panel or board."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date
from difflib import get_close_matches

from faultnet.jobs.codes import code_key
from faultnet.readings import Nominal
from faultnet.readings.learned import learned_nominal

COLUMNS = ("day", "kind", "code", "loaded_volts", "unplugged_volts", "source", "note")
TEXTS = ("code", "note")
KINDS = ("panel", "board")
SOURCES = ("measured", "label", "data_sheet")

LEAST_VOLTS, MOST_VOLTS = 5.0, 800.0
"""What may stand in the list: LED strings have up to 600 V, and a driver's limit lies above."""


@dataclass(frozen=True)
class Entry:
    """What was read on one set, or stands on a label or data sheet: volts with the LEDs plugged and unplugged.

    unplugged_volts: the driver's over-voltage limit, max hold from switch-on. At least one of the two is known.
    """

    day: date
    kind: str
    code: str
    loaded_volts: float | None
    unplugged_volts: float | None
    source: str = "measured"
    note: str = ""

    def is_of(self, kind: str, code: str) -> bool:
        """Whether it is about this panel or board."""
        return self.kind == kind and code_key(self.code) == code_key(code)


def nearest_codes(entries: Iterable[Entry], kind: str, code: str) -> list[str]:
    """Codes of this kind in the list that look most like this one, as they were typed first."""
    known: dict[str, str] = {}
    for entry in entries:
        if entry.kind == kind:
            known.setdefault(code_key(entry.code), entry.code)
    return [known[key] for key in get_close_matches(code_key(code), known, n=3, cutoff=0.6)]


def nominal_of(entries: Collection[Entry], kind: str, code: str) -> Nominal | None:
    """What the list says of a set with this panel or board; None when it has no such code."""
    own = [entry for entry in entries if entry.is_of(kind, code)]
    return learned_nominal(
        (entry.loaded_volts for entry in own if entry.loaded_volts is not None),
        (entry.unplugged_volts for entry in own if entry.unplugged_volts is not None),
    )
