"""What may be written down about a set besides what was seen on it."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from faultnet.case.entry import nearest
from faultnet.errors import UsageProblem

OCCURRENCES: Mapping[str, str] = {
    "always": "always",
    "sometimes": "sometimes",
    "warm": "only when warm",
    "cold": "only when cold",
}
"""When the set fails; not a condition of the model, but how to take what is seen on it."""

_CODE = re.compile(r"[^\x00-\x1f\x7f]{1,60}")
_NUMBER = re.compile(r"\d+(\.\d+)?")


@dataclass(frozen=True)
class Fact:
    """One thing to know. means: in words; unit: of its number; check: the text as it is kept, or ValueError."""

    means: str
    check: Callable[[str], str]
    unit: str = ""


def _number(low: float, high: float, unit: str, *, whole: bool = False) -> Callable[[str], str]:
    def check(text: str) -> str:
        number = text.strip().replace(",", ".")
        if not _NUMBER.fullmatch(number) or not low <= float(number) <= high or (whole and "." in number):
            kind = "a whole number" if whole else "a number"
            raise ValueError(f"{kind} from {low:g} to {high:g}{unit and ' ' + unit}")
        return f"{float(number):g}"

    return check


def _code(text: str) -> str:
    code = text.strip()
    if not _CODE.fullmatch(code) or not any(c.isalnum() for c in code):
        raise ValueError("what is printed there: letters or digits in one line of at most 60")
    return code


def _one_of(known: Mapping[str, str]) -> Callable[[str], str]:
    def check(text: str) -> str:
        plain = text.strip().lower()
        if plain not in known:
            raise ValueError(f"one of {', '.join(known)}{nearest(plain, known)}")
        return plain

    return check


FACTS: Mapping[str, Fact] = {
    "panel": Fact("panel code", _code),
    "board": Fact("code of the supply or driver board", _code),
    "size": Fact("screen size", _number(5, 200, "inch"), "inch"),
    "age": Fact("age", _number(0, 60, "years"), "years"),
    "hours": Fact("hours of use", _number(0, 200_000, "h"), "h"),
    "occurrence": Fact("fails", _one_of(OCCURRENCES)),
    "nominal": Fact("nominal voltage by the label", _number(5, 600, "V"), "V"),
    "leds": Fact("LEDs in series, and volts of one", str.strip),
}
"""Every fact by its name, as it is typed after `--`."""


def checked_fact(name: str, text: str) -> str:
    """The fact's text as it is kept. UsageProblem: what is wrong with it, and what to write."""
    try:
        return FACTS[name].check(text)
    except ValueError as error:
        raise UsageProblem(f"--{name.replace('_', '-')} {text}: write {error}") from None
