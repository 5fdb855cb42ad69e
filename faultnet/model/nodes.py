"""The nodes a model file describes: components, conditions, rails and observations."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from faultnet.model.volts import ReadingModel

OK = "ok"
"""The first state of every component; in an imported network it keeps the name it has there."""

SET_WORKS = "set_works"
"""The leaf that says whether the set works: it does when no component is faulty."""

When = Mapping[str, tuple[str, ...]]
"""For some of a node's parents, the states in which a written row applies; a parent not named may be in any."""


class ModeId(NamedTuple):
    """A failure mode of a component, written `component.mode`."""

    component: str
    mode: str

    def __str__(self) -> str:
        return f"{self.component}.{self.mode}"

    @classmethod
    def parse(cls, text: str) -> "ModeId":
        component, _, mode = text.partition(".")
        return cls(component, mode)


@dataclass(frozen=True)
class Mode:
    """A way a component fails. share: of the jobs with the confirmed complaint, those this mode causes (0 in an
    imported network, which knows no shares)."""

    id: str
    label: str
    share: float
    mark: str


@dataclass(frozen=True)
class Component:
    """A part that can be repaired or replaced."""

    id: str
    label: str
    short: str
    also: tuple[str, ...]
    modes: tuple[Mode, ...]
    healthy: str = OK

    @property
    def states(self) -> tuple[str, ...]:
        return (self.healthy, *(mode.id for mode in self.modes))


@dataclass(frozen=True)
class Group:
    """Components spoken of together, such as the LED side."""

    id: str
    label: str
    components: tuple[str, ...]


@dataclass(frozen=True)
class Condition:
    """A fact about the set that nobody repairs. odds: factors on the prior odds of failure modes, by state.

    is_asked: whether its state is part of the answer, as the kind of trouble is at intake. age_from_years: from which
    age of a set each state but the first holds, where that is what the condition says. after_repair: its state once
    this set was repaired before, or "".
    """

    id: str
    label: str
    states: tuple[str, ...]
    state_labels: Mapping[str, str]
    shares: tuple[float, ...]
    strength_jobs: float
    odds: Mapping[str, Mapping[ModeId, float]]
    is_asked: bool
    age_from_years: tuple[float, ...]
    after_repair: str
    mark: str

    def words(self, state: str) -> str:
        """A state as people say it."""
        return self.state_labels.get(state, state.replace("_", " "))

    def state_at_age(self, years: float) -> str:
        """The state of a set of this age; "" where the condition is about something else."""
        return self.states[sum(years >= age for age in self.age_from_years)] if self.age_from_years else ""


@dataclass(frozen=True)
class Collateral:
    """A failure mode that takes another component along, with this chance."""

    cause: ModeId
    effect: ModeId
    chance: float
    strength_jobs: float
    mark: str


@dataclass(frozen=True)
class Clause:
    """Part of a rail's rule: when this holds, the rail is in that state. The first clause that fits counts."""

    when: When
    state: str


@dataclass(frozen=True)
class Rail:
    """A hidden link between parts, fixed by its parents."""

    id: str
    label: str
    states: tuple[str, ...]
    given: tuple[str, ...]
    rule: tuple[Clause, ...]


@dataclass(frozen=True)
class Row:
    """A written row of an observation's table. The first row whose `when` fits counts."""

    when: When
    probabilities: tuple[float, ...]
    strength_jobs: float
    mark: str


@dataclass(frozen=True)
class Effect:
    """What a cause alone, in one of these states, does to what is seen: P(state), in the order of the states."""

    cause: str
    states: tuple[str, ...]
    probabilities: tuple[float, ...]
    strength_jobs: float
    mark: str


@dataclass(frozen=True)
class Noisy:
    """A noisy-MAX: the strongest effect of all causes and of a leak is seen; with two states a noisy-OR.

    order: states from weakest to strongest; a cause in a state without an effect leaves the weakest. leak: P(state)
    when no cause is there. with_leak: whether the effects were asked with the rest of the world going on.
    """

    order: tuple[str, ...]
    leak: Effect
    effects: tuple[Effect, ...]
    with_leak: bool


@dataclass(frozen=True)
class Observation:
    """What a test shows: a finding with named states, or a reading in volts that tells the state softly.

    table, noisy: one of them says how likely each state is. no_power_after: states after which the set is not powered
    again before a repair. needs_symptom: whether a part that fails now and then looks healthy while no symptom shows.
    """

    id: str
    label: str
    short: str
    also: tuple[str, ...]
    states: tuple[str, ...]
    state_labels: Mapping[str, str]
    given: tuple[str, ...]
    table: tuple[Row, ...]
    reading: ReadingModel | None
    repeats_independently: bool
    needs_symptom: bool
    no_power_after: tuple[str, ...] = ()
    noisy: Noisy | None = None

    @property
    def written(self) -> tuple[Row | Effect, ...]:
        """Every row of numbers as it stands in the file."""
        return self.table if self.noisy is None else (self.noisy.leak, *self.noisy.effects)
