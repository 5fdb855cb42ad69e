"""How each job spreads over the ways it can have come about, at some numbers."""

import numpy as np
import numpy.typing as npt
import scipy.sparse as sparse

from faultnet.cpt import Floats, Ints
from faultnet.learning.expect import History, Values
from faultnet.learning.point import Point

_AnyInts = npt.NDArray[np.signedinteger]


class Spreader:
    """How patterns spread over outlines and rows, at a point."""

    def __init__(self, history: History, point: Point) -> None:
        self.history, self.values = history, history.values(point)
        self.n_columns = len(self.values.columns)

    def of(self, patterns: Ints) -> tuple[sparse.csr_matrix, list[Floats]]:
        """Shares of rows of columns, ``(n_patterns, n_columns)``, and of each pattern those of its outlines."""
        by_column, shares, start = self.outlines(patterns)
        return by_column, np.split(shares, start[1:-1])

    def outlines(self, patterns: Ints) -> tuple[sparse.csr_matrix, Floats, Ints]:
        """The same, with the shares of all outlines in one row and where those of each pattern begin."""
        from faultnet.learning.kernels import spread

        history, program, forms = self.history, self.history.program, self.history.forms
        sizes = np.diff(forms.outline_start)[program.shape_of[patterns]]
        n_acts = (program.start[patterns + 1] - program.start[patterns]).astype(np.int64)
        room = int((np.minimum(sizes, history.most_rows) * n_acts).sum())
        out = (
            np.empty(int(sizes.sum())),
            np.empty(len(patterns) + 1, np.int64),
            np.empty(room, np.int64),
            np.empty(room),
        )
        start = np.concatenate([[0], np.cumsum(n_acts)])
        acts = np.concatenate([program.act_of[program.start[p] : program.start[p + 1]] for p in patterns])
        about = start, acts, program.shape_of[patterns], history.column_start
        weights, buffer = np.empty(forms.most_outlines), np.zeros(history.most_rows)
        n = spread(
            0, len(patterns), about, forms.for_patterns, self.values.masses, self.values.columns, weights, buffer, out
        )
        shares, entry_start, at, share = out
        by_column = sparse.csr_matrix((share[:n], at[:n], entry_start), (len(patterns), self.n_columns))
        return by_column, shares, np.concatenate([[0], np.cumsum(sizes)]).astype(np.intp)


def outline_roots(history: History, values: Values, shape: int) -> sparse.csr_matrix:
    """P(root state at intake | outline) for every outline of a shape: ``(n_outlines, n_roots)``."""
    group = history.program.shapes[shape].group
    classes = history.forms.classes[group]
    weight = values.parts[group] * values.priors[history.given_of[group]][classes.root_of]
    by_class = _gathered(classes.label, weight, classes.n_classes, classes.root_of, history.layout.n_roots)
    return _of_outlines(history, shape, by_class)


def outline_standings(history: History, values: Values, shape: int) -> sparse.csr_matrix:
    """P(standing of the free sides | outline) for every outline of a shape: ``(n_outlines, n_standings)``."""
    group = history.program.shapes[shape].group
    classes = history.forms.classes[group]
    prior, chances = values.priors[history.given_of[group]], values.chances[group]
    weight = chances[classes.standing_of] * prior[classes.root_of][classes.part_of]
    label = classes.label[classes.part_of]
    by_class = _gathered(label, weight, classes.n_classes, classes.standing_of, history.layout.n_standings)
    return _of_outlines(history, shape, by_class)


def _of_outlines(history: History, shape: int, by_class: sparse.csr_matrix) -> sparse.csr_matrix:
    """What outlines have of their classes' weights, scaled to sum to 1; nothing where these are 0."""
    forms = history.forms
    form = forms.listed[int(forms.form_of[shape])]
    ones = np.ones(len(form.class_of))
    weights = _gathered(form.outline_of, ones, len(form.rows), form.class_of, by_class.shape[0]) @ by_class
    totals = np.asarray(weights.sum(axis=1)).reshape(-1)
    scale = np.divide(1.0, totals, out=np.zeros_like(totals), where=totals > 0)
    return sparse.csr_matrix(sparse.diags(scale) @ weights)


def _gathered(to: _AnyInts, weights: Floats, n_to: int, taken: _AnyInts, n_from: int) -> sparse.csr_matrix:
    """The matrix that adds so much of some rows to others: ``(n_to, n_from)``."""
    return sparse.csr_matrix((weights, (to, taken)), (n_to, n_from))
