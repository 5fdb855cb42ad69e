"""The things that happen to a set on the bench."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import isinf

SYMPTOM_SHOWING: Mapping[str, float] = {"showing": 1.0, "not_showing": 0.0, "unknown": 0.5}
"""Chance that the symptom showed at the time of an event."""


@dataclass(frozen=True)
class Finding:
    """An observation was seen in one state."""

    observation: str
    state: str
    symptom: str = "showing"
    by: str = ""


@dataclass(frozen=True)
class SoftFinding:
    """An observation was seen unclearly: how likely what was seen is in each state; states left out get 0."""

    observation: str
    likelihoods: tuple[tuple[str, float], ...]
    symptom: str = "showing"
    by: str = ""


@dataclass(frozen=True)
class Reading:
    """Volts at one or more points. `inf` is over range, None a point not reached.

    hold: `steady`, `max` or `settled`; against: `chassis`, or `hot` for the mains side, which sets the reading aside.
    meter: the name of another meter than the usual one.
    """

    observation: str
    points: tuple[float | None, ...]
    hold: str
    against: str = "chassis"
    symptom: str = "showing"
    by: str = ""
    meter: str = ""

    @property
    def reached(self) -> tuple[float, ...]:
        return tuple(point for point in self.points if point is not None)

    @property
    def set_aside(self) -> str | None:
        """Why the reading is kept but not used, or None."""
        if self.against == "hot":
            return "read against the mains side, not chassis: it cannot be compared"
        if not self.reached:
            return "no point was reached"
        if sum(map(isinf, self.reached)) * 2 >= len(self.reached):
            return "over range: choose a higher range and read again"
        return None


@dataclass(frozen=True, init=False)
class RepairOutcome:
    """One repair was made, or several at once, and the set works or does not after them.

    repairs: their ids as typed; a single one may be given by itself. ValueError when there is none.
    """

    repairs: tuple[str, ...]
    works: bool

    def __init__(self, repairs: str | Iterable[str], works: bool) -> None:
        object.__setattr__(self, "repairs", (repairs,) if isinstance(repairs, str) else tuple(repairs))
        object.__setattr__(self, "works", works)
        if not self.repairs:
            raise ValueError("an outcome is that of at least one repair")

    @property
    def made(self) -> tuple[str, ...]:
        """Each repair once: only one new part ends up in the set."""
        return tuple(dict.fromkeys(self.repairs))


Seen = Finding | SoftFinding | Reading
Event = Seen | RepairOutcome


def set_aside(event: Event) -> str | None:
    """Why an event is kept but not used, or None."""
    return event.set_aside if isinstance(event, Reading) else None
