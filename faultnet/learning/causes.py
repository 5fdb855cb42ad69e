"""Better odds, links and conditions: what is faulty before anything is seen, of sets with the complaint.

Their counts hang together, since jobs are only of sets that were brought in. So they take a step along the exact
gradient, scaled so that it comes to ``(N + s p0) / (sum N + s)`` for numbers that jobs tell directly.
"""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from faultnet.cpt import Floats
from faultnet.learning.complaint import confirmed_column
from faultnet.learning.expect import Expected
from faultnet.learning.hidden import RootPrior
from faultnet.learning.layout import summed
from faultnet.learning.point import Point
from faultnet.model import Model
from faultnet.model.chances import SECOND_FAULT, SHARES, Chances, chances_of

if TYPE_CHECKING:
    from faultnet.learning.maximise import Aim

_LEAST_FACTOR, _MOST_SCALING = 0.05, 0.7
_DIFFERENCE = 1e-4


@dataclass(frozen=True, eq=False)
class Stated:
    """What the prior says of causes: shares, ``(n_modes,)``, and the chance of a second fault, with their strengths."""

    shares: Floats
    second: float
    shares_jobs: float
    second_jobs: float

    @classmethod
    def of(cls, model: Model) -> "Stated":
        """By a model's own numbers."""
        shares, strength = np.array([model.shares[mode] for mode in model.modes]), model.strength
        return cls(shares, model.second_fault_share, strength.shares_jobs, strength.second_fault)


