"""The gain of a test that is read in volts: integrated over what the meter may show, not over the states behind it.

Readings already taken on the set share its nominal with this one, so they are weighed together with it: the belief
before them gives the states of all, and their likelihood comes in again with each volt that may be shown.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import prod

import numpy as np

from faultnet.case.case import Case
from faultnet.case.events import Reading
from faultnet.case.steps import case_steps, chance_of_showing, counted_events, readings_now, volts_of
from faultnet.cpt import Floats, Ints
from faultnet.engine.information import mutual_information_bits
from faultnet.engine.interface import Belief
from faultnet.engine.products import product
from faultnet.model.model import Model
from faultnet.model.work import BenchTest
from faultnet.readings import Volts
from faultnet.readings.grid import Grid, coarse_grid_of
from faultnet.readings.likelihood import reading_model, standings, taken_together, weighed_together
from faultnet.readings.predict import predicted, predicted_channels

GAIN_ERROR_BITS = 1e-3
"""Within this the integral agrees with one over twenty times as many volts, and joint states left out add to it."""

CHANNELS_ERROR_BITS = 0.015
"""The same for separate channels, whose readings are a sample: its standard error is about a quarter of this."""

LEFT_OUT = 1e-6
"""Probability of the joint states that are taken together where a gain is about the joint state of all components."""


@dataclass(frozen=True, eq=False)
class ReadingGains:
    """Gains of tests read in volts for one case. belief: what is believed now."""

    model: Model
    case: Case
    belief: Belief
    _kept: dict[str, Floats] = field(default_factory=dict, init=False, repr=False)

    def prices(self, test: BenchTest) -> bool:
        """Whether a test is priced here: it shows one reading, of one feed or of separate channels."""
        if len(test.reveals) > 1 or not self.model.observations[test.reveals[0]].reading or self.belief.gains_are_local:
            return False
        return not set(self._conditions(test.reveals[0])) & set(self.model.asked)

    def bands(self, test: BenchTest) -> bool:
        """Whether what a test shows may be told by bands of volts: a reading of one feed that is priced here."""
        return self.prices(test) and not reading_model(self.model, test.reveals[0]).has_channels

    def gains_bits(self, observation: str) -> tuple[float, float]:
        """The gain about the joint state of all components, and about what orders tests (`Compiled.to_decide`)."""
        shown = self._shown(observation)
        return _information(shown, self._cells(observation, self._few)), _information(shown, self._decided(observation))

    def by_volts(self, observation: str, group_of: Ints) -> Floats:
        """P(volts, group of joint states of all components): ``(n_volts, n_groups)``, up to a factor.

        group_of: of every joint state, ``(n_joint,)``.
        """
        return product(self._shown(observation), self._cells(observation, group_of))

    def lost_by_bands(self, observation: str, band_of: Ints) -> float:
        """Bits about what orders tests that are lost where only the band of the volts is told, ``(n_volts,)``."""
        shown, groups = self._shown(observation), self._decided(observation)
        bands = np.zeros((int(band_of.max()) + 1, shown.shape[1]))
        np.add.at(bands, band_of, shown)
        return _information(shown, groups) - _information(bands, groups)

    def _shown(self, observation: str) -> Floats:
        """P(volts | cell) ``(n_volts, n_cells)``, up to a factor of each cell.

        A cell is one state of every reading of the set and of the conditions they hang on.
        """
        if observation not in self._kept:
            self._kept[observation] = self._weigh(observation)
        return self._kept[observation]

    def _weigh(self, observation: str) -> Floats:
        conditions = self._conditions(observation)
        if reading_model(self.model, observation).has_channels:
            chances = self._before.joint((*self._seen, observation, *conditions))
            shown = self._channels_shown(observation, conditions, chances)
        else:
            shown = predicted(self.model, observation, self.case.meter, self._earlier, conditions, self.grid)
        return shown.reshape(len(shown), -1)

    def _cells(self, observation: str, group_of: Ints, also: Sequence[str] = ()) -> Floats:
        """P(cell, states of the nodes in `also`, group of joint states of all components): ``(n_cells, n_groups)``."""
        conditions = self._conditions(observation)
        table = self._before.joint_by_label((*self._seen, observation, *conditions, *also), group_of)
        n_nodes = len(self._seen) + 1 + len(conditions)
        return table.reshape(prod(table.shape[:n_nodes]), -1)

    def _decided(self, observation: str) -> Floats:
        """P(cell, what orders tests): ``(n_cells, n_groups)``."""
        return self._cells(observation, self.model.compiled.decided, self.model.asked)

    def _channels_shown(self, observation: str, conditions: Sequence[str], chances: Floats) -> Floats:
        names = (*(reading.observation for reading in self._earlier), observation)
        grid = coarse_grid_of(self.model, self.case.nominal, [reading_model(self.model, name) for name in names])
        count = self._n_channels(observation)
        return predicted_channels(
            self.model, observation, self.case.meter, self._earlier, conditions, grid, count, chances
        )

    def _n_channels(self, observation: str) -> int:
        """How many channels will be read: as many as last time on this set, else as many as usual."""
        for event in reversed(self.case.events):
            if isinstance(event, Reading) and event.observation == observation and event.reached:
                return len(event.reached)
        return reading_model(self.model, observation).usual_channels

    def next_volts(self, observation: str) -> tuple[tuple[str, ...], Floats]:
        """The conditions that a reading hangs on, and P(volts | its state, they): ``(n_volts, n_states, *sizes)``.

        With the nominal known as well as readings before left it.
        """
        conditions = reading_model(self.model, observation).given
        grid = replace(self.grid, weights=self._nominal_weights)
        return conditions, predicted(self.model, observation, self.case.meter, (), conditions, grid)

    @cached_property
    def _nominal_weights(self) -> Floats:
        """How likely each nominal of the grid is after the readings before."""
        if not self._earlier:
            return self.grid.weights
        taken = taken_together(self.model, self._earlier, self.grid)
        conditions = list(dict.fromkeys(c for name in taken for c in reading_model(self.model, name).given))
        states = self._before.joint((*conditions, *taken))
        states = states.reshape(prod(states.shape[: len(conditions)]), -1)
        weights = np.zeros_like(self.grid.weights)
        for chances, at in zip(states, standings(self.model, conditions), strict=True):
            weights += weighed_together(self.model, taken, at, self.grid) @ chances
        after: Floats = weights / weights.sum()
        return after

    def _conditions(self, observation: str) -> list[str]:
        """The conditions that this reading or one taken before hangs on."""
        names = dict.fromkeys((*(reading.observation for reading in self._earlier), observation))
        return list(dict.fromkeys(c for name in names for c in reading_model(self.model, name).given))

    @cached_property
    def _counted_readings(self) -> list[int]:
        """Readings that one taken now is weighed with, and that were taken while the symptom showed."""
        return [n for n in readings_now(self.model, self.case) if self._shares_nominal(n)]

    def _shares_nominal(self, number: int) -> bool:
        event = self.case.events[number]
        return isinstance(event, Reading) and chance_of_showing(self.model, event) == 1

    @cached_property
    def _earlier(self) -> list[Volts]:
        events = [self.case.events[number] for number in self._counted_readings]
        return [volts_of(self.case, event) for event in events if isinstance(event, Reading)]

    @cached_property
    def _seen(self) -> list[str]:
        return list(dict.fromkeys(reading.observation for reading in self._earlier))

    @cached_property
    def _before(self) -> Belief:
        """What would be believed without the readings that share the set's nominal."""
        if not self._counted_readings:
            return self.belief
        rest = [n for n in counted_events(self.model, self.case) if n not in self._counted_readings]
        return self.model.compiled.engine.belief(case_steps(self.model, self.case, rest))

    @cached_property
    def grid(self) -> Grid:
        """What is integrated over for readings of one feed."""
        earlier = [reading_model(self.model, reading.observation) for reading in self._earlier]
        return coarse_grid_of(self.model, self.case.nominal, earlier)

    @cached_property
    def _few(self) -> Ints:
        """The joint states of the components that matter, numbered, and one number for all others: ``(n_joint,)``."""
        order = np.argsort(self.belief.targets)[::-1]
        enough = int(np.searchsorted(np.cumsum(self.belief.targets[order]), 1 - LEFT_OUT)) + 1
        number = np.full(len(order), enough)
        number[order[:enough]] = np.arange(len(order[:enough]))
        return number


def _information(shown: Floats, groups: Floats) -> float:
    """I(volts ; group): shown ``(n_volts, n_cells)``, groups ``(n_cells, ...)``, together up to a factor."""
    joint = product(shown, groups.reshape(len(groups), -1))
    return mutual_information_bits(joint / joint.sum())
