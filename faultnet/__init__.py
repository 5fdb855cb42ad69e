"""faultnet: fault probabilities and the next test for a set on the bench."""

__version__ = "0.1.0"
