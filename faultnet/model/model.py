"""A model: a complaint (or none of its own), the set behind it, and everything that can be done about it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from faultnet.model.neighbours import Comparison, Onward, Refusal
from faultnet.model.nodes import SET_WORKS, Collateral, Component, Condition, Group, ModeId, Observation, Rail
from faultnet.model.volts import NominalRange
from faultnet.model.work import BenchTest, Repair, SetupChange

if TYPE_CHECKING:
    from faultnet.model.compiled import Compiled
    from faultnet.model.pooled import Pooled


@dataclass(frozen=True)
class Strength:
    """How many jobs a number counts for where the file says nothing else."""

    shares_jobs: float
    rows_jobs: float
    second_fault_jobs: float | None = None

    @property
    def second_fault(self) -> float:
        """Of the chance of a second fault, as of the shares where nothing else is said."""
        return self.shares_jobs if self.second_fault_jobs is None else self.second_fault_jobs


@dataclass(frozen=True)
class Model:
    """A model file, read and checked. `root_odds` are the solved priors when they are already known.

    complaint: the observation the set was brought in for, "" in a model that has none of its own.
    nominal: None in a model without readings. refusals: by what decides whether the model fits the set.
    onward: which model goes on from here; comparison: how to notice that another complaint fits better.
    engine: which exact engine to compile, `auto`, `table` or `tree`.
    tables: of an imported network the tables of all its nodes, used as they are; None in a model of our own. also_seen:
    its components and rails as observations, since it may be told of any node.
    names: by which names somebody who knows calls the cause, where jobs come with such names (`named`).
    jobs_behind: how many past jobs are behind each of its numbers (`chances.Chances`), none of one as written.
    pooled: shares of groups of jobs besides the shop's; shares_of: the group whose shares these are, "" for the
    whole shop's.
    notice: what to tell beside its answers, such as that a version does not fit its file any more.
    file and digest: where the model was read from, and the first hexadecimal digits of the SHA-256 of what stood there;
    models that say the same are equal wherever they were read.
    """

    id: str
    title: str
    about: str
    version: str
    complaint: str
    complaint_state: str
    confirmed_by: Mapping[str, str]
    second_fault_share: float
    strength: Strength
    components: Mapping[str, Component]
    groups: Mapping[str, Group]
    conditions: Mapping[str, Condition]
    collateral: tuple[Collateral, ...]
    rails: Mapping[str, Rail]
    observations: Mapping[str, Observation]
    nominal: NominalRange | None
    tests: Mapping[str, BenchTest]
    repairs: Mapping[str, Repair]
    setups: Mapping[tuple[str, str], SetupChange]
    root_odds: tuple[float, ...] | None = None
    refusals: Mapping[str, Refusal] = field(default_factory=dict)
    onward: Onward | None = None
    comparison: Comparison | None = None
    engine: str = "auto"
    tables: Mapping[str, tuple[tuple[float, ...], ...]] | None = None
    also_seen: Mapping[str, Observation] = field(default_factory=dict)
    names: Mapping[str, tuple[ModeId, ...]] = field(default_factory=dict)
    jobs_behind: Mapping[str, float] = field(default_factory=dict)
    pooled: "Pooled | None" = None
    shares_of: str = ""
    notice: str = ""
    file: str = field(default="", compare=False)
    digest: str = field(default="", compare=False)

    def __hash__(self) -> int:
        """By names alone: equal models have them in common, and their numbers are in mappings."""
        return hash((self.id, self.version, self.shares_of))

    @cached_property
    def modes(self) -> tuple[ModeId, ...]:
        """Every failure mode, in the order of the file."""
        return tuple(ModeId(c.id, mode.id) for c in self.components.values() for mode in c.modes)

    @cached_property
    def shares(self) -> Mapping[ModeId, float]:
        return {ModeId(c.id, mode.id): mode.share for c in self.components.values() for mode in c.modes}

    @property
    def brought_in_for(self) -> tuple[str, str] | None:
        """The first finding of a case, as node and state: the complaint, or that the set does not work.

        None in an imported network, which says nothing of sets that are brought in.
        """
        if self.is_imported:
            return None
        return (self.complaint, self.complaint_state) if self.complaint else (SET_WORKS, "no")

    @property
    def confirmed(self) -> Mapping[str, str]:
        """What the shares are given: what the set was brought in for, and the findings that confirm it."""
        return {**dict([self.brought_in_for] if self.brought_in_for else []), **self.confirmed_by}

    @property
    def is_imported(self) -> bool:
        """Whether this is a network from elsewhere, which has no shares, rules, complaint or repairs."""
        return self.tables is not None

    @cached_property
    def visible(self) -> Mapping[str, Observation]:
        """Everything a finding can be about: the observations, and of an imported network every node."""
        return {**self.observations, **self.also_seen}

    @cached_property
    def names_of_observations(self) -> Mapping[str, str]:
        """Every name an observation can be typed under, with its id."""
        names: dict[str, str] = {}
        for seen in self.visible.values():
            names.update(dict.fromkeys((seen.short, *seen.also), seen.id))
        return names | {id_: id_ for id_ in self.visible}

    @cached_property
    def names_of_repairs(self) -> Mapping[str, str]:
        """Every name a repair can be typed under, with its id."""
        names = {name: repair.id for repair in self.repairs.values() for name in repair.also}
        return names | {id_: id_ for id_ in self.repairs}

    @cached_property
    def revealed_by(self) -> Mapping[str, BenchTest]:
        """The test behind each observation that has one."""
        return {observation: test for test in self.tests.values() for observation in test.reveals}

    @cached_property
    def asked(self) -> tuple[str, ...]:
        """The conditions whose state is part of the answer."""
        return tuple(c.id for c in self.conditions.values() if c.is_asked)

    @cached_property
    def compiled(self) -> "Compiled":
        """The network and engine of this model, made on first use."""
        from faultnet.model.compiled import compile_model

        return compile_model(self)

    @property
    def aim(self) -> str:
        """What tests are to tell, in words."""
        asked = " and ".join(f"the {self.conditions[condition].label}" for condition in self.asked)
        return asked or "which part needs work"

    def mode_label(self, mode: ModeId) -> str:
        """The words for a failure mode: "LED strips: open"."""
        component = self.components[mode.component]
        return next(f"{component.label}: {m.label}" for m in component.modes if m.id == mode.mode)

    def states_of(self, node: str) -> tuple[str, ...]:
        """The states of a component, condition, rail or observation."""
        for group in (self.observations, self.components, self.conditions, self.rails):
            if node in group:
                states: tuple[str, ...] = group[node].states
                return states
        raise KeyError(node)
