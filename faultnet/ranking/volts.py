"""The gain of a test that is read in volts: integrated over what the meter may show, not over the states behind it.

Readings already taken on the set share its nominal with this one, so they are weighed together with it: the belief
before them gives the states of all, and their likelihood comes in again with each volt that may be shown.
"""

from collections.abc import Callable, Sequence
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
from faultnet.engine.plan import Sums
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
    _kept: dict[str, tuple[Floats, Floats, list[str]]] = field(default_factory=dict, init=False, repr=False)

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
        shown, states, about = self._shown(observation)
        by_joint = states.reshape(len(states), -1, len(self.belief.targets)).sum(axis=1)
        return _information(shown, self._few(by_joint)), _information(shown, self._grouped(states, about))

    def by_volts(self, observation: str, add_up: Callable[[Floats], Floats]) -> Floats:
        """P(volts, group of joint states of all components): ``(n_volts, n_groups)``, up to a factor.

        add_up: joint states to groups, ``(n, n_joint) -> (n, n_groups)``.
        """
        shown, states, _ = self._shown(observation)
        by_joint = states.reshape(len(states), -1, len(self.belief.targets)).sum(axis=1)
        joint: Floats = shown @ add_up(by_joint)
        return joint

    def lost_by_bands(self, observation: str, band_of: Ints) -> float:
        """Bits about what orders tests that are lost where only the band of the volts is told, ``(n_volts,)``."""
        shown, states, about = self._shown(observation)
        groups = self._grouped(states, about)
        bands = np.zeros((int(band_of.max()) + 1, shown.shape[1]))
        np.add.at(bands, band_of, shown)
        return _information(shown, groups) - _information(bands, groups)

    def _shown(self, observation: str) -> tuple[Floats, Floats, list[str]]:
        if observation not in self._kept:
            self._kept[observation] = self._weigh(observation)
        return self._kept[observation]

    def _weigh(self, observation: str) -> tuple[Floats, Floats, list[str]]:
        """P(volts | cell) ``(n_volts, n_cells)`` up to a factor of each cell, P(cell, states of nodes), the nodes.

        A cell is one state of every reading of the set and of the conditions they hang on.
        """
        model = self.model
        seen = list(dict.fromkeys(reading.observation for reading in self._earlier))
        conditions = self._conditions(observation)
        about = [*model.asked, *model.components]
        joint = self._before.joint((*seen, observation, *conditions, *about))
        sizes = joint.shape[: len(joint.shape) - len(about)]
        states = joint.reshape(prod(sizes), -1)
        if reading_model(model, observation).has_channels:
            shown = self._channels_shown(observation, conditions, states.sum(axis=1).reshape(sizes))
        else:
            shown = predicted(model, observation, self.case.meter, self._earlier, conditions, self.grid)
        return shown.reshape(len(shown), -1), states, about

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

    def _few(self, by_joint: Floats) -> Floats:
        """The joint states of the components that matter, and one for all others together: ``(n_cells, n_few)``."""
        flat = by_joint.reshape(len(by_joint), -1)
        order = np.argsort(self.belief.targets)[::-1]
        enough = int(np.searchsorted(np.cumsum(self.belief.targets[order]), 1 - LEFT_OUT)) + 1
        return np.column_stack([flat[:, order[:enough]], flat[:, order[enough:]].sum(axis=1)])

    def _grouped(self, states: Floats, about: Sequence[str]) -> Floats:
        """The joint states of the nodes, those that decide the same together: ``(n_cells, n_groups)``."""
        number: Ints = np.zeros(1, dtype=np.intp)
        for node in about:
            groups = np.array(self.model.compiled.to_decide[node])
            number = (number[:, None] * (groups.max() + 1) + groups).reshape(-1)
        return Sums.of(number, int(number.max()) + 1)(states)


def _information(shown: Floats, groups: Floats) -> float:
    """I(volts ; group): shown ``(n_volts, n_cells)``, groups ``(n_cells, ...)``, together up to a factor."""
    joint = shown @ groups.reshape(len(groups), -1)
    return mutual_information_bits(joint / joint.sum())
