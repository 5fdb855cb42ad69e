"""Better numbers from expected counts (the M-step).

A number's counts are added to those it starts with: ``(N + s p0) / (sum N + s)``. Odds, links and conditions, which
hang together, are in `causes`.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from faultnet.cpt import Floats
from faultnet.learning.causes import Causes, Stated
from faultnet.learning.complaint import Chosen, Told
from faultnet.learning.expect import Expected, History
from faultnet.learning.hidden import RootPrior, TablePrior
from faultnet.learning.noisy_counts import effect_counts
from faultnet.learning.point import NORMAL, OTHER, WHATS, Frame, Point, frame_of, written_id
from faultnet.model import Model
from faultnet.model.chances import Chances


@dataclass(frozen=True, eq=False)
class Aim:
    """What is maximised: the log likelihood of a history given the complaint, with the prior of every number.

    apart: counts that need no inference, laid out as the frame's chances. confirmed: P(findings that confirm the
    complaint, and the complaint | root state), ``(n_roots,)``, by the model as it was written: what its shares are
    given.
    """

    history: History
    told: Told
    apart: Floats
    confirmed: Floats

    @property
    def frame(self) -> Frame:
        """Where each number stands."""
        return self.history.frame

    @property
    def model(self) -> Model:
        """The model as it was written."""
        return self.frame.model

    def by(self, model: Model) -> "Aim":
        """The same with a model that says the same numbers with other strengths."""
        frame = frame_of(model, self.frame.usual)
        history = replace(self.history, frame=frame, hidden=self.history.hidden.by(frame))
        return replace(self, history=history)

    @cached_property
    def fixed(self) -> frozenset[str]:
        """Observations whose rows are not learned: what every set was brought in with."""
        return frozenset([self.model.complaint]) - {""}

    # -- how good ----------------------------------------------------------------------------------------------------

    def value(self, point: Point, expected: Expected) -> float:
        """Log likelihood given the complaint, plus the prior of the numbers (up to a constant), in nats."""
        return self.log_likelihood(point, expected) + self.log_prior(point)

    def log_likelihood(self, point: Point, expected: Expected) -> float:
        """Of the jobs, given the complaint, in nats."""
        possible = np.isfinite(expected.log_evidence)
        total = float(self.history.program.jobs[possible] @ expected.log_evidence[possible])
        total -= sum(chosen.log_chance for chosen in self._chosen(point))
        return total + float(self.apart @ np.log(np.where(self.apart > 0, point.chances, 1.0)))

    def log_prior(self, point: Point) -> float:
        """Strength times log chance, summed: the Dirichlet on the scale on which its mode is its mean."""
        added = self.frame.added
        total = float(added @ np.log(np.where(added > 0, point.chances, 1.0)))
        return total + (self.causes.log_prior(point) if isinstance(self.history.hidden, RootPrior) else 0.0)

    def _chosen(self, point: Point) -> list[Chosen]:
        return self.told.chosen(self.history.hidden.prior(point, self.history.givens), self.sides(point))

    def sides(self, point: Point) -> dict[str, Floats]:
        conditions = self.frame.conditions(point)
        return {name: conditions[name] for name in self.history.layout.free}

    # -- better ------------------------------------------------------------------------------------------------------

    def improved(self, point: Point, expected: Expected, damping: float = 1.0) -> Point:
        """Numbers that are better than these. damping: how much of the usual step odds, links and conditions take."""
        counts = self.apart + self.counts(point, expected)
        added = self.frame.added
        totals = self.frame.totals(counts + added)
        scaled = (counts + added) / np.where(totals > 0, totals, 1.0)[self.frame.block_of]
        chances = np.where((totals > 0)[self.frame.block_of], scaled, point.chances)
        if not isinstance(self.history.hidden, RootPrior):
            return Point(point.odds, chances)
        odds, moved = self.causes.step(point, expected, damping)
        for id_, own in moved.items():
            chances[self.frame.place[id_]] = own
        return Point(odds, chances)

    def counts(self, point: Point, expected: Expected) -> Floats:
        """Expected counts of rows, repairs and tables, laid out as the frame's chances."""
        counts: Floats = np.zeros(len(self.apart))
        for leaf, rows in expected.rows.items():
            if leaf in self.learned_leaves:
                seen = self.model.observations[leaf]
                if seen.noisy is not None:
                    rows = effect_counts(self.model, seen, self.frame.rows(point, leaf), rows)
                counts[self.frame.rows_place(leaf)] += rows.reshape(-1)
        for (repair, _), changed in expected.changes.items():
            cured, spoilt = self.frame.place[f"success.{repair}"], self.frame.place[f"arrives_faulty.{repair}"]
            counts[cured] += changed[1:, 0].sum(), np.trace(changed[1:, 1:])
            counts[spoilt] += changed[0, 1:].sum(), changed[0, 0]
        for leaf, rows in expected.blanks.items():
            by_state = rows.sum(axis=0)
            for what, has in zip(WHATS, (self.frame.is_normal(leaf), ~self.frame.is_normal(leaf)), strict=True):
                counts[self.frame.place[written_id(leaf, what)].start + 1] += by_state[has].sum()
        if isinstance(self.history.hidden, TablePrior):
            for node, rows in self.history.hidden.counted(expected.roots[0]).items():
                counts[self.frame.rows_place(node)] += rows.reshape(-1)
        return counts

    def written(self, point: Point) -> dict[str, tuple[float, float]]:
        """Of the usual leaves, how often a normal result is written down, and how often another."""
        chance = self.frame.chance
        return {
            leaf: (chance(point, written_id(leaf, NORMAL)), chance(point, written_id(leaf, OTHER)))
            for leaf in self.frame.usual
        }

    def chances_at(
        self, point: Point, expected: Expected, strengths: tuple[Floats, tuple[float, float]] | None = None
    ) -> tuple[Chances, ...]:
        """The numbers as a model says them, each with the jobs behind it.

        strengths: of the frame's blocks, then of the shares and of the chance of a second fault; without them each has
        its own with the jobs behind it added, as if every job told all.
        """
        counts = self.apart + self.counts(point, expected)
        for leaf, rows in expected.blanks.items():
            if leaf in self.plain_leaves:
                counts[self.frame.rows_place(leaf)] -= rows.reshape(-1)  # a blank is no job behind a number
        jobs = self.frame.totals(counts)
        learned = []
        for number, block in enumerate(self.frame.blocks):
            if block.kind == "written":
                continue
            means = tuple(point.chances[self.frame.place[block.id]].tolist())
            n = self._jobs_behind(block, expected) if block.kind in ("condition", "collateral") else float(jobs[number])
            strength = block.strength_jobs + n if strengths is None else float(strengths[0][number])
            learned.append(replace(block, means=means, strength_jobs=strength, jobs=n))
        if isinstance(self.history.hidden, RootPrior):
            learned += self.causes.chances_at(point, float(self.told.jobs.sum()), strengths and strengths[1])
        return tuple(learned)

    def _jobs_behind(self, block: Chances, expected: Expected) -> float:
        """Jobs that a condition or a link is learned from."""
        name = block.id.partition(".")[2]
        if block.kind == "condition":
            told = expected.sides.get(name)
            return self.history.jobs_without(name) if told is None else min(told.sum(), self.history.jobs_without(name))
        is_mode = self.history.hidden.roots.is_mode if isinstance(self.history.hidden, RootPrior) else np.empty((0, 0))
        cause = next(n for n, mode in enumerate(self.model.modes) if name.startswith(f"{mode}."))
        by_state = expected.roots.sum(axis=0).reshape(-1, self.history.layout.n_joint).sum(axis=0)
        return float(by_state @ is_mode[:, cause])

    @cached_property
    def learned_leaves(self) -> frozenset[str]:
        """Leaves whose rows can be learned."""
        network = self.history.layout.engine.network
        if self.model.is_imported:
            leaves, tables = self.history.layout.engine.leaves, self.model.tables or {}
            return frozenset(leaf for leaf in leaves if leaf in tables and not network[leaf].is_rule)
        return frozenset(self.model.observations) - self.fixed

    @property
    def plain_leaves(self) -> frozenset[str]:
        """Those of them that have a table of their own."""
        noisy = {seen.id for seen in self.model.observations.values() if seen.noisy is not None}
        return self.learned_leaves - noisy

    @cached_property
    def causes(self) -> Causes:
        """The part of odds, links and conditions."""
        assert isinstance(self.history.hidden, RootPrior)
        return Causes(self, self.history.hidden, Stated.of(self.model))
