"""`faultnet voltages add`, `remove`, `list` and `learn`: the shop's list of nominal voltages."""

import json
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date
from math import hypot, log
from pathlib import Path
from typing import Any

from faultnet.case.entry import nearest
from faultnet.case.points import NUMBER
from faultnet.case.words import nominal_words
from faultnet.cli.progress import counted
from faultnet.cli.terminal import bold, note, wrapped, wrapped_table
from faultnet.cli.workshop import workshop_of
from faultnet.errors import UsageProblem
from faultnet.jobs.codes import code_key
from faultnet.readings import Spread
from faultnet.readings.learned import ONE_READING_SD
from faultnet.shop.nominal import FAR_APART_SD
from faultnet.shop.voltages import LEAST_VOLTS, MOST_VOLTS, SOURCES, Entry, nearest_codes, nominal_of
from faultnet.shop.voltages_file import csv_text, parse_day, read_entries
from faultnet.store.voltages import delete_voltages, insert_voltages, read_voltages
from faultnet.telling.answer_json import nominal_json
from faultnet.workshop.nominals import keep_nominals, learn_nominals

SCHEMA_VERSION = 1
LONGEST_CODE, LONGEST_NOTE = 60, 300

LEAST_RATIO = 0.95
"""A driver that lights its LEDs goes at least as high without them, but for what two readings may be off (reasoned)."""


@dataclass(frozen=True)
class VoltsTyped:
    """An entry as it was typed."""

    kind: str
    code: str
    loaded: str
    unplugged: str
    source: str
    day: str
    note: str


# -- add -------------------------------------------------------------------------------------------------------------


def add(typed: VoltsTyped, *, today: date, db: str, shop_file: str) -> None:
    """Add an entry, and print what the list now says of the next set."""
    workshop = workshop_of(db, shop_file)
    entry = parse_entry(typed, today, decimal_comma=workshop.shop.settings.decimal_comma)
    with workshop.database.write() as connection:
        before = read_voltages(connection)
        insert_voltages(connection, [entry])
    print(wrapped(f"Added: {entry.day} {entry.kind} {entry.code}, {_volts_words(entry)} ({entry.source})", 0, 2))
    nominal = nominal_of([*before, entry], entry.kind, entry.code)
    if nominal is not None:
        print(wrapped(f"The next set with it: {nominal_words(nominal)}", 0, 2))
    for doubt in doubts(entry, before):
        note(doubt)


def add_from(file: Path, *, db: str, shop_file: str) -> None:
    """Add every entry of a CSV file that the list does not hold yet."""
    workshop = workshop_of(db, shop_file)
    entries = read_entries(file)
    with workshop.database.write() as connection:
        before = set(read_voltages(connection))
        new = [entry for entry in entries if entry not in before]
        insert_voltages(connection, new)
    held = len(entries) - len(new)
    print(f"Added: {len(new)} of {len(entries)} entries" + (f"; {held} were there already" if held else ""))


def doubts(entry: Entry, before: Collection[Entry]) -> Iterator[str]:
    """What to check about an entry; it stands in the list all the same."""
    if entry in before:
        yield "the same stood there already, and and both count, as two sets"
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


