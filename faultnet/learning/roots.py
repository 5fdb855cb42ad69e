"""What the parts of a set are like before anything is seen: odds of failure modes, links, and conditions, as one table.

Jobs are sets that were brought in with the complaint, so their likelihood is *given the complaint*, and the gradient of
these numbers has a part for it: what the jobs say, less what the model expects of sets with the complaint.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.learning.layout import Layout
from faultnet.model import Model
from faultnet.model.faults import mode_indicator


@dataclass(frozen=True, eq=False)
class Component:
    """How the odds of a component hang on the coupled conditions and on one mode of another component.

    factors: on the odds of each of its modes in each state of the conditions, ``(n_conditions, n_modes)``. modes: where
    its modes stand among all. links: number of each link into it, the component and state of its cause, its own state.
    """

    factors: Floats
    modes: slice
    links: tuple[tuple[int, int, int, int], ...]


@dataclass(frozen=True, eq=False)
class Roots:
    """The layout of a model's roots. Coupled conditions run along the first axis, those that leaves hang on first."""

    layout: Layout

    @property
    def model(self) -> Model:
        return self.layout.model

    @cached_property
    def conditions(self) -> tuple[str, ...]:
        """The coupled conditions, in the order of the first axis."""
        axes, engine = self.layout.engine.axes, self.layout.engine
        coupled = [axes.sides[side] for side in sorted(engine.coupled)]
        return (*self.layout.coupled, *(name for name in coupled if name not in self.layout.coupled))

    @cached_property
    def sizes(self) -> tuple[int, ...]:
        return tuple(len(self.model.states_of(name)) for name in self.conditions)

    @cached_property
    def n_conditions(self) -> int:
        """Joint states of the coupled conditions."""
        return int(np.prod(self.sizes, dtype=np.intp))

    @cached_property
    def state_of(self) -> Mapping[str, Ints]:
        """Of each coupled condition its state: ``(n_conditions,)``."""
        numbers = np.unravel_index(np.arange(self.n_conditions), self.sizes or (1,))
        return dict(zip(self.conditions, numbers, strict=False))

    @cached_property
    def components(self) -> tuple[Component, ...]:
        model, names = self.model, list(self.model.components)
        found, first = [], 0
        for component in model.components.values():
            factors = np.ones((self.n_conditions, len(component.modes)))
            for condition in self.conditions:
                for state, odds in model.conditions[condition].odds.items():
                    here = self.state_of[condition] == model.states_of(condition).index(state)
                    for number, mode in enumerate(component.modes):
                        factors[here, number] *= next((f for m, f in odds.items() if m == (component.id, mode.id)), 1.0)
            links = tuple(
                (
                    number,
                    names.index(link.cause.component),
                    model.states_of(link.cause.component).index(link.cause.mode),
                    component.states.index(link.effect.mode),
                )
                for number, link in enumerate(model.collateral)
                if link.effect.component == component.id
            )
            found.append(Component(factors, slice(first, first + len(component.modes)), links))
            first += len(component.modes)
        return tuple(found)

    @cached_property
    def is_mode(self) -> Floats:
        """1 where a joint state has a failure mode: ``(n_joint, n_modes)``."""
        return mode_indicator(self.model).astype(float)

    @cached_property
    def n_faults(self) -> Floats:
        """Faulty components of each joint state: ``(n_joint,)``."""
        faults: Floats = self.is_mode.sum(axis=1)
        return faults

    @cached_property
    def _indicators(self) -> Floats:
        """1 where a joint state has a mode, then 1 where it has a link's cause, then cause and effect."""
        columns = [self.is_mode]
        modes = list(self.model.modes)
        for link in self.model.collateral:
            cause, effect = self.is_mode[:, modes.index(link.cause)], self.is_mode[:, modes.index(link.effect)]
            columns += [cause[:, None], (cause * effect)[:, None]]
        return np.ascontiguousarray(np.hstack(columns))

    def weights_of(self, conditions: Mapping[str, Floats], given: Mapping[str, str]) -> Floats:
        """P(state of the coupled conditions, and what is given of them): ``(n_conditions,)``."""
        weights: Floats = np.ones(self.n_conditions)
        for name in self.conditions:
            chances = conditions[name]
            if name in given:
                chances = chances * (np.arange(len(chances)) == self.model.states_of(name).index(given[name]))
            weights = weights * chances[self.state_of[name]]
        return weights

    def own_chances(self, component: Component, odds: Floats) -> Floats:
        """P(state | conditions) of a component by itself: ``(n_conditions, n_states)``."""
        weights = np.hstack([np.ones((self.n_conditions, 1)), component.factors * odds[component.modes]])
        chances: Floats = weights / weights.sum(axis=1, keepdims=True)
        return chances

    def table(self, odds: Floats, links: Floats) -> Floats:
        """P(joint state | conditions): ``(n_conditions, n_joint)``."""
        sizes = self.layout.engine.axes.target_sizes
        total: Floats = np.ones((self.n_conditions, *(1,) * len(sizes)))
        for number in _causes_first(self.components):
            component = self.components[number]
            own = self.own_chances(component, odds)
            shape = [1] * len(sizes)
            shape[number] = sizes[number]
            factor = own.reshape(len(own), *shape)
            for link, cause, cause_state, state in component.links:
                taken = np.zeros(shape)
                taken.reshape(-1)[state] = links[link]
                has_cause = np.zeros(sizes[cause])
                has_cause[cause_state] = 1.0
                along = has_cause.reshape([-1 if axis == cause else 1 for axis in range(len(sizes))])
                factor = factor * (1 - links[link] * along) + taken * along
            total = total * factor
        return np.ascontiguousarray(np.broadcast_to(total, (self.n_conditions, *sizes))).reshape(self.n_conditions, -1)

    def counts(self, weight: Floats, odds: Floats, links: Floats) -> tuple[Floats, Floats]:
        """How the odds and the links would change the logarithm of the table, summed over worlds of this weight.

        weight: ``(n_conditions, n_joint)``, signed. The derivatives by log odds, ``(n_modes,)``, and by link for
        "follows" and for "stays" as expected counts, ``(n_links, 2)``.
        """
        tallied = weight @ self._indicators
        present, linked = tallied[:, : len(odds)].copy(), tallied[:, len(odds) :].reshape(len(weight), -1, 2)
        exposed = np.repeat(weight.sum(axis=1)[:, None], len(self.components), axis=1)
        by_link = np.zeros((len(links), 2))
        for number, component in enumerate(self.components):
            own = self.own_chances(component, odds)
            for link, _, _, state in component.links:
                cause, both = linked[:, link, 0], linked[:, link, 1]
                chance = links[link] + (1 - links[link]) * own[:, state]
                follows = both * links[link] / chance
                by_link[link] = follows.sum(), (cause - follows).sum()
                present[:, component.modes.start + state - 1] -= follows
                exposed[:, number] -= follows
            present[:, component.modes] -= exposed[:, number, None] * own[:, 1:]
        gradient: Floats = present.sum(axis=0)
        return gradient, by_link


def _causes_first(components: Sequence[Component]) -> list[int]:
    """Numbers of components, those that others are linked to before these."""
    order: list[int] = []
    while len(order) < len(components):
        for number, component in enumerate(components):
            if number not in order and all(cause in order for _, cause, _, _ in component.links):
                order.append(number)
    return order
