"""What readings in volts say about the states of their observations.

A reading is never cut into bins: each state has a distribution of the ratio to the nominal voltage, widened by the
meter's error and mixed with a share of outliers, and the nominal itself is integrated over what is known of it.
Readings taken on one set share its nominal and what its driver output shows when off, so they are weighed together.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import product
from math import isinf, prod

import numpy as np

from faultnet.cpt import Floats
from faultnet.engine.evidence import Likelihood
from faultnet.model.model import Model
from faultnet.model.volts import ReadingModel
from faultnet.readings.channels import channels_densities
from faultnet.readings.density import Taken, state_density
from faultnet.readings.grid import Grid, grid_of
from faultnet.readings.meter import Meter
from faultnet.readings.nominal import Nominal

MOST_VOLTS = 1500.0

_KEPT = 128
"""Readings of one feed whose densities are kept, less than a tenth of a megabyte each."""


@dataclass(frozen=True)
class Volts:
    """One reading: the points that were reached, in volts (`inf`: over range), how the meter was set, and which."""

    observation: str
    points: tuple[float, ...]
    hold: str
    meter: Meter = field(default_factory=Meter)

    @property
    def volts(self) -> float:
        """One feed read at several points is one reading: the median of its points."""
        return middle(self.points)

    @property
    def measured(self) -> tuple[float, ...]:
        """The points that are not over range."""
        return tuple(point for point in self.points if not isinf(point))


def middle(points: Sequence[float]) -> float:
    """The median of some points."""
    ordered, half = sorted(points), len(points) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2


def reading_likelihood(
    model: Model, readings: Sequence[Volts], nominal: Nominal | None, showing: float = 1.0
) -> Likelihood:
    """The likelihood of the readings of one epoch, over the states of their observations and the conditions they share.

    In 1/V to the power of the number of readings. An over-range reading says nothing and gets a flat factor.
    """
    models = {reading.observation: reading_model(model, reading.observation) for reading in readings}
    conditions = list(dict.fromkeys(c for m in models.values() for c in m.given))
    grid = grid_of(model, nominal, with_channels=any(m.has_channels for m in models.values()))
    taken = taken_together(model, readings, grid)
    observations = list(taken)
    table: Floats = np.empty([len(model.states_of(node)) for node in (*observations, *conditions)])
    *others, last = observations
    by_standing = table.reshape(-1, len(model.states_of(last)), prod(len(model.states_of(c)) for c in conditions))
    for number, at in enumerate(standings(model, conditions)):
        before = weighed_together(model, {o: taken[o] for o in others}, at, grid)
        by_standing[..., number] = before.T @ states_density(model, last, taken[last], at, grid)
    return Likelihood((*observations, *conditions), table, showing)


def states_density(
    model: Model, observation: str, readings: Sequence[Taken], at: Mapping[str, str], grid: Grid
) -> Floats:
    """Density of some readings of one observation together, in every state, at every node: ``(n, n_states)``."""
    how, states = reading_model(model, observation), model.observations[observation].states
    total: Floats = np.ones((len(grid.weights), len(states)))
    for taken in readings:
        if how.has_channels:
            columns = [each[0] for each in channels_densities(how, states, at, taken, len(taken.volts))]
        else:
            columns = [state_density(how, state, at, taken)[0] for state in states]
        total = total * np.stack(columns, axis=1)
    return total


def weighed_together(
    model: Model, readings: Mapping[str, Sequence[Taken]], at: Mapping[str, str], grid: Grid
) -> Floats:
    """Likelihood of readings of several observations at every node, times the node's weight: ``(n, joint states)``."""
    total: Floats = grid.weights[:, None]
    for observation, taken in readings.items():
        own = states_density(model, observation, taken, at, grid)
        total = (total[:, :, None] * own[:, None, :]).reshape(len(total), -1)
    return total


def _taken(reading: Volts, grid: Grid, how: ReadingModel) -> Taken | None:
    """A reading ready to be weighed: all its channels, or the one value of a feed; None when it was over range."""
    volts = reading.measured if how.has_channels else (reading.volts,)
    if not volts or isinf(max(volts)):
        return None
    if how.has_channels:
        return Taken(np.array(volts)[:, None], reading.hold, reading.meter, grid)
    return _of_one_feed(reading.volts, reading.hold, reading.meter, grid)


@lru_cache(maxsize=_KEPT)
def _of_one_feed(volts: float, hold: str, meter: Meter, grid: Grid) -> Taken:
    """Kept with its densities: a reading counts in every answer about its set, alone and with others."""
    return Taken(np.array([[volts]]), hold, meter, grid)


def taken_together(model: Model, readings: Sequence[Volts], grid: Grid) -> dict[str, list[Taken]]:
    """The readings ready to be weighed, by observation, in the order of their first reading."""
    by_observation: dict[str, list[Taken]] = {}
    for reading in readings:
        taken = _taken(reading, grid, reading_model(model, reading.observation))
        by_observation.setdefault(reading.observation, []).extend([] if taken is None else [taken])
    return by_observation


def standings(model: Model, conditions: Sequence[str]) -> Iterator[Mapping[str, str]]:
    """Every combination of the states of some conditions, the last fastest."""
    for states in product(*(model.conditions[condition].states for condition in conditions)):
        yield dict(zip(conditions, states, strict=True))


def outlier_density(model: Model, reading: Volts) -> float:
    """Share of outliers times their density, in 1/V for each channel: what a reading weighs if it says nothing."""
    how = reading_model(model, reading.observation)
    n_values = len(reading.measured) if how.has_channels else 1
    return (how.outlier_share / how.up_to_volts) ** n_values


def reading_model(model: Model, observation: str) -> ReadingModel:
    """How an observation is read in volts. ValueError when it is not."""
    reading = model.observations[observation].reading
    if reading is None:
        raise ValueError(f"{observation} is not read in volts")
    return reading
