"""How a job ended: its outcome, how the cause was verified, what it took and what was paid."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

OUTCOMES: Mapping[str, str] = {
    "fixed": "fixed",
    "no_fault_found": "no fault found",
    "not_worth_repairing": "not worth repairing",
    "no_part": "no part to be had",
    "declined": "declined by the customer",
    "harmed": "harmed at the bench",
}

VERIFICATIONS: Mapping[str, str] = {
    "part_tested": "the old part was tested on the bench",
    "proved_by_swap": "proved by a swap with a part known good",
    "symptom_cleared": "the symptom is gone",
    "not_verified": "not verified",
}
"""How sure it is that the part named was the cause, the surest first."""

COMEBACKS: Mapping[str, str] = {"same": "the same symptom", "other": "another symptom"}

PART_SOURCES: Mapping[str, str] = {
    "new": "new",
    "used": "from another set",
    "refurbished": "refurbished",
    "known_good": "the shop's own part, known good, for a swap",
}


@dataclass(frozen=True)
class Part:
    """A part that was fitted: in which entry, for which repair, what stands on the old and the new one, at what price.

    leds, strips: LEDs of one strip and number of strips, where strips were fitted; None where nobody counted.
    price: as it was paid, in the shop's money; None where nobody said.
    """

    seq: int
    repair: str
    old_code: str = ""
    new_code: str = ""
    source: str = "new"
    leds: int | None = None
    strips: int | None = None
    price: float | None = None


@dataclass(frozen=True)
class Closing:
    """The end of a job. minutes: hands-on; price: named to the customer in the end; currency: of both sums."""

    outcome: str
    verification: str
    hours_on_test: float | None
    minutes: float | None
    parts: float | None
    price: float | None
    currency: str
    note: str = ""
    by: str = ""
    at: datetime | None = None
