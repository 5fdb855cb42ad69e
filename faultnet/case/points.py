"""The points of a reading as people type them, `36.8,37x4,?`, and back."""

import re
from math import inf, isinf

import numpy as np

from faultnet.errors import UsageProblem
from faultnet.readings import MOST_VOLTS

NUMBER = re.compile(r"\d+(\.\d*)?|\.\d+")
"""Digits with `.` as the decimal sign: no sign, no exponent, no separators."""

MOST_POINTS = 32
OVER_RANGE, NOT_REACHED = "OL", "?"
_REPEATED = re.compile(r"(?P<volts>[^xX]+)[xX](?P<times>\d{1,2})\s*[vV]?")
_LOOKS_LIKE_VOLTS = re.compile(r"\s*([\d.,?+-]|OL\s*($|[xX,]))", flags=re.IGNORECASE)

_OTHER_UNITS = ("kohm", "Mohm", "ohm", "mA", "A")
"""Units of other readings, the longest first; there is no physics for them here."""

Points = tuple[float | None, ...]


def looks_like_volts(text: str) -> bool:
    """Whether somebody who typed this meant volts, not a state."""
    return _LOOKS_LIKE_VOLTS.match(text) is not None


def parse_points(text: str) -> Points:
    """Volts at each point; `inf` is over range, None not reached. UsageProblem lists everything wrong with them."""
    points: list[float | None] = []
    problems: list[str] = []
    for part in text.split(","):
        repeated = _REPEATED.fullmatch(part.strip())
        volts, times = (repeated["volts"], int(repeated["times"])) if repeated else (part, 1)
        try:
            points.extend([_parse_point(volts.strip())] * times)
        except UsageProblem as error:
            problems.extend(error.problems)
    if not problems and not 1 <= len(points) <= MOST_POINTS:
        problems.append(f"1 to {MOST_POINTS} points, not {len(points)}")
    if problems:
        raise UsageProblem(*problems)
    return tuple(points)


def _parse_point(text: str) -> float | None:
    if text == NOT_REACHED:
        return None
    if text.upper() == OVER_RANGE:
        return inf
    number, unit = _unit(text)
    if unit in _OTHER_UNITS:
        raise UsageProblem(f"{text}: this is read in V; no {unit} is weighed here")
    if number.startswith("-") and NUMBER.fullmatch(number[1:].lstrip()):
        raise UsageProblem(f"{number} V is negative; if the leads were swapped, enter it without the sign")
    if not NUMBER.fullmatch(number):
        raise UsageProblem(
            f"{text or 'an empty point'} is no voltage; write 36.8 (the decimal sign is '.', a comma parts points), "
            f"37x5 for five points, {OVER_RANGE} for over range or {NOT_REACHED} for a point not reached"
        )
    volts = float(number) / 1000 if unit == "mV" else float(number)
    if volts > MOST_VOLTS:
        raise UsageProblem(f"{number} V is more than {MOST_VOLTS:g} V; check the decimal sign")
    return volts


def _unit(text: str) -> tuple[str, str]:
    """A number and its unit as typed, `36.8 V` or `500mV`; volts where none is typed."""
    if text[-1:].isdigit():
        return text, "V"
    for unit in ("mV", *_OTHER_UNITS, "V"):
        if text.lower().endswith(unit.lower()):
            return text[: -len(unit)].rstrip(), unit
    return text, "V"


def written_points(points: Points) -> str:
    """The points as they can be typed."""
    if len(points) > 2 and len(set(points)) == 1:
        return f"{_written_point(points[0])}x{len(points)}"
    return ",".join(map(_written_point, points))


def _written_point(point: float | None) -> str:
    if point is None:
        return NOT_REACHED
    return OVER_RANGE if isinf(point) else written_number(point)


def written_number(value: float) -> str:
    """A number as it can be typed, without an exponent; read again it is the same."""
    return np.format_float_positional(value, trim="-")
