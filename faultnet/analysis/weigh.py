"""Jobs weighed: how likely they are at every share of a fault, by all that was seen, tried and written down of each.

A label says which part was replaced; a job says how sure that is. What sets with a fault are like is taken from the
model, and how unsure its numbers are from draws of them, so that what nobody measured widens the answer.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from faultnet.analysis.targets import NOTHING, SEVERAL, Target
from faultnet.case import Case
from faultnet.cpt import Floats
from faultnet.errors import UsageProblem
from faultnet.learning.blanks import looked_at
from faultnet.learning.hidden import RootPrior
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Frame, Point
from faultnet.learning.prepare import aim_at
from faultnet.learning.said import said_and_usual
from faultnet.model import Model
from faultnet.model.chances import SECOND_FAULT, SHARES, chances_of
from faultnet.model.faults import Bools
from faultnet.patterns import Patterns
from faultnet.patterns.split import Split, split
from faultnet.statistics.shares import OverShares, grid, of_doubtful

N_DRAWS = 12
"""Draws of the model's numbers."""

_WRITTEN_STEPS = 8


@dataclass(frozen=True, eq=False)
class Weighed:
    """Jobs at some numbers and at draws of them.

    targets: what is asked of each. groups: patterns and what they were counted by.
    said: P(target | all that the job says), usual: P(target | how the set was brought in), at the model's own numbers
    first, then at draws: ``(1 + n_draws, n_patterns, n_targets)``. n_jobs: weighed; n_impossible: left out since the
    model holds them impossible. by_group: whether sets are taken as their own group's, which the model has.
    """

    targets: tuple[Target, ...]
    groups: Split
    said: Floats
    usual: Floats
    n_jobs: float
    n_impossible: float

    @property
    def values(self) -> tuple[tuple[str, ...], ...]:
        """The values of the columns counted by, as the groups of likelihoods."""
        return self.groups.values

    def likelihoods(self, target: int, draw: int, nodes: Floats | None = None) -> OverShares:
        """Log likelihoods of the shares of a target, of all jobs and then of every group: ``(1 + n_groups, n_nodes)``.

        draw: 0 for the model's own numbers.
        """
        pattern, group, jobs = self.groups.pattern, self.groups.value, self.groups.jobs
        said, usual = self.said[draw, pattern, target], self.usual[draw, pattern, target]
        kept = ~np.isnan(said)
        told = said[kept], usual[kept], jobs[kept]
        nodes = grid(self.n_jobs) if nodes is None else nodes
        everybody = of_doubtful(*told, np.zeros(int(kept.sum()), dtype=np.intp), 1, nodes)
        by_group = of_doubtful(*told, group[kept], len(self.values), nodes)
        return OverShares(nodes, np.concatenate([everybody.values, by_group.values]))


def weigh(
    model: Model,
    patterns: Patterns,
    targets: Sequence[Target],
    *,
    usual: Case | None = None,
    n_draws: int = N_DRAWS,
    seed: int = 0,
) -> Weighed:
    """Jobs weighed by a model's numbers. usual: the shop's meters; the rest as of `Weighed`.

    UsageProblem: the model is too large, or imported and so without shares.
    """
    if model.is_imported:
        raise UsageProblem(f"{model.id} is an imported network: it has no shares that jobs could be weighed by")
    groups = split(patterns)
    leaves = looked_at(model, groups.patterns)
    whole = aim_at(model, groups.patterns, usual, usual_leaves=leaves)
    aim, point = _as_written(whole)
    rng = np.random.default_rng(seed)
    points = [point, *(_drawn(aim.frame, point, rng) for _ in range(n_draws))]
    every = np.arange(len(groups.patterns))
    columns = _columns(model, targets, aim)
    found = [said_and_usual(aim, each, every, columns) for each in points]
    said, before = (np.stack([each[n] for each in found]) for n in (0, 1))
    total = said[:, :, -1:]
    possible: Bools = np.all(total[:, :, 0] > 0, axis=0)
    said = np.where(possible[None, :, None], np.clip(said[:, :, :-1], 0.0, 1.0), np.nan)
    n_impossible = float(groups.patterns.jobs[~possible].sum())
    n_jobs = float(groups.patterns.jobs.sum()) - n_impossible
    return Weighed(tuple(targets), groups, said, np.clip(before[:, :, :-1], 0.0, 1.0), n_jobs, n_impossible)


def _columns(model: Model, targets: Sequence[Target], aim: Aim) -> Floats:
    """Whether each joint state of the components has each target, and then 1 for all: ``(n_joint, n_targets + 1)``."""
    hidden = aim.history.hidden
    assert isinstance(hidden, RootPrior)
    has, n_faults, modes = hidden.roots.is_mode, hidden.roots.n_faults, list(model.modes)
    columns = []
    for component, mode in targets:
        if component == NOTHING:
            columns.append(n_faults == 0)
        elif component == SEVERAL:
            columns.append(n_faults >= 2)
        else:
            mine = [n for n, each in enumerate(modes) if each.component == component and mode in ("", each.mode)]
            columns.append(has[:, mine].sum(axis=1) > 0)
    return np.column_stack([*columns, np.ones(len(n_faults))]).astype(float)


def _as_written(whole: Aim) -> tuple[Aim, Point]:
    """What matters at the model's own numbers, and these with how often results are written down, as the jobs say."""
    aim = replace(whole, history=whole.history.focused(whole.frame.own))
    point = aim.frame.own
    for _ in range(_WRITTEN_STEPS if aim.frame.usual else 0):
        point = aim.frame.with_written_of(aim.improved(point, aim.history.expect(point)))
    return aim, point


def _drawn(frame: Frame, point: Point, rng: np.random.Generator) -> Point:
    """Numbers drawn from their Dirichlets, each with its own mean and strength."""
    drawn = rng.standard_gamma(np.maximum(frame.added, 0.0))
    totals = frame.totals(drawn)[frame.block_of]
    stays = frame.block_of >= len(frame.blocks) - 2 * len(frame.usual)  # how often results are written down
    chances = np.where((totals > 0) & ~stays, drawn / np.where(totals > 0, totals, 1.0), point.chances)
    by_id = {each.id: each for each in chances_of(frame.model) if each.id in (SHARES, SECOND_FAULT)}
    shares, second = by_id[SHARES], by_id[SECOND_FAULT]
    means = np.array(shares.means)
    times = np.maximum(rng.dirichlet(np.maximum(means * shares.strength_jobs, 1e-6)), 1e-9) / np.maximum(means, 1e-9)
    two, one = (max(each * second.strength_jobs, 1e-6) for each in second.means)
    more = rng.beta(two, one) / max(second.means[0], 1e-9)
    return Point(point.odds * times * max(more, 1e-3), chances)
