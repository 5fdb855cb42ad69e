"""Values of the columns that jobs are counted by: how they are shown, in which order, and which are not."""

import re
from collections.abc import Mapping, Sequence

from faultnet.jobs.bands import AGE_BANDS, SIZE_BANDS

NOT_WRITTEN = "not written down"
NO_CODE = "no code"

FEWEST_OF_SOMEBODY = 20
"""Of somebody who did fewer jobs than this nothing is said by itself: chance would be taken for skill."""

FEW_JOBS = 20
"""A group with fewer jobs is marked as small."""

Values = tuple[str, ...]
"""Of the columns counted by, as they are shown; none for all jobs."""

_CODE = re.compile(r"[A-Za-z]{1,3}|(?=.*\d)[A-Za-z0-9_-]{1,8}")
"""A few letters, or some with a digit: what is longer may be a name."""

_TIMES: Mapping[str, re.Pattern[str]] = {
    "day": re.compile(r"\d{4}-\d\d-\d\d"),
    "month": re.compile(r"\d{4}-(0[1-9]|1[0-2])"),
    "year": re.compile(r"\d{4}"),
}
_BANDS: Mapping[str, Sequence[str]] = {"age": AGE_BANDS, "size": SIZE_BANDS}


def shown(values: Sequence[str], columns: Sequence[str]) -> tuple[str, ...]:
    """Values as they are shown: people by their code, and only where it is one."""
    return tuple(map(_shown, values, columns))


def _shown(value: str, column: str) -> str:
    if not value or (column in _TIMES and not _TIMES[column].fullmatch(value)):
        return NOT_WRITTEN
    return value if column != "technician" or _CODE.fullmatch(value) else NO_CODE


def is_ordered(column: str) -> bool:
    """Whether its values have an order of their own."""
    return column in _TIMES or column in _BANDS


def in_order(groups: Mapping[Values, int], columns: Sequence[str]) -> list[Values]:
    """Groups by time, or from young to old and small to large, else the largest first; what was not written last.

    groups: shown values, and how many jobs each has.
    """

    if all(map(is_ordered, columns)):
        return sorted(groups, key=lambda values: tuple(map(_place, values, columns)))
    return sorted(groups, key=lambda values: (NOT_WRITTEN in values, -groups[values], values))


def _place(value: str, column: str) -> tuple[bool, int, str]:
    band = _BANDS.get(column, ())
    return value == NOT_WRITTEN, band.index(value) if value in band else 0, value
