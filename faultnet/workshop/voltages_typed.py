"""An entry of the list of voltages as somebody typed it, and what to check about it."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date
from math import hypot, log

from faultnet.case.entry import nearest
from faultnet.case.points import NUMBER
from faultnet.errors import UsageProblem
from faultnet.jobs.codes import code_key
from faultnet.readings import Spread
from faultnet.readings.learned import ONE_READING_SD
from faultnet.shop.nominal import FAR_APART_SD
from faultnet.shop.voltages import LEAST_VOLTS, MOST_VOLTS, SOURCES, Entry, nearest_codes, nominal_of
from faultnet.shop.voltages_file import parse_day

LONGEST_CODE, LONGEST_NOTE = 60, 300

LEAST_RATIO = 0.95
"""A driver that lights its LEDs goes at least as high without them, but for what two readings may be off (reasoned)."""


@dataclass(frozen=True)
class VoltsTyped:
    """An entry as it was typed; "" where nothing was."""

    kind: str
    code: str
    loaded: str
    unplugged: str
    source: str
    day: str
    note: str


@dataclass(frozen=True)
class Named:
    """What the fields are called where they are typed. comma: what makes a comma the decimal sign there."""

    code: str = "CODE"
    loaded: str = "--loaded"
    unplugged: str = "--unplugged"
    source: str = "--source"
    day: str = "--day"
    note: str = "--note"
    comma: str = "shop.toml says `decimal_comma = true`"


OPTIONS = Named()
"""At the command line."""


def parse_entry(typed: VoltsTyped, today: date, *, decimal_comma: bool, named: Named = OPTIONS) -> Entry:
    """The entry that was typed. UsageProblem lists all slips."""
    problems: list[str] = []
    code, text = typed.code.strip(), typed.note.strip()
    if not code_key(code) or len(code) > LONGEST_CODE or not code.isprintable():
        problems.append(f"{named.code} {code!r}: write the code as it is printed, at most {LONGEST_CODE} characters")
    if len(text) > LONGEST_NOTE or not text.isprintable():
        problems.append(f"{named.note}: one line of at most {LONGEST_NOTE} characters")
    loaded, unplugged = parse_both(typed, problems, decimal_comma=decimal_comma, named=named)
    if not typed.loaded and not typed.unplugged:
        problems.append(f"give {named.loaded} V or {named.unplugged} V, or both")
    if loaded and unplugged and unplugged < LEAST_RATIO * loaded:
        problems.append(
            f"{named.unplugged} {unplugged:g} is below the loaded {loaded:g} V, so it is no over-voltage limit: read "
            "it with max hold from switch-on, or leave it out"
        )
    source = typed.source.strip().lower().replace("-", "_").replace(" ", "_")
    if source not in SOURCES:
        problems.append(f"{named.source} {typed.source}: it is one of {', '.join(SOURCES)}{nearest(source, SOURCES)}")
    day = parse_day(typed.day.strip()) if typed.day else today
    if day is None:
        problems.append(f"{named.day} {typed.day}: write it as 2031-05-17")
    elif day > today:
        problems.append(f"{named.day} {typed.day} is still to come; today is {today}")
    if problems or day is None:
        raise UsageProblem(*problems)
    return Entry(day, typed.kind, code, loaded, unplugged, source, text)


def parse_both(
    typed: VoltsTyped, problems: list[str], *, decimal_comma: bool, named: Named = OPTIONS
) -> tuple[float | None, float | None]:
    """Volts loaded and unplugged, None where nothing was typed; slips are added to the problems."""
    fields = ((named.loaded, typed.loaded), (named.unplugged, typed.unplugged))
    loaded, unplugged = (_volts(name, text, problems, decimal_comma, named) for name, text in fields)
    return loaded, unplugged


def _volts(name: str, text: str, problems: list[str], decimal_comma: bool, named: Named) -> float | None:
    number = text.strip().removesuffix("V").removesuffix("v").rstrip()
    if decimal_comma and number.count(",") == 1 and "." not in number:
        number = number.replace(",", ".")
    if not text:
        return None
    if not NUMBER.fullmatch(number):
        comma = f"; the decimal sign is '.' unless {named.comma}" if "," in number else ""
        problems.append(f"{name} {text}: write volts, such as 54.2{comma}")
    elif not LEAST_VOLTS <= float(number) <= MOST_VOLTS:
        problems.append(f"{name} {text}: not from {LEAST_VOLTS:g} to {MOST_VOLTS:g} V")
    else:
        return float(number)
    return None


def doubts(entry: Entry, before: Collection[Entry]) -> Iterator[str]:
    """What to check about an entry; it stands in the list all the same."""
    if entry in before:
        yield "the same stood there already, and both count, as two sets"
    others = nominal_of(before, entry.kind, entry.code)
    if others is None:
        if close := nearest_codes(before, entry.kind, entry.code):
            yield f"a new code; the list has {' and '.join(close)}, which look like it"
        return
    pairs = (("loaded", entry.loaded_volts, others.loaded), ("unplugged", entry.unplugged_volts, others.unplugged))
    for what, volts, known in pairs:
        if volts is not None and known is not None and _is_far(volts, known):
            yield f"{volts:g} V {what} is far from {known.volts:.4g} V, the list's so far for this code: check both"


def _is_far(volts: float, known: Spread) -> bool:
    return abs(log(volts / known.volts)) > FAR_APART_SD * hypot(known.relative_sd, ONE_READING_SD)


def the_one_meant(typed: VoltsTyped, entries: Collection[Entry], *, decimal_comma: bool) -> Entry:
    """The entry of the list that was meant. UsageProblem: there is none, or it is not clear which one."""
    problems: list[str] = []
    loaded, unplugged = parse_both(typed, problems, decimal_comma=decimal_comma)
    day = parse_day(typed.day.strip()) if typed.day else None
    if typed.day and day is None:
        problems.append(f"--day {typed.day}: write it as 2031-05-17")
    if problems:
        raise UsageProblem(*problems)
    own = [entry for entry in entries if entry.is_of(typed.kind, typed.code)]
    if not own:
        close = nearest_codes(entries, typed.kind, typed.code)
        hint = f"; did you mean {' or '.join(close)}?" if close else ""
        raise UsageProblem(f"{typed.kind} {typed.code} is not in the list of voltages{hint}")
    fits = [
        entry
        for entry in own
        if loaded in (None, entry.loaded_volts)
        and unplugged in (None, entry.unplugged_volts)
        and day in (None, entry.day)
    ]
    different = list(dict.fromkeys(fits))
    if len(different) == 1:
        return different[0]
    listed = "; ".join(f"{entry.day} {volts_words(entry)}" for entry in different or own)
    which = "none of them fits" if not different else "name one with --loaded, --unplugged or --day"
    raise UsageProblem(f"{typed.code}: {which}: {listed}")


def volts_words(entry: Entry) -> str:
    """What an entry says in volts: "54.2 V loaded, 63.5 V unplugged"."""
    known = (("loaded", entry.loaded_volts), ("unplugged", entry.unplugged_volts))
    return ", ".join(f"{volts:g} V {what}" for what, volts in known if volts is not None)
