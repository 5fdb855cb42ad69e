"""The shop's list of voltages, code by code."""

from collections.abc import Mapping
from dataclasses import dataclass

from faultnet.jobs.codes import code_key
from faultnet.shop.voltages import KINDS, Entry, nearest_codes
from faultnet.telling.voltages import SOURCES, codes_in, next_set
from faultnet.workshop.voltages_typed import volts_words

MOST_CODES = 60


@dataclass(frozen=True)
class EntryShown:
    """An entry with its number: its volts in words, and the day, where it is from and its note."""

    number: int
    volts: str
    about: str


@dataclass(frozen=True)
class CodeShown:
    """A panel or board. next_set: what the list says of the next one."""

    kind: str
    code: str
    next_set: str
    entries: tuple[EntryShown, ...]


@dataclass(frozen=True)
class ListShown:
    """The codes that were looked for, the first of them; n_all: how many there are. close: codes that look alike."""

    codes: tuple[CodeShown, ...]
    n_all: int
    close: tuple[str, ...]


def list_shown(entries: Mapping[int, Entry], looked_for: str) -> ListShown:
    """The part of a list whose codes have this in them, all of it where that is empty."""
    key = code_key(looked_for)
    known = {named: code for named, code in codes_in(entries.values()).items() if key in named[1]}
    found = sorted(known.items())
    own: dict[tuple[str, str], list[int]] = {}
    for number, entry in entries.items():
        own.setdefault((entry.kind, code_key(entry.code)), []).append(number)
    codes = tuple(_code(entries, own[named], code) for named, code in found[:MOST_CODES])
    close = [] if found or not key else [c for kind in KINDS for c in nearest_codes(entries.values(), kind, looked_for)]
    return ListShown(codes, len(found), tuple(close))


def about_words(entry: Entry) -> str:
    """The day of an entry, where it is from, and its note."""
    return ", ".join(filter(None, (entry.day.isoformat(), SOURCES.get(entry.source, entry.source), entry.note)))


def _code(entries: Mapping[int, Entry], numbers: list[int], code: str) -> CodeShown:
    mine = [entries[number] for number in numbers]
    shown = tuple(EntryShown(number, volts_words(entries[number]), about_words(entries[number])) for number in numbers)
    return CodeShown(mine[0].kind, code, next_set(mine, mine[0].kind, code), shown)
