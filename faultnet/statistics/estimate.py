"""A number with what it could be as well."""

from typing import NamedTuple

LEVEL = 0.90
"""How much of what a number could be lies between its ends: the central 90 % everywhere, unless somebody asks."""


class Estimate(NamedTuple):
    """A number, and the ends of its interval."""

    mean: float
    low: float
    high: float