@dataclass(frozen=True, eq=False)
class Causes:
    """Odds, links and conditions: what is faulty before anything is seen, of sets with the complaint."""

    aim: "Aim"
    hidden: RootPrior
    stated: Stated

    @property
    def has_second(self) -> bool:
        """Whether two components can be faulty."""
        return len(self.aim.model.components) > 1

    @cached_property
    def _stated_weights(self) -> Floats:
        """P(coupled conditions) as the model was written: ``(n_conditions,)``."""
        weights: Floats = self.hidden.weights(self.aim.frame.own, ({},))[0]
        return weights

    def _confirmed(self, table: Floats) -> Floats:
        """P(conditions, joint state | confirmed complaint), conditions as written: ``(n_conditions, n_joint)``."""
        weight = self._stated_weights[:, None] * table * self._by_condition(self.aim.confirmed)
        confirmed: Floats = weight / weight.sum()
        return confirmed

    def _by_condition(self, column: Floats) -> Floats:
        """A column over root states, for each state of the coupled conditions: ``(n_conditions, n_joint)``."""
        roots = self.hidden.roots
        n_coupled = roots.layout.n_coupled
        return np.repeat(column.reshape(n_coupled, -1), roots.n_conditions // n_coupled, axis=0)

    def shares_now(self, point: Point, confirmed: Floats | None = None) -> tuple[Floats, float]:
        """Shares of the modes, and the chance of a second fault, given the confirmed complaint."""
        weight = self._confirmed(self.hidden.table(point)) if confirmed is None else confirmed
        by_state = weight.sum(axis=0)
        present = by_state @ self.hidden.roots.is_mode
        return present / present.sum(), float(by_state[self.hidden.roots.n_faults >= 2].sum())

    def chances_at(self, point: Point, jobs: float, strengths: tuple[float, float] | None) -> list[Chances]:
        """Shares and the chance of a second fault as a model says them: given its own confirmed complaint."""
        model = self.aim.model
        confirmed = self._by_condition(confirmed_column(self.aim.history, point, model.confirmed))
        weight = self.hidden.weights(point, ({},))[0][:, None] * self.hidden.table(point) * confirmed
        shares, second = self.shares_now(point, weight / weight.sum())
        stated = {each.id: each for each in chances_of(model) if each.id in (SHARES, SECOND_FAULT)}
        means = {SHARES: tuple(shares.tolist()), SECOND_FAULT: (second, 1 - second)}
        told = dict(zip((SHARES, SECOND_FAULT), strengths or (), strict=False))
        return [
            replace(own, means=means[id_], strength_jobs=told.get(id_, own.strength_jobs + jobs), jobs=jobs)
            for id_, own in stated.items()
        ]

    def log_prior(self, point: Point) -> float:
        """Of the shares and of the chance of a second fault, as of all other chances."""
        shares, several = self.shares_now(point)
        own, second = self.stated.shares, self.stated.second
        total = self.stated.shares_jobs * float(own @ np.log(np.where(own > 0, shares, 1.0)))
        if self.has_second:
            total += self.stated.second_jobs * (second * np.log(several) + (1 - second) * np.log(1 - several))
        return float(total)

    def gradient(self, point: Point, expected: Expected) -> tuple[Floats, Floats, dict[str, Floats], dict[str, Floats]]:
        """Of the aim's value: by log odds; by links, as counts of "follows" and "stays"; by conditions, as counts.

        Last the scale of each: expected modes, exposures of links, jobs.
        """
        frame, history, roots = self.aim.frame, self.aim.history, self.hidden.roots
        table, links = self.hidden.table(point), frame.links(point)
        weights = self.hidden.weights(point, history.givens)
        priors = self.hidden.mixed(weights, table)
        ratio = np.divide(expected.roots, priors, out=np.zeros_like(priors), where=priors > 0)
        n_coupled = roots.layout.n_coupled
        by_world = np.einsum(
            "gcr,gcx->crx", weights.reshape(len(weights), n_coupled, -1), ratio.reshape(len(ratio), n_coupled, -1),
            optimize=True,
        )  # fmt: skip
        data = table * by_world.reshape(table.shape)
        chosen_sets = np.zeros_like(table)
        side_sets = {name: np.zeros(len(s)) for name, s in self.aim.sides(point).items()}
        for each in self.aim.told.chosen(priors, self.aim.sides(point)):
            chosen_sets += (each.ratio @ weights)[:, None] * table * self._by_condition(each.given_root)
            for name, total in side_sets.items():
                total += summed(roots.layout.state_of[name], each.standings, len(total))
        confirmed = self._confirmed(table)
        weight = data - chosen_sets + confirmed * self._pull(confirmed)
        by_odds, by_links = roots.counts(weight, point.odds, links)
        by_links = by_links + self._link_prior(links)
        conditions = frame.conditions(point)
        by_condition, n_jobs = {}, {}
        for name in conditions:
            added = frame.added[frame.place[f"condition.{name}"]]
            told = np.zeros(len(added))
            if name in roots.conditions:
                told = summed(roots.state_of[name], (data - chosen_sets).sum(axis=1), len(added))
            elif name in side_sets:  # sides that a job does not tell of are as in all sets with its complaint
                own = expected.sides[name]
                told = own - own.sum() * side_sets[name] / max(side_sets[name].sum(), 1e-300)
            n_jobs[name] = history.jobs_without(name)
            by_condition[name] = told + added - added.sum() * conditions[name]
        scale = {
            "modes": (chosen_sets + self.stated.shares_jobs * confirmed).sum(axis=0) @ roots.is_mode,
            "faults": np.array([self._faults_spread(chosen_sets, confirmed)]),
            "jobs": np.array([n_jobs[name] for name in conditions]),
            "links": data.sum(axis=0) @ self._causes_of_links,
        }
        return by_odds, by_links, by_condition, scale

    @cached_property
    def _causes_of_links(self) -> Floats:
        """1 where a joint state has the cause of a link: ``(n_joint, n_links)``."""
        modes = list(self.aim.model.modes)
        columns = [self.hidden.roots.is_mode[:, modes.index(link.cause)] for link in self.aim.model.collateral]
        return np.stack(columns, axis=1) if columns else np.empty((len(self.hidden.roots.is_mode), 0))

    def _link_prior(self, links: Floats) -> Floats:
        """What the prior adds to the counts of links: ``(n_links, 2)``, as a gradient by log chance."""
        frame = self.aim.frame
        places = [frame.place[f"collateral.{link.cause}.{link.effect}"] for link in self.aim.model.collateral]
        return np.array([frame.added[place] for place in places]).reshape(len(links), 2)

    def _pull(self, confirmed: Floats) -> Floats:
        """How the prior of shares and second faults weighs joint states with the confirmed complaint."""
        stated, second = self.stated, self.stated.second
        is_mode, n_faults = self.hidden.roots.is_mode, self.hidden.roots.n_faults
        by_state = confirmed.sum(axis=0)
        present = by_state @ is_mode
        by_mode = is_mode @ (stated.shares / np.maximum(present, 1e-300))
        pull: Floats = stated.shares_jobs * (by_mode - n_faults / present.sum())
        if self.has_second:
            several = float(by_state[n_faults >= 2].sum())
            has = n_faults >= 2
            pull = pull + stated.second_jobs * (np.where(has, second / several, (1 - second) / (1 - several)) - 1)
        return pull

    def _faults_spread(self, chosen_sets: Floats, confirmed: Floats) -> float:
        """How fast the gradient falls when all odds grow together."""
        n_faults = self.hidden.roots.n_faults
        jobs, sets, prior = chosen_sets.sum(), chosen_sets.sum(axis=0), confirmed.sum(axis=0)
        spread = 0.0
        if jobs > 0:
            mean = float(sets @ n_faults) / jobs
            spread += float(sets @ (n_faults - mean) ** 2)
        if self.has_second:
            has = n_faults >= 2
            several = float(prior[has].sum())
            covariance = float(prior @ (has * n_faults)) - several * float(prior @ n_faults)
            spread += self.stated.second_jobs * covariance**2 / (several * (1 - several))
        return spread

    def slopes(self, point: Point) -> tuple[Floats, float, Floats, Floats]:
        """Shares and the chance of a second fault, and how they grow with the logarithms of the odds.

        ``(n_modes,)``, a number, ``(n_modes, n_modes)`` (odds first) and ``(n_modes,)``; by central differences.
        """
        shares, second = self.shares_now(point)
        by_odds, by_second = np.empty((len(shares), len(shares))), np.empty(len(shares))
        for mode in range(len(shares)):
            by = np.where(np.arange(len(shares)) == mode, _DIFFERENCE, 0.0)
            up, down = (self.shares_now(Point(point.odds * np.exp(s * by), point.chances)) for s in (1, -1))
            by_odds[mode] = (up[0] - down[0]) / (2 * _DIFFERENCE)
            by_second[mode] = (up[1] - down[1]) / (2 * _DIFFERENCE)
        return shares, second, by_odds, by_second

    def prior_information(self, point: Point) -> Floats:
        """What the prior of shares and second faults says of the logarithms of the odds: ``(n_modes, n_modes)``."""
        shares, second, by_odds, by_second = self.slopes(point)
        total: Floats = self.stated.shares_jobs * (by_odds / np.maximum(shares, 1e-12)) @ by_odds.T
        if self.has_second:
            total = total + self.stated.second_jobs / (second * (1 - second)) * np.outer(by_second, by_second)
        else:  # odds of a single component keep their sum, which sets that came in do not tell
            total = total + np.ones_like(total)
        return total

    def world_scores(self, point: Point) -> tuple[list[Floats], list[tuple[Floats, Floats]]]:
        """How the logarithm of the table grows with those of the odds, ``(n_conditions, n_joint)`` each.

        Of every link the chance that it was followed, and 1 where it could be.
        """
        roots, links = self.hidden.roots, self.aim.frame.links(point)
        shape = roots.n_conditions, len(roots.is_mode)
        by_odds = [np.zeros(shape) for _ in point.odds]
        by_link: list[tuple[Floats, Floats]] = [(np.zeros(shape), np.zeros(shape)) for _ in links]
        for number, component in enumerate(roots.components):
            own = roots.own_chances(component, point.odds)
            states = roots.layout.engine.axes.index[roots.layout.engine.targets[number]].reshape(-1)
            by_itself = np.ones(shape)
            for link, cause, cause_state, state in component.links:
                causes = roots.layout.engine.axes.index[roots.layout.engine.targets[cause]].reshape(-1)
                has_cause = np.broadcast_to(causes == cause_state, shape).astype(float)
                chance = links[link] / (links[link] + (1 - links[link]) * own[:, state])
                follows = has_cause * (states == state) * chance[:, None]
                by_link[link] = follows, has_cause
                by_itself = by_itself * (1 - follows)
            for mode in range(own.shape[1] - 1):
                by_odds[component.modes.start + mode] = by_itself * ((states == mode + 1) - own[:, mode + 1][:, None])
        return by_odds, by_link

    def step(self, point: Point, expected: Expected, damping: float) -> tuple[Floats, dict[str, Floats]]:
        """Better odds, and better links and conditions by the ids of their blocks."""
        by_odds, by_links, by_condition, scale = self.gradient(point, expected)
        logs = np.log(np.maximum(1 + by_odds / np.maximum(scale["modes"], 1e-300), _LEAST_FACTOR))
        if self.has_second:
            together = float(by_odds.sum()) / max(float(scale["faults"][0]), 1e-300)
            logs = logs + np.clip(together, -_MOST_SCALING, _MOST_SCALING)
        odds = point.odds * np.exp(damping * logs)
        if not self.has_second:  # how often one component fails at all cannot be told from sets that came in
            odds = odds * point.odds.sum() / odds.sum()
        frame = self.aim.frame
        moved = {}
        for number, (link, counts) in enumerate(zip(self.aim.model.collateral, by_links, strict=True)):
            id_ = f"collateral.{link.cause}.{link.effect}"
            own = point.chances[frame.place[id_]]
            n = scale["links"][number] + frame.added[frame.place[id_]].sum()
            moved[id_] = _moved(own, (counts - counts.sum() * own) / max(n, 1e-300), damping)
        for (name, counts), n in zip(by_condition.items(), scale["jobs"], strict=True):
            id_ = f"condition.{name}"
            total = n + frame.added[frame.place[id_]].sum()
            moved[id_] = _moved(point.chances[frame.place[id_]], counts / max(total, 1e-300), damping)
        return odds, moved


def _moved(own: Floats, by: Floats, damping: float) -> Floats:
    """Chances moved by so much, none to less than a small part of itself."""
    moved = np.maximum(own + damping * by, _LEAST_FACTOR * own)
    scaled: Floats = moved / moved.sum()
    return scaled
