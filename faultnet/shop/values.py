"""What a setting may be: each check gives the value back as it is used, or says in one sentence what is wrong."""

import re
from collections.abc import Callable
from math import isfinite
from pathlib import Path
from typing import Any

Check = Callable[[Any], Any]
"""From the value in the file to the value in use. ValueError: what is wrong with it, and what to write."""

CURRENCY = re.compile("[A-Z]{3}")


def number(low: float, high: float, unit: str = "", *, hint: Callable[[float], str] = lambda _: "") -> Check:
    """A number from `low` to `high`, both allowed. hint: what to add about a number outside."""

    def check(value: Any) -> float:
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ValueError(f"{_shown(value)} is no number{_looks_like_number(value)}")
        if not low <= value <= high or not isfinite(value):
            raise ValueError(f"{_shown(value)} is not from {low:g} to {high:g}{unit and ' ' + unit}{hint(value)}")
        return float(value)

    return check


def share(low: float) -> Check:
    """A chance or share from `low` to 1."""

    def hint(value: float) -> str:
        return f"; for {value:g} % write {value / 100:g}" if 1 < value <= 100 else ""

    return number(low, 1.0, hint=hint)


def whole(low: int, high: int) -> Check:
    """A whole number from `low` to `high`, both allowed."""

    def check(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise ValueError(f"{_shown(value)} is no whole number")
        return int(number(low, high)(value))

    return check


def flag(value: Any) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise ValueError(f"{_shown(value)} is neither true nor false (small letters, no quotes)")
    return value


def database(value: Any) -> str:
    """The path of a database's file, or a URL; `~` is the user's folder."""
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        raise ValueError(f"{_shown(value)} is no file or URL; put it in quotes, 'single' ones where it has a \\")
    try:
        return value if "://" in value else str(Path(value).expanduser())
    except RuntimeError:
        raise ValueError(f"{_shown(value)}: the folder that ~ stands for is not known; write it out") from None


def currency(value: Any) -> str:
    """A currency code as ISO 4217 has them: three capital letters."""
    if not isinstance(value, str) or not CURRENCY.fullmatch(value):
        meant = value.strip().upper() if isinstance(value, str) else ""
        hint = f'; write "{meant}"' if CURRENCY.fullmatch(meant) else ', such as "EUR"'
        raise ValueError(f"{_shown(value)} is no currency code of ISO 4217: three capital letters in quotes{hint}")
    return value


def _shown(value: Any) -> str:
    """A value as it stands in the file, as far as that is short."""
    if isinstance(value, dict | list):
        return "a table" if isinstance(value, dict) else "a list"
    shown = str(value).lower() if isinstance(value, bool) else f'"{value}"' if isinstance(value, str) else str(value)
    return shown if len(shown) <= 40 else f"{shown[:37]}..."


def _looks_like_number(value: Any) -> str:
    if isinstance(value, str) and re.fullmatch(r"\s*\d+([.,]\d+)?\s*", value):
        return f"; write {value.strip().replace(',', '.')} without quotes"
    return ""
