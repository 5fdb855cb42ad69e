"""What jobs say of their sets, and what sets brought in like them are usually like, at some numbers."""

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.learning.expect import History, Values
from faultnet.learning.hidden import RootPrior
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Point
from faultnet.learning.spread import Spreader


def said_and_usual(aim: Aim, point: Point, patterns: Ints, columns: Floats) -> tuple[Floats, Floats]:
    """Means of columns over what is faulty: by all that a job says, and by how its set was brought in alone.

    patterns: their numbers; columns: of each joint state of the components, ``(n_joint, n_columns)``. The second is
    given the complaint and what is noted of the set beforehand. Both are ``(n_patterns, n_columns)``.
    """
    history = aim.history
    assert isinstance(history.hidden, RootPrior)
    by_root = np.tile(columns, (history.layout.n_coupled, 1))
    spreader = Spreader(history, point)
    _, shares, start = spreader.outlines(patterns)
    begins = history.forms.outline_start[history.program.shape_of[patterns]]
    outline = np.arange(start[-1]) + np.repeat(begins - start[:-1], np.diff(start))
    weighted = shares[:, None] * _outline_means(history, spreader.values, by_root)[outline]
    said: Floats = np.add.reduceat(weighted, start[:-1], axis=0)
    priors = history.hidden.prior(point, history.givens)
    standings = history.layout.standing_chances(aim.sides(point))
    given, kinds = history.given_of[history.program.group_of[patterns]], aim.told.kind_of[patterns]
    usual = np.empty_like(said)
    for kind, known in {*zip(kinds.tolist(), given.tolist(), strict=True)}:
        told = 1.0 if kind < 0 else standings @ aim.told.columns[kind]
        weights = priors[known] * told
        usual[(kinds == kind) & (given == known)] = weights @ by_root / weights.sum()
    return said, usual


def _outline_means(history: History, values: Values, by_root: Floats) -> Floats:
    """Means of columns over the root states behind every outline of every shape: ``(n_outlines, n_columns)``."""
    forms = history.forms
    masses = [
        forms.outline_masses(forms.class_masses(values.parts, values.priors * column, history.given_of))
        for column in np.column_stack([np.ones(len(by_root)), by_root]).T
    ]
    whole = masses[0]
    means: Floats = np.stack(masses[1:], axis=1) / np.where(whole > 0, whole, 1.0)[:, None]
    return means


def cause_columns(aim: Aim) -> Floats:
    """A column for each mode, of several at once a part for each, then one for none: ``(n_joint, n_modes + 1)``."""
    hidden = aim.history.hidden
    assert isinstance(hidden, RootPrior)
    part = hidden.roots.is_mode / np.maximum(hidden.roots.n_faults, 1)[:, None]
    return np.column_stack([part, hidden.roots.n_faults == 0])
