"""What a reading in volts looks like in each state of an observation, as written in the model file."""

from collections.abc import Mapping
from dataclasses import dataclass, field

MOST_CHANNELS = 16
"""Separate channels of one set that are read together."""

USUAL_CHANNELS = 4
"""How many are taken to be read where the model file does not say (reasoned)."""


@dataclass(frozen=True)
class Piece:
    """One piece of a mixture, in ratios to the nominal but for `rail`.

    kind `normal`: mean and sd; `uniform`: from and to; `limit`: mean and sd of the over-voltage limit, which the shop's
    list may know better; `rail`: at one of the usual input rails, sd.
    """

    share: float
    kind: str
    first: float
    second: float


@dataclass(frozen=True)
class Level:
    """The mixture that holds in one state, where the conditions named in `when` have these states."""

    when: Mapping[str, str]
    mixture: tuple[Piece, ...]


@dataclass(frozen=True)
class Pattern:
    """What separate channels do together: all at the level `rest`, but for some at one of the levels `odd`.

    at_least, at_most: how many are odd, each number as likely; none where `odd` is empty.
    """

    rest: str
    odd: tuple[str, ...] = ()
    at_least: int = 0
    at_most: int = 0


@dataclass(frozen=True)
class ReadingModel:
    """The distribution of a reading for every state, and how it changes with the hold mode.

    given: conditions the value hangs on besides the state. levels[hold][state] is a tuple of `Level`, the first whose
    `when` fits counts; a state that a hold mode does not name reads as under `default_hold`.
    start_pulse: share of a state's cases in which it is a start pulse that then settles, which a meter may miss.
    patterns: for separate channels what they do in each state; levels are then those of single channels. channel_sd:
    how far channels of one set differ at the same level, as a ratio to the nominal. usual_channels: how many a reading
    not yet taken is likely to be of.
    """

    unit: str
    given: tuple[str, ...]
    default_hold: str
    levels: Mapping[str, Mapping[str, tuple[Level, ...]]]
    outlier_share: float
    up_to_volts: float
    mark: str
    start_pulse: Mapping[str, float] = field(default_factory=dict)
    patterns: Mapping[str, Pattern] = field(default_factory=dict)
    channel_sd: float = 0.0
    usual_channels: int = USUAL_CHANNELS

    @property
    def has_channels(self) -> bool:
        """Whether its points are separate channels, not one feed read at several places."""
        return bool(self.patterns)

    def level(self, name: str, hold: str, at: Mapping[str, str]) -> Level:
        """The level of a state (or of a channel), read with this hold under these conditions."""
        by_state = self.levels.get(hold, self.levels[self.default_hold])
        return next(level for level in by_state[name] if all(at.get(c) == s for c, s in level.when.items()))


@dataclass(frozen=True)
class NominalRange:
    """What is known of the nominal voltage when nothing is printed: log-uniform between two ends, usual input rails."""

    volts: float | None
    low_volts: float
    high_volts: float
    input_rails_volts: tuple[float, ...]
    mark: str
