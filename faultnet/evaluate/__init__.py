"""How well a model would have done on past jobs: replayed on what was recorded, against other ways of working."""
