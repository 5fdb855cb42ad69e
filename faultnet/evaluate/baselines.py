"""Other forecasts of the same jobs by the same evidence: how often it went so before, and two learned classifiers.

Of causes they learn from all earlier jobs that a repair of one component cured, verified or not: there are more of
them, and people without a fault model would do so. A class that no earlier job has gets the chance of half a job.
"""

from collections.abc import Callable, Mapping

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats, Ints
from faultnet.evaluate.features import Features, features
from faultnet.evaluate.outcomes import Outcomes
from faultnet.learning.pooling import each_job

BASELINES: Mapping[str, str] = {
    "base_rate": "how often it went so in earlier jobs",
    "naive_bayes": "each finding by itself, missing ones as findings",
    "boosted_trees": "boosted trees on findings and volts",
}

_QUANTILES = (0.2, 0.4, 0.6, 0.8)
_FOLDS, _MOST_TREES, _MOST_JOBS = 3, 80, 50_000

Classifier = Callable[[Features, Features, Ints, Ints, int], tuple[Ints, Floats]]
"""From earlier and later features, labels and jobs of the earlier, and a seed to classes and the chances of each."""


def baselines(earlier: Outcomes, later: Outcomes, seed: int = 0) -> dict[str, Floats]:
    """The chances by each baseline for the rows of the later jobs: ``(n_rows, n_classes)`` each."""
    rates = base_rates(earlier.label, earlier.jobs, len(earlier.classes))
    found = {"base_rate": np.tile(rates, (len(later.label), 1))}
    told = features(earlier, later)
    classifiers: Mapping[str, Classifier] = {"naive_bayes": _naive_bayes, "boosted_trees": _boosted_trees}
    for name, classifier in classifiers.items():
        found[name] = found["base_rate"]
        if len(np.unique(earlier.label)) > 1 and told[0].n_columns:
            classes, chances = classifier(*told, earlier.label, earlier.jobs, seed)
            found[name] = _widened(classes, chances, rates)
    return found


def base_rates(label: Ints, jobs: Ints | Floats, n_classes: int) -> Floats:
    """The share of each class, half a job added to each: ``(n_classes,)``."""
    counts = np.bincount(label, jobs, n_classes) + 0.5
    rates: Floats = counts / counts.sum()
    return rates


def _widened(classes: Ints, chances: Floats, rates: Floats) -> Floats:
    """Chances of all classes; those that no earlier job had get their base rate."""
    missing = np.ones(len(rates), dtype=bool)
    missing[classes] = False
    wide = np.tile(np.where(missing, rates, 0.0), (len(chances), 1))
    wide[:, classes] = chances * (1 - rates[missing].sum())
    scaled: Floats = wide / wide.sum(axis=1, keepdims=True)
    return scaled


def _naive_bayes(earlier: Features, later: Features, label: Ints, jobs: Ints, seed: int) -> tuple[Ints, Floats]:
    """Findings as they are, volts in bins of about as many earlier jobs; what is missing is a finding of its own."""
    del seed
    from sklearn.naive_bayes import CategoricalNB

    edges = [np.unique(np.nanquantile(column, _QUANTILES)) for column in earlier.numbers.T]

    def coded(told: Features) -> Ints:
        bins = [np.where(np.isnan(c), 0, 1 + np.searchsorted(e, c)) for c, e in zip(told.numbers.T, edges, strict=True)]
        return np.column_stack([told.kinds + 1, *bins]).astype(np.intp)

    n_kinds = [*(n + 1 for n in earlier.n_kinds), *(2 + len(each) for each in edges)]
    learned = CategoricalNB(min_categories=np.array(n_kinds)).fit(coded(earlier), label, sample_weight=jobs)
    return learned.classes_, learned.predict_proba(coded(later))


def _boosted_trees(earlier: Features, later: Features, label: Ints, jobs: Ints, seed: int) -> tuple[Ints, Floats]:
    """Small trees in small steps, as many as did best on earlier jobs that they had not learned from."""
    rng, is_kind = np.random.default_rng(seed), np.arange(earlier.n_columns) < len(earlier.n_kinds)
    job = each_job(jobs.astype(float), _MOST_JOBS, rng)  # leaves count rows, so each job is one
    told, label = _as_columns(earlier)[job], label[job]
    fold, lost = rng.integers(0, _FOLDS, len(job)), np.zeros(_MOST_TREES)
    for number in range(_FOLDS):
        here = fold == number
        if here.any() and len(np.unique(label[~here])) > 1:
            classes, staged = _grown(is_kind, told[~here], label[~here], told[here], _MOST_TREES)
            rates = base_rates(label[~here], np.ones(len(label[~here])), int(label.max()) + 1)
            for n, chances in enumerate(staged):
                lost[n] -= np.log(_widened(classes, chances, rates)[np.arange(len(chances)), label[here]]).sum()
    classes, staged = _grown(is_kind, told, label, _as_columns(later), 1 + int(np.argmin(lost)))
    return classes, staged[-1]


def _grown(
    is_kind: npt.NDArray[np.bool_], told: Floats, label: Ints, asked: Floats, n_trees: int
) -> tuple[Ints, list[Floats]]:
    """The classes, and after each tree the chances of what is asked."""
    from sklearn.ensemble import HistGradientBoostingClassifier
    from threadpoolctl import threadpool_limits

    is_read = (~np.isnan(told)).any(axis=0)
    trees = HistGradientBoostingClassifier(
        learning_rate=0.1,
        max_iter=n_trees,
        max_leaf_nodes=8,
        min_samples_leaf=10,
        l2_regularization=1.0,
        categorical_features=is_kind[is_read],
        early_stopping=False,
        random_state=0,
    )
    with threadpool_limits(1, "openmp"):  # threads stall each other on a busy machine, and there is little to share
        learned = trees.fit(told[:, is_read], label)
        return learned.classes_, [*learned.staged_predict_proba(asked[:, is_read])]


def _as_columns(told: Features) -> Floats:
    return np.column_stack([np.where(told.kinds < 0, np.nan, told.kinds), told.numbers])
