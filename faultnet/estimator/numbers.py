"""A model's numbers, learned from rows and the names of their causes."""

from collections.abc import Sequence
from dataclasses import replace

from faultnet.case import Finding
from faultnet.cpt import Floats, Ints
from faultnet.estimator.table import Rows
from faultnet.learning.climb import climb
from faultnet.learning.learn import with_strength
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Point
from faultnet.learning.prepare import aim_at
from faultnet.model import Model
from faultnet.model.chances import with_chances
from faultnet.model.named import NAMED
from faultnet.patterns import Pattern, Patterns

TOLERANCE = 1e-6
"""Relative gain of a round below which learning ends: some thousandths of a nat of all rows together."""


def with_learned_numbers(
    model: Model, rows: Rows, named: Ints, names: Sequence[str], weights: Floats, strength: float
) -> Model:
    """The model with numbers that rows change.

    named: of each row the number of the name of its cause, ``(n_rows,)``; weights: jobs that each counts for, alike.
    strength: a factor on how many jobs the model's own numbers count for; rows of an imported network, which says
    nothing of that, count for one job each.

    What was seen in no row stays as it was, and so does what blanks would say: nobody looked.
    """
    counted: dict[tuple[int, int], float] = {}
    for pattern, name, weight in zip(rows.pattern_of.tolist(), named.tolist(), weights.tolist(), strict=True):
        if weight > 0:
            counted[pattern, name] = counted.get((pattern, name), 0.0) + weight
    jobs = ((_with_name(rows.patterns[pattern], names[name]), n) for (pattern, name), n in sorted(counted.items()))
    aim = aim_at(with_strength(model, strength), Patterns.of(model.id, jobs))
    if model.is_imported:
        aim = _with_rows_worth(aim, strength)
    own = aim.frame.own
    near = climb(_focused(aim, own), own, tolerance=TOLERANCE).point
    best = _focused(aim, near)
    reached = climb(best, near, tolerance=TOLERANCE)
    learned = with_chances(model, best.chances_at(reached.point, reached.expected), f"{model.id}@fitted")
    return replace(learned, root_odds=tuple(reached.point.odds.tolist()) or None)


def _with_name(pattern: Pattern, name: str) -> Pattern:
    """What a row says, and how its cause was called: of the set as it came in, before any test altered it."""
    return replace(pattern, items=(Finding(NAMED, name), *pattern.items))


def _with_rows_worth(aim: Aim, jobs: float) -> Aim:
    """The same, every number counting for so many jobs."""
    frame = replace(aim.frame, blocks=tuple(replace(block, strength_jobs=jobs) for block in aim.frame.blocks))
    return replace(aim, history=replace(aim.history, frame=frame, hidden=aim.history.hidden.by(frame)))


def _focused(aim: Aim, point: Point) -> Aim:
    return replace(aim, history=aim.history.focused(point))
