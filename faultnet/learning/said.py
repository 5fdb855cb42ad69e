"""What jobs say of their sets, and what sets brought in like them are usually like, at some numbers."""

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.learning.hidden import RootPrior
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Point
from faultnet.learning.spread import Spreader, root_shares


def said_and_usual(aim: Aim, point: Point, patterns: Ints, columns: Floats) -> tuple[Floats, Floats]:
    """Means of columns over what is faulty: by all that a job says, and by how its set was brought in alone.

    patterns: their numbers; columns: of each joint state of the components, ``(n_joint, n_columns)``. The second is
    given the complaint and what is noted of the set beforehand. Both are ``(n_patterns, n_columns)``.
    """
    history = aim.history
    assert isinstance(history.hidden, RootPrior)
    by_root = np.tile(columns, (history.layout.n_coupled, 1))
    said = np.asarray(root_shares(Spreader(history, point), patterns) @ by_root)
    priors = history.hidden.prior(point, history.givens)
    standings = history.layout.standing_chances(aim.sides(point))
    given, kinds = history.given_of[history.program.group_of[patterns]], aim.told.kind_of[patterns]
    usual = np.empty_like(said)
    for kind, known in {*zip(kinds.tolist(), given.tolist(), strict=True)}:
        told = 1.0 if kind < 0 else standings @ aim.told.columns[kind]
        weights = priors[known] * told
        usual[(kinds == kind) & (given == known)] = weights @ by_root / weights.sum()
    return said, usual


def cause_columns(aim: Aim) -> Floats:
    """A column for each mode, of several at once a part for each, then one for none: ``(n_joint, n_modes + 1)``."""
    hidden = aim.history.hidden
    assert isinstance(hidden, RootPrior)
    part = hidden.roots.is_mode / np.maximum(hidden.roots.n_faults, 1)[:, None]
    return np.column_stack([part, hidden.roots.n_faults == 0])
