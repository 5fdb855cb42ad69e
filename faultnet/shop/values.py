"""What a setting may be: each check gives the value back as it is used, or says in one sentence what is wrong."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Any, Protocol

CURRENCY = re.compile("[A-Z]{3}")


class Check(Protocol):
    """Checks a value. may_be: what a value may be, in words."""

    @property
    def may_be(self) -> str: ...

    def __call__(self, value: Any) -> Any:
        """From the value in the file to the value in use. ValueError: what is wrong with it, and what to write."""


@dataclass(frozen=True)
class Number:
    """A number from `low` to `high`, both allowed. hint: what to add about a number outside."""

    low: float
    high: float
    unit: str = ""
    hint: Callable[[float], str] = lambda _: ""

    @property
    def may_be(self) -> str:
        return f"from {_plain(self.low)} to {_plain(self.high)}{self.unit and ' ' + self.unit}"

    def __call__(self, value: Any) -> float:
        """The number. ValueError: it is none, or outside."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise ValueError(f"{_shown(value)} is no number{_looks_like_number(value)}")
        if not self.low <= value <= self.high or not isfinite(value):
            unit = self.unit and " " + self.unit
            raise ValueError(f"{_shown(value)} is not from {self.low:g} to {self.high:g}{unit}{self.hint(value)}")
        return float(value)


def share(low: float) -> Number:
    """A chance or share from `low` to 1."""

    def hint(value: float) -> str:
        return f"; for {value:g} % write {value / 100:g}" if 1 < value <= 100 else ""

    return Number(low, 1.0, hint=hint)


@dataclass(frozen=True)
class Whole:
    """A whole number from `low` to `high`, both allowed."""

    low: int
    high: int

    @property
    def may_be(self) -> str:
        return f"a whole number {Number(self.low, self.high).may_be}"

    def __call__(self, value: Any) -> int:
        """The number. ValueError: it is no whole one, or outside."""
        if isinstance(value, bool) or not isinstance(value, int):
            raise ValueError(f"{_shown(value)} is no whole number")
        return int(Number(self.low, self.high)(value))


@dataclass(frozen=True)
class Flag:
    """True or false."""

    may_be: str = "yes or no"

    def __call__(self, value: Any) -> bool:
        """The value. ValueError: it is neither."""
        if not isinstance(value, bool):
            raise ValueError(f"{_shown(value)} is neither true nor false (small letters, no quotes)")
        return value


@dataclass(frozen=True)
class DatabasePlace:
    """The path of a database's file, or a URL; `~` is the user's folder."""

    may_be: str = "a file, or postgresql://USER@HOST/NAME"

    def __call__(self, value: Any) -> str:
        """The place. ValueError: it is none."""
        if not isinstance(value, str) or not value.strip() or not value.isprintable():
            raise ValueError(f"{_shown(value)} is no file or URL; put it in quotes, 'single' ones where it has a \\")
        try:
            return value if "://" in value else str(Path(value).expanduser())
        except RuntimeError:
            raise ValueError(f"{_shown(value)}: the folder that ~ stands for is not known; write it out") from None


@dataclass(frozen=True)
class Currency:
    """A currency code as ISO 4217 has them: three capital letters."""

    may_be: str = "three letters, such as EUR"

    def __call__(self, value: Any) -> str:
        """The code. ValueError: it is none."""
        if not isinstance(value, str) or not CURRENCY.fullmatch(value):
            meant = value.strip().upper() if isinstance(value, str) else ""
            hint = f'; write "{meant}"' if CURRENCY.fullmatch(meant) else ', such as "EUR"'
            raise ValueError(f"{_shown(value)} is no currency code of ISO 4217: three capital letters in quotes{hint}")
        return value


def _plain(value: float) -> str:
    """A bound as people write it: "0.01", "1,000,000,000"."""
    return f"{value:,.6f}".rstrip("0").rstrip(".")


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
