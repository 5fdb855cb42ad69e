"""A set on the bench of which the truth is known: what tests show of it, and what repairs change."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from faultnet.case.steps import replaced
from faultnet.model import Model
from faultnet.network import Node
from faultnet.readings import Meter
from faultnet.simulate.volts import drawn_volts


@dataclass(eq=False)
class SetOnBench:
    """states: of components and conditions, by node; nominal: the set's own loaded volts; rng: its chance."""

    model: Model
    states: dict[str, int]
    nominal: float
    rng: np.random.Generator
    _seen: dict[tuple[str, bool], int] = field(default_factory=dict)

    @property
    def faults(self) -> tuple[str, ...]:
        """Faulty components with their modes, `strips.open`."""
        return tuple(
            f"{c.id}.{c.states[self.states[c.id]]}" for c in self.model.components.values() if self.states[c.id] > 0
        )

    @property
    def works(self) -> bool:
        return not self.faults

    def see(self, observation: str, *, showing: bool = True) -> str:
        """The state that a test shows. Made again on a set that nothing was changed on, it shows the same."""
        key = (observation, showing)
        node = self.model.compiled.network[observation]
        if key not in self._seen:
            self._seen[key] = self._draw(node, showing=showing)
        return node.states[self._seen[key]]

    def read(self, observation: str, state: str, hold: str, meter: Meter, n_points: int) -> tuple[float, ...]:
        """Volts at so many points of one feed in a state."""
        seen, rails = self.model.observations[observation], self.model.nominal
        assert seen.reading is not None
        assert rails is not None
        at = {c: self.model.conditions[c].states[self.states[c]] for c in seen.reading.given}
        first = drawn_volts(seen.reading, state, hold, at, self.nominal, rails, meter, self.rng)
        digits = 1 if first < 200 else 0
        noise = float(meter.sd_volts(np.array(first))) / 4
        shown = (first + noise * self.rng.standard_normal() * (n > 0) for n in range(n_points))
        return tuple(abs(round(volts, digits)) for volts in shown)

    def alter(self, test: str) -> None:
        """What making a test does to the set by chance."""
        for made in self.model.tests[test].alters:
            component = self.model.components[made.component]
            if component.states[self.states[component.id]] == made.mode and self.rng.random() < made.chance:
                self._set(component.id, component.states.index(made.to))

    def repair(self, repairs: Sequence[str]) -> bool:
        """Make repairs at once; whether the set works after them."""
        for repair in repairs:
            for part in self.model.repairs[repair].fixes:
                row = replaced(self.model, repair, part)[self.states[part]]
                self._set(part, int(self.rng.choice(len(row), p=row)))
        return self.works

    def _set(self, component: str, state: int) -> None:
        """A component is in another state now; what hangs on it is seen anew."""
        if self.states[component] != state:
            self.states[component] = state
        moved = self.model.compiled.moved_with
        self._seen = {key: found for key, found in self._seen.items() if component not in moved[key[0]]}

    def _draw(self, node: Node, *, showing: bool) -> int:
        known: dict[str, int] = dict(self.states)
        if not showing:
            known |= dict.fromkeys(self.model.components, 0)
        return self._state(node, known)

    def _state(self, node: Node, known: dict[str, int]) -> int:
        """The state of a node, from those before it, which are worked out as far as they are rules."""
        for parent in node.parents:
            if parent not in known:
                known[parent] = self._state(self.model.compiled.network[parent], known)
        chances = node.cpt.chances([np.array([known[p]]) for p in node.parents])[0]
        return int((self.rng.random() * chances.sum() > np.cumsum(chances)[:-1]).sum())
