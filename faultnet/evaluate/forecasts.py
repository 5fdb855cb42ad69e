"""What a model would have said of past jobs before the first repair: how likely each component was the cause."""

from dataclasses import dataclass

import numpy as np

from faultnet.case import Case
from faultnet.cpt import Floats, Ints
from faultnet.errors import UsageProblem
from faultnet.evaluate.cures import Cures
from faultnet.learning.hidden import RootPrior
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Point
from faultnet.learning.prepare import aim_at
from faultnet.learning.said import said_and_usual
from faultnet.model import Model
from faultnet.patterns.pattern import LeftOut

IMPOSSIBLE = "the model holds what was found before the first repair impossible"

_AT_ONCE = 20_000


@dataclass(frozen=True, eq=False)
class Forecasts:
    """Chances that each component was the cause, beside what cured the set: ``(n_rows, n_components)``.

    before_repair: by all that was known before the first repair; at_intake: by the complaint and what is noted of the
    set beforehand. cures: the jobs that the rows are of.
    """

    cures: Cures
    before_repair: Floats
    at_intake: Floats


def forecasts(model: Model, cures: Cures, usual: Case | None = None) -> Forecasts:
    """A model's forecasts of jobs that were cured.

    Of a set with several faulty components each has its part. The label says that something was faulty, and that a
    repair of the model fixed it, so chances are given that: without the share of sets in which nothing, or only what no
    repair fixes, is faulty. Where the model has shares by group, a job's last value of `by` says its group. What nobody
    wrote down says nothing here, as for the technician who reads the advice. usual: the shop's meters.

    UsageProblem: a model without parts to tell apart, or too large.
    """
    if model.is_imported or len(cures.components) < 2:
        raise UsageProblem(
            f"{model.id} has no repairs of two components or more, so no job says which of them was the cause"
        )
    aim = aim_at(model, cures.evidence, usual)
    columns = _columns(aim, cures)
    before, intake = (np.empty((len(cures.label), len(cures.components))) for _ in range(2))
    group = np.array([by[-1] if by else "" for by in cures.by], dtype=object)
    for value in dict.fromkeys(group.tolist()):
        rows = np.flatnonzero(group == value)
        number, place = np.unique(cures.pattern[rows], return_inverse=True)
        said, usually = _asked(aim, _point(model, aim, value), number, columns)
        before[rows], intake[rows] = said[place], usually[place]
    total = before.sum(axis=1)
    possible = np.flatnonzero(total > 0)
    n_not = int(cures.jobs.sum() - cures.jobs[possible].sum())
    kept = cures.only(possible, (LeftOut(IMPOSSIBLE, n_not),) if n_not else ())
    return Forecasts(kept, _scaled(before[possible]), _scaled(intake[possible]))


def _columns(aim: Aim, cures: Cures) -> Floats:
    """Of each joint state the part of every component that can be cured: ``(n_joint, n_components)``."""
    hidden = aim.history.hidden
    assert isinstance(hidden, RootPrior)
    part = hidden.roots.is_mode / np.maximum(hidden.roots.n_faults, 1)[:, None]
    of = np.array([mode.component for mode in aim.model.modes])
    return np.column_stack([part[:, of == component].sum(axis=1) for component in cures.components])


def _point(model: Model, aim: Aim, group: str) -> Point:
    """The model's numbers, with the odds of a group where it has any."""
    own = None if model.pooled is None else model.pooled.groups.get(group)
    return aim.frame.own if own is None else Point(np.array(own.root_odds), aim.frame.own.chances)


def _asked(aim: Aim, point: Point, patterns: Ints, columns: Floats) -> tuple[Floats, Floats]:
    """What patterns say, and how their sets usually are, some at once."""
    parts = [patterns[first : first + _AT_ONCE] for first in range(0, len(patterns), _AT_ONCE)]
    both = [said_and_usual(aim, point, part, columns) for part in parts]
    return np.concatenate([said for said, _ in both]), np.concatenate([usual for _, usual in both])


def _scaled(values: Floats) -> Floats:
    scaled: Floats = values / values.sum(axis=1, keepdims=True)
    return scaled
