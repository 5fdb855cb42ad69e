"""Brute force for a whole model: every world of components and conditions in one flat array, from the model's parts.

A second route to the same numbers, made to share nothing with the engine or with how networks are built: rules and rows
are tried as they stand in the file, priors are multiplied from odds, and every answer is a sum over worlds. Only the
solved prior odds and the likelihood of a reading in volts are taken as given; they have tests of their own.

A world is one state for each component and for each condition that is not an odds condition; the odds conditions (age,
events before, ...) only change the prior, so they are the rows of a second axis: weights ``(n_odds_states, n_worlds)``.
"""

from collections.abc import Mapping, Sequence
from functools import cached_property
from itertools import product
from math import log

import numpy as np
import numpy.typing as npt

from faultnet.case import Case, Finding, Reading, RepairOutcome, SoftFinding
from faultnet.case.events import SYMPTOM_SHOWING, Event
from faultnet.cpt import Floats, Ints
from faultnet.model.model import Model
from faultnet.model.nodes import When
from faultnet.model.work import Alteration
from faultnet.readings import Volts, reading_likelihood

Masks = npt.NDArray[np.bool_]


class Worlds:
    """All worlds of a model, the state of every component, condition and rail in each, and their prior."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.odds_conditions = [c.id for c in model.conditions.values() if c.odds]
        self.own = [*model.components, *(c for c in model.conditions if c not in self.odds_conditions)]
        sizes = [len(model.states_of(node)) for node in self.own]
        self.state = dict(zip(self.own, (axis.reshape(-1) for axis in np.indices(sizes)), strict=True))
        self.n = len(self.state[self.own[0]])
        self.n_joint = int(np.prod([len(c.states) for c in model.components.values()]))
        rails = dict(model.rails)
        while rails:  # whichever has its parents ready
            ready = next(r for r in rails.values() if all(g in self.state for g in r.given))
            clause = self.first_row(ready.given, [c.when for c in ready.rule])
            self.state[ready.id] = np.array([ready.states.index(c.state) for c in ready.rule])[clause]
            del rails[ready.id]
        self.broken = sum((self.state[c] > 0).astype(int) for c in model.components)
        self.healthy = self._with_all_ok()
        self.chances = {o: self._chances(o) for o in model.observations}  # (n_worlds, n_states)
        works = self.broken == 0
        self.chances["set_works"] = np.stack([works, ~works], axis=1).astype(float)
        self.odds_states = list(product(*(range(len(model.conditions[c].states)) for c in self.odds_conditions)))
        self.prior = np.stack([self._prior(states) for states in self.odds_states])

    def stride(self, component: str) -> int:
        """How far worlds are apart that differ by one state of a component."""
        sizes = [len(self.model.states_of(node)) for node in self.own]
        return int(np.prod(sizes[self.own.index(component) + 1 :]))

    def _holds(self, when: When) -> Masks:
        holds: Masks = np.ones(self.n, dtype=bool)
        for node, states in when.items():
            names = self.model.states_of(node)
            holds &= np.isin(self.state[node], [names.index(s) for s in states])
        return holds

    def first_row(self, given: Sequence[str], whens: Sequence[When]) -> Ints:
        """The number of the first row that fits, in every world."""
        assert all(node in given for when in whens for node in when)
        return np.stack([self._holds(when) for when in whens]).argmax(axis=0)

    def _chances(self, observation: str) -> Floats:
        seen = self.model.observations[observation]
        rows = np.array([row.probabilities for row in seen.table])
        chances: Floats = rows[self.first_row(seen.given, [row.when for row in seen.table])]
        return chances

    def _with_all_ok(self) -> Ints:
        """For every world the number of the one with the same conditions and nothing faulty."""
        per_joint = self.n // self.n_joint  # components stand first, conditions last and fastest
        return np.arange(self.n) % per_joint

    def _prior(self, odds_states: Sequence[int]) -> Floats:
        """P(odds conditions in these states, world)."""
        model = self.model
        standing = {c: model.conditions[c].states[s] for c, s in zip(self.odds_conditions, odds_states, strict=True)}
        shares = [model.conditions[c].shares[s] for c, s in zip(self.odds_conditions, odds_states, strict=True)]
        weight: Floats = np.full(self.n, np.prod(shares))
        for condition in self.own[len(model.components) :]:
            weight = weight * np.array(model.conditions[condition].shares)[self.state[condition]]
        for component in model.components.values():
            odds = [1.0]
            for mode in model.modes:
                if mode.component == component.id:
                    factors = [model.conditions[c].odds.get(s, {}).get(mode, 1.0) for c, s in standing.items()]
                    odds.append(model.compiled.odds[mode] * float(np.prod(factors)))
            own = np.array(odds) / sum(odds)
            chance = own[self.state[component.id]]
            for link in model.collateral:
                if link.effect.component == component.id:
                    caused = self._holds({link.cause.component: (link.cause.mode,)})
                    taken = self._holds({link.effect.component: (link.effect.mode,)})
                    chance = np.where(caused, (1 - link.chance) * chance + link.chance * taken, chance)
            weight = weight * chance
        return weight


class Answers:
    """What there is to know about a case whose events all count (each observation at most once in an epoch)."""

    def __init__(self, worlds: Worlds, case: Case) -> None:
        self.worlds, self.model = worlds, worlds.model
        self.log_evidence = 0.0
        self.weight = worlds.prior
        for node, state in case.given.items():
            number = self.model.conditions[node].states.index(state)
            if node in worlds.odds_conditions:
                place = worlds.odds_conditions.index(node)
                self._times(np.array([[float(states[place] == number)] for states in worlds.odds_states]))
            else:
                self._times(worlds.state[node] == number)
        if case.with_complaint:
            self._see(Finding(self.model.complaint, self.model.complaint_state))
        waiting: list[Reading] = []
        for event, following in zip(case.events, (*case.events, None)[1:], strict=True):
            if isinstance(event, Reading):
                waiting.append(event)
            elif not isinstance(event, RepairOutcome):
                self._see(event)
            alters = self._alters(event)
            done = [] if following is not None and self._alters(following) == alters else alters
            touched = {a.component for a in done}
            if isinstance(event, RepairOutcome):
                touched = {c for repair in event.repairs for c in self.model.repairs[repair].fixes}
            if any(self._depends(reading.observation, component) for reading in waiting for component in touched):
                self._read(waiting, case)
                waiting = []
            if isinstance(event, RepairOutcome):
                self._repair(event)
            for made in done:
                self._move(made.component, {(made.mode, made.to): made.chance})
        self._read(waiting, case)

    def _alters(self, event: Event) -> list[Alteration]:
        """What the test that shows this alters."""
        seen = getattr(event, "observation", None)
        return [made for test in self.model.tests.values() if seen in test.reveals for made in test.alters]

    def _depends(self, observation: str, component: str) -> bool:
        """Whether what an observation shows is another with the component in another state and all else the same."""
        worlds = self.worlds
        healthy = np.arange(worlds.n) - worlds.state[component] * worlds.stride(component)
        chances = worlds.chances[observation]
        return bool(np.any(chances != chances[healthy]))

    # -- events ----------------------------------------------------------------------------------------------------

    def _times(self, column: Floats | Masks) -> None:
        weight = self.weight * column
        total = float(weight.sum())
        self.weight = weight / total
        self.log_evidence += log(total)

    def _showing(self, event: Finding | SoftFinding | Reading) -> float:
        needed = self.model.observations[event.observation].needs_symptom
        return SYMPTOM_SHOWING[event.symptom] if needed else 1.0

    def _mixed(self, column: Floats, showing: float) -> Floats:
        return showing * column + (1 - showing) * column[self.worlds.healthy]

    def _see(self, event: Event) -> None:
        assert isinstance(event, Finding | SoftFinding)
        seen = self.model.observations[event.observation]
        told = {event.state: 1.0} if isinstance(event, Finding) else dict(event.likelihoods)
        column = self.worlds.chances[seen.id] @ np.array([told.get(state, 0.0) for state in seen.states])
        self._times(self._mixed(column, self._showing(event)))

    def _read(self, readings_taken: Sequence[Reading], case: Case) -> None:
        volts: dict[float, list[Volts]] = {}
        for taken in readings_taken:
            own = Volts(taken.observation, taken.reached, taken.hold, case.meter)
            volts.setdefault(self._showing(taken), []).append(own)
        for showing, readings in volts.items():
            likelihood = reading_likelihood(self.model, readings, case.nominal)
            column = np.zeros(self.worlds.n)
            for states in np.ndindex(*likelihood.table.shape):
                term = np.full(self.worlds.n, float(likelihood.table[states]))
                for node, state in zip(likelihood.nodes, states, strict=True):
                    leaf = node in self.model.observations
                    term = term * (self.worlds.chances[node][:, state] if leaf else self.worlds.state[node] == state)
                column += term
            self._times(self._mixed(column, showing))

    def _repair(self, outcome: RepairOutcome) -> None:
        for repair in (self.model.repairs[name] for name in outcome.repairs):
            for component in (self.model.components[name] for name in repair.fixes):
                of_parts = sum(mode.share for mode in component.modes)
                moves = {(mode.id, "ok"): repair.success for mode in component.modes}
                for mode in component.modes:
                    moves["ok", mode.id] = repair.arrives_faulty * mode.share / of_parts
                self._move(component.id, moves)
        self._times(self.worlds.chances["set_works"][:, 0 if outcome.works else 1])

    def _move(self, component: str, moves: Mapping[tuple[str, str], float]) -> None:
        """The weight of worlds with a component in one state goes to those with another, all else the same."""
        states, moved = self.model.states_of(component), self.weight.copy()
        for (before, after), chance in moves.items():
            there = np.flatnonzero(self.worlds.state[component] == states.index(before))
            step = (states.index(after) - states.index(before)) * self.worlds.stride(component)
            moved[:, there + step] += chance * self.weight[:, there]
            moved[:, there] -= chance * self.weight[:, there]
        self.weight = moved

    # -- answers ---------------------------------------------------------------------------------------------------

    @cached_property
    def by_world(self) -> Floats:
        """P(world): ``(n_worlds,)``, asked for once everything was entered."""
        summed: Floats = self.weight.sum(axis=0)
        return summed

    def marginal(self, node: str) -> Floats:
        """P(state of any node): ``(n_states,)``."""
        if node in self.worlds.odds_conditions:
            place = self.worlds.odds_conditions.index(node)
            own = np.array([states[place] for states in self.worlds.odds_states])
            return np.bincount(own, self.weight.sum(axis=1), len(self.model.conditions[node].states))
        if node in self.worlds.chances:
            return self.by_world @ self.worlds.chances[node]
        return np.bincount(self.worlds.state[node], self.by_world, len(self.model.states_of(node)))

    def joint_of_components(self) -> Floats:
        """P(joint state of all components), the last component fastest."""
        return self.by_world.reshape(self.worlds.n_joint, -1).sum(axis=1)

    def outcomes(self, observations: Sequence[str]) -> Floats:
        """P(joint outcome, joint state of all components): ``(n_outcomes, n_joint)``."""
        columns = [self.by_world]
        for observation in observations:
            chances = self.worlds.chances[observation]
            columns = [c * chances[:, s] for c in columns for s in range(chances.shape[1])]
        return np.stack([c.reshape(self.worlds.n_joint, -1).sum(axis=1) for c in columns])

    def gain_bits(self, observations: Sequence[str]) -> float:
        """I(outcome ; joint state of all components)."""
        return information_bits(self.outcomes(observations))

    def gain_repair_bits(self, observations: Sequence[str]) -> float:
        """I(outcome ; which components need work)."""
        per_joint = self.worlds.n // self.worlds.n_joint
        work = np.zeros(self.worlds.n_joint, dtype=int)
        for component in self.model.components:
            work = 2 * work + (self.worlds.state[component][::per_joint] > 0)
        groups = 2 ** len(self.model.components)
        return information_bits(np.stack([np.bincount(work, row, groups) for row in self.outcomes(observations)]))


def information_bits(table: Floats) -> float:
    """sum p(x, y) log2 [p(x, y) / p(x) p(y)] (Cover & Thomas, eq. 2.28)."""
    rows, columns = table.sum(axis=1, keepdims=True), table.sum(axis=0, keepdims=True)
    there = table > 0
    return float((table[there] * np.log2(table[there] / (rows * columns)[there])).sum())
