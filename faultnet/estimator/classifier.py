"""The classifier: scikit-learn's words outside, a model's inside."""

from collections.abc import Sequence
from math import isinf
from typing import Any

import numpy as np
import numpy.typing as npt
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.utils.multiclass import check_classification_targets
from sklearn.utils.validation import _check_sample_weight, check_is_fitted, validate_data

from faultnet.cpt import Floats
from faultnet.errors import TableProblem
from faultnet.estimator.called import Names, called, names_of
from faultnet.estimator.columns import FindingReader, learn_columns
from faultnet.estimator.forecast import forecast
from faultnet.estimator.numbers import with_learned_numbers
from faultnet.estimator.one_cause import model_of_one_cause
from faultnet.estimator.table import Cells, Reader, read_rows
from faultnet.estimator.typed import reader_of
from faultnet.files import load_model
from faultnet.model import Model
from faultnet.model.named import with_names

_MOST_LISTED = 10


class FaultClassifier(ClassifierMixin, BaseEstimator):  # type: ignore[misc]  # scikit-learn ships no types
    """P(cause of a job | what was seen of its set); a blank cell (NaN, None, "") says that nobody looked.

    With a model, columns of X are its observations, by any of their names, its conditions, and `nominal` (volts), and
    cells say what people type: `present`, `36.8,37.1`, `32x5@settled`, numbers for volts. y names the component at
    fault, or `component.mode`, or `nothing_faulty`. Of several faults at once any may be named, each as likely as the
    others: a chance is of the name, of several faults a part each, given that one of the names in `classes_` is it.

    Without a model, columns of any kind are findings about one hidden cause, the class: numbers are cut into bins that
    hold as many rows each, anything else counts as it is, and a value never seen in `fit` says nothing.

    model: id or path of a model file, a `Model`, or None. strength: a factor on how many jobs the numbers count for
    that learning starts with: those of the model, or even chances that count for one job a row of a table (so a value
    of a column with k different ones starts with `strength / k`). learn_numbers: whether `fit` learns them at all;
    without, and with an infinite strength, the model is used as it is. n_bins: of a column of numbers, at most.
    causes: which cause each number in y stands for, from 0, where y holds numbers; parts of scikit-learn that pass on
    numbers (`cross_val_predict`, voting, stacking) number the names in y in their order, so `sorted(set(y))`.

    Blanks say nothing, so a shop that writes down what was odd and leaves out what was normal teaches it to expect too
    much of the odd; `faultnet.learn` learns from blanks as well.

    After `fit`: `classes_` in order, `n_features_in_`, `feature_names_in_` (of a data frame), and `model_`, which
    `diagnose` takes.

    >>> import pandas as pd
    >>> X = pd.DataFrame({"sound": ["present", "present", None], "flashlight": ["image_seen", None, "no_image"]})
    >>> classifier = FaultClassifier("backlight", learn_numbers=False).fit(X, ["strips", "driver", "panel"])
    >>> classifier.classes_.tolist(), classifier.predict(X).tolist()
    (['driver', 'panel', 'strips'], ['strips', 'strips', 'panel'])
    """

    def __init__(
        self,
        model: str | Model | None = None,
        *,
        strength: float = 1.0,
        learn_numbers: bool = True,
        n_bins: int = 8,
        causes: Sequence[str] | None = None,
    ) -> None:
        self.model = model
        self.strength = strength
        self.learn_numbers = learn_numbers
        self.n_bins = n_bins
        self.causes = causes

    def fit(self, X: Any, y: Any, sample_weight: Any = None) -> "FaultClassifier":  # noqa: N803  scikit-learn's names
        """Learn the numbers from rows, ``(n_rows, n_columns)``, and the names of their causes, ``(n_rows,)``.

        sample_weight: jobs that each row counts for, ``(n_rows,)``. TableProblem, a ValueError, names everything that
        cannot be read. ValueError: parameters out of range, or no row that counts.
        """
        self._check_parameters()
        _check_known(y)
        rows, categories = _row_names(X), _categories(X)
        X, y = validate_data(self, X, y, dtype=None, ensure_all_finite="allow-nan")  # noqa: N806
        check_classification_targets(y)
        self.classes_, named = np.unique(y, return_inverse=True)
        weights = _check_sample_weight(sample_weight, X, dtype=np.float64, ensure_non_negative=True)
        if not weights.any():
            raise ValueError("every sample_weight is zero: there is no row to learn from")
        cells = self._cells(X, rows)
        problems: list[str] = []
        model, names, self.reader_ = self._start(cells, weights, categories, problems)
        said = read_rows(cells, self.reader_, problems)
        model = with_names(model, names)
        if self._learns:
            model = with_learned_numbers(model, said, named, tuple(names), weights, self.strength)
        self.model_ = model
        return self

    def predict_proba(self, X: Any) -> Floats:  # noqa: N803
        """P(class | row), in the order of `classes_`, adding to 1: ``(n_rows, n_classes)``.

        TableProblem, a ValueError, names every cell that cannot be read, and rows the model holds impossible.
        """
        check_is_fitted(self)
        rows = _row_names(X)
        X = validate_data(self, X, dtype=None, ensure_all_finite="allow-nan", reset=False)  # noqa: N806
        cells = self._cells(X, rows)
        return forecast(self.model_, read_rows(cells, self.reader_), cells.rows)

    def predict(self, X: Any) -> npt.NDArray[Any]:  # noqa: N803
        """The likeliest class of each row: ``(n_rows,)``."""
        chances = self.predict_proba(X)
        likeliest: npt.NDArray[Any] = self.classes_[chances.argmax(axis=1)]
        return likeliest

    def __sklearn_tags__(self) -> Any:
        tags = super().__sklearn_tags__()
        tags.input_tags.allow_nan = True
        tags.input_tags.string = True
        tags.input_tags.categorical = True
        return tags

    @property
    def _learns(self) -> bool:
        return self.learn_numbers and not isinf(self.strength)

    def _check_parameters(self) -> None:
        if not self.strength > 0:
            raise ValueError(f"strength must be above 0, not {self.strength}")
        if self.n_bins < 2:
            raise ValueError(f"n_bins must be at least 2, not {self.n_bins}")
        if self.causes is not None and len(set(self.causes)) < len(self.causes):
            raise ValueError("causes must be different names, one for each number in y")
        if self.model is None and not self._learns:
            raise ValueError("without a model there are no numbers to use as they are: name a model, or let them learn")

    def _cells(self, values: npt.NDArray[Any], rows: Sequence[object] | None) -> Cells:
        names = getattr(self, "feature_names_in_", None)
        if names is None and self.model is not None:
            raise ValueError("with a model, X must be a data frame: its columns are named after what was seen")
        columns = [f"x{n}" for n in range(values.shape[1])] if names is None else list(names)
        return Cells.of(values, columns, range(len(values)) if rows is None else rows)

    def _start(
        self, cells: Cells, weights: Floats, categories: Sequence[str], problems: list[str]
    ) -> tuple[Model, Names, Reader]:
        """The model before anything is learned, what the classes are about, and what reads rows."""
        if self.model is None:
            columns = learn_columns(cells, weights, self.n_bins, categories)
            named = dict(zip(cells.columns, columns, strict=True))
            return *model_of_one_cause(named, self.classes_.tolist()), FindingReader(columns)
        model = self.model if isinstance(self.model, Model) else load_model(self.model)
        names = names_of(model, called(self.classes_.tolist(), self.causes, problems), problems)
        return model, names, reader_of(model, cells.columns, problems)


def _check_known(y: Any) -> None:
    """TableProblem: rows of which nobody says the cause; scikit-learn itself refuses NaN."""
    unknown = [n for n, each in enumerate(y if np.iterable(y) else ()) if each is None]
    if unknown:
        listed = ", ".join(map(str, unknown[:_MOST_LISTED])) + (", ..." if len(unknown) > _MOST_LISTED else "")
        raise TableProblem(f"y: nobody says the cause of rows {listed} (from 0): leave them out")


def _row_names(table: Any) -> Sequence[object] | None:
    """What the rows of a data frame are called."""
    index = getattr(table, "index", None)
    return None if index is None or callable(index) else list(index)


def _categories(table: Any) -> Sequence[str]:
    """The columns of a data frame that are said to hold categories."""
    kinds = getattr(table, "dtypes", None)
    return [] if kinds is None else [name for name, kind in kinds.items() if getattr(kind, "name", "") == "category"]