def parse_entry(typed: VoltsTyped, today: date, *, decimal_comma: bool) -> Entry:
    """The entry that was typed. UsageProblem lists all slips."""
    problems: list[str] = []
    code, text = typed.code.strip(), typed.note.strip()
    if not code_key(code) or len(code) > LONGEST_CODE or not code.isprintable():
        problems.append(f"CODE {code!r}: write the code as it is printed, at most {LONGEST_CODE} characters")
    if len(text) > LONGEST_NOTE or not text.isprintable():
        problems.append(f"--note: one line of at most {LONGEST_NOTE} characters")
    loaded = _volts("--loaded", typed.loaded, problems, decimal_comma=decimal_comma)
    unplugged = _volts("--unplugged", typed.unplugged, problems, decimal_comma=decimal_comma)
    if not typed.loaded and not typed.unplugged:
        problems.append("give --loaded V or --unplugged V, or both")
    if loaded and unplugged and unplugged < LEAST_RATIO * loaded:
        problems.append(
            f"--unplugged {unplugged:g} is below the loaded {loaded:g} V, so it is no over-voltage limit: read it "
            "with max hold from switch-on, or leave it out"
        )
    source = typed.source.strip().lower().replace("-", "_").replace(" ", "_")
    if source not in SOURCES:
        problems.append(f"--source {typed.source}: it is one of {', '.join(SOURCES)}{nearest(source, SOURCES)}")
    day = parse_day(typed.day.strip()) if typed.day else today
    if day is None:
        problems.append(f"--day {typed.day}: write it as 2031-05-17")
    elif day > today:
        problems.append(f"--day {typed.day} is still to come; today is {today}")
    if problems or day is None:
        raise UsageProblem(*problems)
    return Entry(day, typed.kind, code, loaded, unplugged, source, text)


def _volts(option: str, text: str, problems: list[str], *, decimal_comma: bool) -> float | None:
    """Volts as typed, None where nothing was; slips are added to the problems."""
    number = text.strip().removesuffix("V").removesuffix("v").rstrip()
    if decimal_comma and number.count(",") == 1 and "." not in number:
        number = number.replace(",", ".")
    if not text:
        return None
    if not NUMBER.fullmatch(number):
        comma = "; the decimal sign is '.' unless shop.toml says `decimal_comma = true`" if "," in number else ""
        problems.append(f"{option} {text}: write volts, such as 54.2{comma}")
    elif not LEAST_VOLTS <= float(number) <= MOST_VOLTS:
        problems.append(f"{option} {text}: not from {LEAST_VOLTS:g} to {MOST_VOLTS:g} V")
    else:
        return float(number)
    return None


def _volts_words(entry: Entry) -> str:
    known = (("loaded", entry.loaded_volts), ("unplugged", entry.unplugged_volts))
    return ", ".join(f"{volts:g} V {what}" for what, volts in known if volts is not None)


# -- remove ----------------------------------------------------------------------------------------------------------


def remove(typed: VoltsTyped, *, db: str, shop_file: str) -> None:
    """Take one entry out of the list, and print what the list now says. UsageProblem: it is not clear which one."""
    workshop = workshop_of(db, shop_file)
    with workshop.database.write() as connection:
        before = read_voltages(connection)
        entry = _only_one(typed, before, decimal_comma=workshop.shop.settings.decimal_comma)
        delete_voltages(connection, entry)
        after = read_voltages(connection)
    print(wrapped(f"Taken out: {entry.day} {entry.kind} {entry.code}, {_volts_words(entry)} ({entry.source})", 0, 2))
    nominal = nominal_of(after, entry.kind, entry.code)
    told = "nothing; it is no longer in the list" if nominal is None else nominal_words(nominal)
    print(wrapped(f"The next set with it: {told}", 0, 2))


def _only_one(typed: VoltsTyped, entries: Collection[Entry], *, decimal_comma: bool) -> Entry:
    """The entry that was meant."""
    problems: list[str] = []
    loaded = _volts("--loaded", typed.loaded, problems, decimal_comma=decimal_comma)
    unplugged = _volts("--unplugged", typed.unplugged, problems, decimal_comma=decimal_comma)
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
    listed = "; ".join(f"{entry.day} {_volts_words(entry)}" for entry in different or own)
    which = "none of them fits" if not different else "name one with --loaded, --unplugged or --day"
    raise UsageProblem(f"{typed.code}: {which}: {listed}")


# -- list ------------------------------------------------------------------------------------------------------------


