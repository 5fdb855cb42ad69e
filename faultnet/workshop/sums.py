"""Sums of money and other single numbers, as they are typed."""

import re

from faultnet.errors import UsageProblem

_NUMBER = re.compile(r"[0-9]+(\.[0-9]+)?")


def parse_sum(option: str, text: str, *, decimal_comma: bool = False, most: float = 1e7) -> float:
    """A number from 0 to `most`. UsageProblem: it is none."""
    typed = text.strip()
    number = typed.replace(",", ".") if decimal_comma and typed.count(",") == 1 and "." not in typed else typed
    if not _NUMBER.fullmatch(number) or float(number) > most:
        sign = "a comma or a point" if decimal_comma else "a point"
        raise UsageProblem(f"{option} {text}: a number from 0 to {most:,.0f}, with {sign} as the decimal sign")
    return float(number)
