"""A model as a classifier of scikit-learn: tables in, chances of each cause out, blanks as "nobody looked"."""

from faultnet.estimator.classifier import FaultClassifier

__all__ = ["FaultClassifier"]