def list_(code: str, *, db: str, shop_file: str, as_csv: bool, as_json: bool) -> None:
    """Print the entries, of one code or of all, and what they say of the next set."""
    workshop = workshop_of(db, shop_file)
    with workshop.database.read() as connection:
        entries = read_voltages(connection)
    shown = [entry for entry in entries if not code or code_key(entry.code) == code_key(code)]
    if as_csv:
        print(csv_text(shown), end="")
    elif as_json:
        print(json.dumps(_list_json(workshop.database.shown, shown), indent=2))
    elif shown:
        print("\n".join(_list_text(shown)))
    if code and entries and not shown:
        close = [c for kind in ("panel", "board") for c in nearest_codes(entries, kind, code)]
        note(f"{code} is not in the list of voltages" + (f"; did you mean {' or '.join(close)}?" if close else ""))
    elif not entries and not as_json and not as_csv:
        print("No voltages yet: `faultnet voltages add CODE --loaded V` puts one in.")


def _codes(entries: Collection[Entry]) -> dict[tuple[str, str], str]:
    """Every kind and key in the list, with the code as it was typed first."""
    codes: dict[tuple[str, str], str] = {}
    for entry in entries:
        codes.setdefault((entry.kind, code_key(entry.code)), entry.code)
    return codes


def _list_json(database: str, entries: Collection[Entry]) -> dict[str, Any]:
    codes = []
    for (kind, _), code in _codes(entries).items():
        nominal = nominal_of(entries, kind, code)
        codes.append({"kind": kind, "code": code, "nominal": None if nominal is None else nominal_json(nominal)})
    return {
        "schema_version": SCHEMA_VERSION,
        "database": database,
        "entries": [
            {
                "day": e.day.isoformat(),
                "kind": e.kind,
                "code": e.code,
                "loaded_volts": e.loaded_volts,
                "unplugged_volts": e.unplugged_volts,
                "source": e.source,
                "note": e.note,
            }
            for e in entries
        ],
        "codes": codes,
    }


def _list_text(entries: Collection[Entry]) -> Iterator[str]:
    rows = [("day", "kind", "code", "loaded", "unplugged", "source", "note")]
    rows += [
        (e.day.isoformat(), e.kind, e.code, _cell(e.loaded_volts), _cell(e.unplugged_volts), e.source, e.note)
        for e in entries
    ]
    yield from wrapped_table(rows, "lllrrll")
    yield ""
    yield bold("The next set with it")
    for (kind, _), code in _codes(entries).items():
        nominal = nominal_of(entries, kind, code)
        if nominal is not None:
            yield wrapped(f"{kind} {code}: {nominal_words(nominal)}", 2, 6)


def _cell(volts: float | None) -> str:
    return "" if volts is None else f"{volts:g} V"


# -- learn -----------------------------------------------------------------------------------------------------------


def learn(*, is_sure: bool, db: str, shop_file: str, as_json: bool) -> None:
    """Print what past jobs say of nominal voltages, and put it into the list where somebody said so."""
    workshop = workshop_of(db, shop_file)
    with counted("looking through", "jobs") as told:
        found = learn_nominals(workshop, told)
    if is_sure and found.entries:
        keep_nominals(workshop, found)
    if as_json:
        told_of = _list_json(workshop.database.shown, found.entries)
        print(json.dumps({**told_of, "jobs": found.n_jobs, "kept": is_sure, "known": found.n_known}, indent=2))
        return
    known = f", {found.n_known} of them are in the list already" if found.n_known else ""
    print(
        wrapped(
            f"{found.n_jobs} jobs looked through{known}; {len(found.entries)} sets with a surely normal reading", 0, 2
        )
    )
    rows = [("panel", "sets", "the next one with it")]
    for (kind, _), code in _codes(found.entries).items():
        nominal = nominal_of(found.entries, kind, code)
        if nominal is not None:
            rows.append((code, str(nominal.readings), nominal_words(nominal)))
    if found.entries:
        print("\n".join(wrapped_table(rows, "lrl")))
        print(
            "Put into the list." if is_sure else "Nothing was written. To put them into the list: the same with --yes"
        )
