"""A scale of chances: where its marks are, and up to where it goes."""

from math import ceil

_ENDS = (0.1, 0.2, 0.4, 0.6, 0.8, 1.0)


def end_of(largest: float) -> float:
    """The end of a scale from 0 that holds this chance."""
    return next((end for end in _ENDS if largest <= end), 1.0)


def marks_of(end: float) -> list[float]:
    """Five or six marks from 0 to the end of a scale."""
    steps = 5 if ceil(end * 10) in (1, 10) else 4
    return [end * n / steps for n in range(steps + 1)]
