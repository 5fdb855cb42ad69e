"""What a model would have said of past jobs before the first repair: will this cure it, and which part is the cause.

What nobody wrote down says nothing here, as for the technician who reads the advice. Where the model has shares by
group, the last value that the history was counted by says the group of a job.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from faultnet.case import Case
from faultnet.case.events import RepairOutcome
from faultnet.cpt import Floats, Ints
from faultnet.errors import UsageProblem
from faultnet.evaluate.outcomes import Outcomes
from faultnet.learning.hidden import RootPrior
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Point
from faultnet.learning.prepare import aim_at
from faultnet.learning.said import said_and_usual
from faultnet.model import Model
from faultnet.patterns import Patterns

IMPOSSIBLE = "the model holds what was found before the first repair impossible"

_AT_ONCE = 20_000


@dataclass(frozen=True, eq=False)
class Forecasts:
    """The chance of each class beside how jobs turned out, by all that was known before the first repair, and at intake
    (by the complaint and what is noted of the set beforehand; none of repairs): ``(n_rows, n_classes)``."""

    outcomes: Outcomes
    chances: Floats
    at_intake: Floats | None = None


def repair_forecasts(model: Model, outcomes: Outcomes, usual: Case | None = None) -> Forecasts:
    """The chance that the set works after its first repair: how much likelier the evidence would be with it.

    Success of the repair, new parts that are bad, second faults and sets that fail only at times are all in it. As in
    learning, states rarer than 1e-9 beforehand are left out, which may move a chance by 1e-4. usual: the shop's meters.
    UsageProblem: a model without causes of its own, or too large.
    """
    _check(model)
    known, worked = (aim_at(model, each, usual) for each in (outcomes.evidence, _with_repair(outcomes)))
    works = np.empty(len(outcomes.label))
    for rows, point in _by_group(model, known, outcomes):
        before, after = (aim.history.expect(point).log_evidence[outcomes.pattern[rows]] for aim in (known, worked))
        with np.errstate(invalid="ignore"):
            works[rows] = np.exp(np.minimum(after - before, 0.0))
    possible = np.flatnonzero(~np.isnan(works))  # 0 / 0 where the evidence itself is impossible
    return Forecasts(outcomes.only(possible, IMPOSSIBLE), np.column_stack([works, 1 - works])[possible])


def cause_forecasts(model: Model, outcomes: Outcomes, usual: Case | None = None) -> Forecasts:
    """The chance of each component to be the cause.

    Of a set with several faulty components each has its part. That it was cured says that something was faulty which a
    repair of the model fixes, so chances are given that. usual: the shop's meters. UsageProblem: as of repairs.
    """
    _check(model)
    aim = aim_at(model, outcomes.evidence, usual)
    columns = _columns(aim, outcomes.classes)
    before, intake = (np.empty((len(outcomes.label), len(outcomes.classes))) for _ in range(2))
    for rows, point in _by_group(model, aim, outcomes):
        number, place = np.unique(outcomes.pattern[rows], return_inverse=True)
        said, usually = _asked(aim, point, number, columns)
        before[rows], intake[rows] = said[place], usually[place]
    possible = np.flatnonzero(before.sum(axis=1) > 0)
    return Forecasts(outcomes.only(possible, IMPOSSIBLE), _scaled(before[possible]), _scaled(intake[possible]))


def _check(model: Model) -> None:
    if model.is_imported or not model.repairs:
        raise UsageProblem(f"{model.id} has no repairs, so no job says whether its chances hold")


def _with_repair(outcomes: Outcomes) -> Patterns:
    """The evidence of each pattern, and that the set works after the first repair."""
    evidence = outcomes.evidence
    cured = {made: RepairOutcome(made, True) for made in dict.fromkeys(outcomes.first_repair)}
    items = [*evidence.vocabulary.items, *cured.values()]
    number = {made: len(evidence.vocabulary.items) + n for n, made in enumerate(cured)}
    keys = tuple(
        ((*key[0], number[made]), *key[1:]) for key, made in zip(evidence.keys, outcomes.first_repair, strict=True)
    )
    return replace(evidence, keys=keys, vocabulary=replace(evidence.vocabulary, items=items))


def _by_group(model: Model, aim: Aim, outcomes: Outcomes) -> Iterator[tuple[Ints, Point]]:
    """The rows of each group that has odds of its own, then all others, with the numbers that hold for them."""
    own = {} if model.pooled is None else model.pooled.groups
    group = np.array([by[-1] if by and by[-1] in own else "" for by in outcomes.by], dtype=object)
    for value in dict.fromkeys(group.tolist()):
        odds = np.array(own[value].root_odds) if value in own else aim.frame.own.odds
        yield np.flatnonzero(group == value), Point(odds, aim.frame.own.chances)


def _columns(aim: Aim, components: tuple[str, ...]) -> Floats:
    """Of each joint state the part of every one of these components: ``(n_joint, n_components)``."""
    hidden = aim.history.hidden
    assert isinstance(hidden, RootPrior)
    part = hidden.roots.is_mode / np.maximum(hidden.roots.n_faults, 1)[:, None]
    of = np.array([mode.component for mode in aim.model.modes])
    return np.column_stack([part[:, of == component].sum(axis=1) for component in components])


def _asked(aim: Aim, point: Point, patterns: Ints, columns: Floats) -> tuple[Floats, Floats]:
    """What patterns say, and how their sets usually are, some at once."""
    parts = [patterns[first : first + _AT_ONCE] for first in range(0, len(patterns), _AT_ONCE)]
    both = [said_and_usual(aim, point, part, columns) for part in parts]
    return np.concatenate([said for said, _ in both]), np.concatenate([usual for _, usual in both])


def _scaled(values: Floats) -> Floats:
    scaled: Floats = values / values.sum(axis=1, keepdims=True)
    return scaled
