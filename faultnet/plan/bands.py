"""Readings in a plan: a plan cannot branch on every voltage, so volts are told by the state they most likely show."""

from dataclasses import dataclass

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.work import BenchTest
from faultnet.ranking.volts import ReadingGains
from faultnet.readings.predict import volt_nodes


@dataclass(frozen=True)
class Band:
    """Volts from `low` to `high` that are taken for a state."""

    low_volts: float
    high_volts: float
    state: str


@dataclass(frozen=True, eq=False)
class Banded:
    """A reading told by bands. chances: P(state it is taken for | state, conditions) ``(n_states, *sizes, n_states)``.

    lost_bits: what is lost of the gain about which parts need work.
    """

    observation: str
    conditions: tuple[str, ...]
    chances: Floats
    bands: tuple[Band, ...]
    lost_bits: float


def band_reading(gains: ReadingGains, test: BenchTest) -> Banded | None:
    """The bands of a test that shows one reading of one feed; None for any other, which is told by its states."""
    if not gains.bands(test):
        return None
    (observation,) = test.reveals
    model = gains.model
    conditions, shown = gains.next_volts(observation)
    now = gains.belief.joint((observation, *conditions))
    states = model.observations[observation].states
    by_state = (shown * now).reshape(*shown.shape[:2], -1).sum(axis=2)
    taken_for = by_state.argmax(axis=1)
    chances = np.zeros((len(states), *shown.shape[1:]))
    np.add.at(chances, taken_for, shown)
    return Banded(
        observation=observation,
        conditions=conditions,
        chances=np.moveaxis(chances, 0, -1),
        bands=_bands(gains, observation, taken_for, states),
        lost_bits=gains.lost_by_bands(observation, taken_for),
    )


def _bands(
    gains: ReadingGains, observation: str, taken_for: "np.typing.NDArray[np.intp]", states: tuple[str, ...]
) -> tuple[Band, ...]:
    reading = gains.model.observations[observation].reading
    assert reading is not None
    volts, _ = volt_nodes(gains.grid, reading.up_to_volts)
    turns = [0, *(np.flatnonzero(np.diff(taken_for)) + 1).tolist(), len(volts)]
    ends = [0.0, *((volts[turn - 1] + volts[turn]) / 2 for turn in turns[1:-1]), reading.up_to_volts]
    return tuple(
        Band(low, high, states[taken_for[turn]]) for turn, low, high in zip(turns, ends, ends[1:], strict=False)
    )
