"""Times until something happened to a unit, or until it was last seen without it: in rows that stand for many units."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats
from faultnet.errors import TooLittleData

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Lifetimes:
    """Times to an event, some of them censored on the right; made by `Lifetimes.of`, which checks them.

    times: until the event, or until the unit was last seen without one, ``(n_rows,)``, in any one unit of time.
    is_event: whether the event came at that time, ``(n_rows,)``. weights: how many units are just so, ``(n_rows,)``.
    """

    times: Floats
    is_event: Flags
    weights: Floats

    @classmethod
    def of(cls, times: npt.ArrayLike, is_event: npt.ArrayLike, weights: npt.ArrayLike | None = None) -> "Lifetimes":
        """The lifetimes of these rows, each of one unit unless weights are given. Rows of no unit are left out.

        ValueError for shapes that differ, for times or weights that are negative or no numbers; `TooLittleData` for no
        units at all.
        """
        t, event = np.asarray(times, dtype=float), np.asarray(is_event, dtype=bool)
        w = np.ones(t.shape) if weights is None else np.asarray(weights, dtype=float)
        if t.ndim != 1 or not t.shape == event.shape == w.shape:
            raise ValueError(f"times, is_event and weights must be as long: {t.shape}, {event.shape}, {w.shape}")
        for name, values in (("times", t), ("weights", w)):
            if not np.all(np.isfinite(values) & (values >= 0)):
                raise ValueError(f"{name} must be numbers, none of them negative")
        there = w > 0
        if not there.any():
            raise TooLittleData("no unit was watched; ask for a longer period or for more jobs")
        return cls(t[there], event[there], w[there])

    @property
    def n(self) -> float:
        """How many units."""
        return float(self.weights.sum())

    @property
    def n_events(self) -> float:
        """To how many of them the event came."""
        return float(self.weights[self.is_event].sum())

    def tally(self) -> "Tally":
        """The rows put together by time."""
        times, place = np.unique(self.times, return_inverse=True)
        left = np.bincount(place, weights=self.weights, minlength=len(times)).astype(np.float64)
        events = np.bincount(place, weights=self.weights * self.is_event, minlength=len(times)).astype(np.float64)
        return Tally(times, events, left - events, np.cumsum(left[::-1])[::-1])


@dataclass(frozen=True, eq=False)
class Tally:
    """What happened at each time: all ``(n_times,)``, the times distinct and rising.

    censored: units gone without an event. at_risk: units not gone before the time. Where an event and a censoring fall
    together, the event came first.
    """

    times: Floats
    events: Floats
    censored: Floats
    at_risk: Floats

    def with_events(self) -> "Tally":
        """The times at which an event came."""
        kept = self.events > 0
        return Tally(self.times[kept], self.events[kept], self.censored[kept], self.at_risk[kept])
