"""faultnet: fault probabilities and the next test for a set on the bench."""
