"""What a reading in volts looks like in each state of an observation, as written in the model file."""

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Piece:
    """One piece of a mixture. kind `normal`: mean and sd as ratios to the nominal; `uniform`: from and to as ratios;
    `rail`: at one of the usual input rails, sd as a ratio to the nominal."""

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
class ReadingModel:
    """The distribution of a reading for every state, and how it changes with the hold mode.

    given: conditions the value hangs on besides the state. levels[hold][state] is a tuple of `Level`, the first whose
    `when` fits counts; a state that a hold mode does not name reads as under `default_hold`.
    """

    unit: str
    given: tuple[str, ...]
    default_hold: str
    levels: Mapping[str, Mapping[str, tuple[Level, ...]]]
    outlier_share: float
    up_to_volts: float
    mark: str


@dataclass(frozen=True)
class NominalRange:
    """What is known of the nominal voltage when nothing is printed: log-uniform between two ends, usual input rails."""

    volts: float | None
    low_volts: float
    high_volts: float
    input_rails_volts: tuple[float, ...]
    mark: str
