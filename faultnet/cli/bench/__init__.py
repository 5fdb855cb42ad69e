"""`faultnet bench`: the guided loop at a terminal."""
