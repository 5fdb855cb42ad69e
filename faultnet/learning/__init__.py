"""Learning a model's numbers from the patterns of past jobs: what changes, how sure that is, and what stays unknown."""
