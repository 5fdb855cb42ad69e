"""Ages and sizes of sets in bands that jobs are counted by."""

from collections.abc import Callable, Mapping
from itertools import pairwise

from faultnet.model.work import SIZE_CLASS_UP_TO_INCHES, size_class

_YEARS = (2.0, 5.0, 10.0)

AGE_BANDS = ("under 2 years", "2 to 4 years", "5 to 9 years", "10 years and over")
_SIZES = SIZE_CLASS_UP_TO_INCHES
SIZE_BANDS = (
    f"up to {_SIZES[0]} inch",
    *(f"{below + 1} to {up_to} inch" for below, up_to in pairwise(_SIZES)),
    f"{_SIZES[-1] + 1} inch and over",
)


def age_band(text: str) -> str:
    """The band of an age in years; "" where it is no number."""
    years = _number(text)
    return "" if years is None else AGE_BANDS[sum(years >= least for least in _YEARS)]


def size_band(text: str) -> str:
    """The band of a size in inches; "" where it is no number."""
    inches = _number(text)
    return "" if inches is None else SIZE_BANDS[size_class(inches)]


BANDS: Mapping[str, Callable[[str], str]] = {"age": age_band, "size": size_band}
"""By the name of the fact."""


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
