"""Probabilities as people say them: never 0 or 100 %, and with words beside the number."""

from math import isnan

_DENOMINATORS = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 100)
_CLOSE = 0.2
"""A fraction will do when it is this close, measured against the smaller of the chance and its complement."""


def percent(probability: float) -> str:
    """ "69 %", "<1 %", ">99 %" """
    if isnan(probability):
        raise ValueError("not a probability")
    if probability < 0.01:
        return "<1 %"
    return ">99 %" if probability > 0.99 else f"{100 * probability:.0f} %"


def in_words(probability: float) -> str:
    """ "about 2 in 3", "fewer than 1 in 100", "more than 99 in 100" """
    if probability < 0.01:
        return "fewer than 1 in 100"
    if probability > 0.99:
        return "more than 99 in 100"
    allowed = _CLOSE * min(probability, 1 - probability)
    for denominator in _DENOMINATORS:
        parts = round(probability * denominator)
        if 0 < parts < denominator and abs(parts / denominator - probability) <= allowed:
            return f"about {parts} in {denominator}"
    return f"about {round(100 * probability)} in 100"


def percent_range(low: float, high: float) -> str:
    """ "52 to 83", "<1 to 26": an interval in per cent"""
    ends = dict.fromkeys(percent(end).removesuffix(" %") for end in (low, high))
    return " to ".join(ends)


def odds_factor(bits: float) -> str:
    """A weight of evidence as a factor on the odds: "x2.0", "x0.5", "no change" """
    if abs(bits) < 0.05:
        return "no change"
    factor = 2.0**bits
    if factor > 1000 or factor < 0.001:
        return "x>1000" if bits > 0 else "x<0.001"
    return f"x{factor:.0f}" if factor >= 10 else f"x{factor:.2g}"


def to_one(ratio: float) -> str:
    """ "6 to 1", "1.4 to 1", "more than 1000 to 1": a ratio above 1"""
    if ratio > 1000:
        return "more than 1000 to 1"
    return f"{ratio:.1f} to 1" if ratio < 2 else f"{ratio:.0f} to 1"


def times(ratio: float) -> str:
    """ "1.6 times", "40 times", "more than 1000 times": a factor above 1"""
    if ratio > 1000:
        return "more than 1000 times"
    return f"{ratio:.1f} times" if ratio < 9.95 else f"{ratio:.0f} times"


def fixed(value: float, digits: int) -> str:
    """A number with so many digits after the sign; what rounds to nothing has no minus."""
    return f"{round(value, digits) + 0.0:.{digits}f}"


def minutes(value: float) -> str:
    """ "12 min" """
    return f"{value:.0f} min"
