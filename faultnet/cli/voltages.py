"""`faultnet voltages add`, `remove`, `list` and `learn`: the shop's list of nominal voltages."""

import json
from collections.abc import Collection, Iterator
from datetime import date
from pathlib import Path

from faultnet.cli.blocks import table_lines
from faultnet.cli.progress import counted
from faultnet.cli.terminal import bold, note, wrapped, wrapped_table
from faultnet.cli.workshop import workshop_of
from faultnet.jobs.codes import code_key
from faultnet.shop.voltages import Entry, nearest_codes
from faultnet.shop.voltages_file import csv_text, read_entries
from faultnet.store.voltages import delete_voltages, insert_voltages, read_voltages
from faultnet.telling.voltages import entries_json, entry_words, learned_table, learned_words, next_set, next_sets
from faultnet.workshop.nominals import keep_nominals, learn_nominals
from faultnet.workshop.voltages_typed import VoltsTyped, doubts, parse_entry, the_one_meant

NOT_LISTED = "nothing; it is no longer in the list"

# -- add -------------------------------------------------------------------------------------------------------------


def add(typed: VoltsTyped, *, today: date, db: str, shop_file: str) -> None:
    """Add an entry, and print what the list now says of the next set."""
    workshop = workshop_of(db, shop_file)
    entry = parse_entry(typed, today, decimal_comma=workshop.shop.settings.decimal_comma)
    with workshop.database.write() as connection:
        before = read_voltages(connection)
        insert_voltages(connection, [entry])
    print(wrapped(f"Added: {entry_words(entry)}", 0, 2))
    print(wrapped(f"The next set with it: {next_set([*before, entry], entry.kind, entry.code)}", 0, 2))
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


# -- remove ----------------------------------------------------------------------------------------------------------


def remove(typed: VoltsTyped, *, db: str, shop_file: str) -> None:
    """Take one entry out of the list, and print what the list now says. UsageProblem: it is not clear which one."""
    workshop = workshop_of(db, shop_file)
    with workshop.database.write() as connection:
        before = read_voltages(connection)
        entry = the_one_meant(typed, before, decimal_comma=workshop.shop.settings.decimal_comma)
        delete_voltages(connection, entry)
        after = read_voltages(connection)
    print(wrapped(f"Taken out: {entry_words(entry)}", 0, 2))
    print(wrapped(f"The next set with it: {next_set(after, entry.kind, entry.code) or NOT_LISTED}", 0, 2))


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
        print(json.dumps(entries_json(workshop.database.shown, shown), indent=2))
    elif shown:
        print("\n".join(_list_text(shown)))
    if code and entries and not shown:
        close = [c for kind in ("panel", "board") for c in nearest_codes(entries, kind, code)]
        note(f"{code} is not in the list of voltages" + (f"; did you mean {' or '.join(close)}?" if close else ""))
    elif not entries and not as_json and not as_csv:
        print("No voltages yet: `faultnet voltages add CODE --loaded V` puts one in.")


def _list_text(entries: Collection[Entry]) -> Iterator[str]:
    rows = [("day", "kind", "code", "loaded", "unplugged", "source", "note")]
    rows += [
        (e.day.isoformat(), e.kind, e.code, _cell(e.loaded_volts), _cell(e.unplugged_volts), e.source, e.note)
        for e in entries
    ]
    yield from wrapped_table(rows, "lllrrll")
    yield ""
    yield bold("The next set with it")
    for line in next_sets(entries):
        yield wrapped(line, 2, 6)


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
        told_of = entries_json(workshop.database.shown, found.entries)
        print(json.dumps({**told_of, "jobs": found.n_jobs, "kept": is_sure, "known": found.n_known}, indent=2))
        return
    print(wrapped(learned_words(found), 0, 2))
    if found.entries:
        print("\n".join(table_lines(learned_table(found))))
        print(
            "Put into the list." if is_sure else "Nothing was written. To put them into the list: the same with --yes"
        )
