"""The shop's list of nominal voltages, told: its entries, and what it says of the next set with each code."""

from collections.abc import Collection, Iterator
from typing import Any

from faultnet.case.words import nominal_words
from faultnet.jobs.codes import code_key
from faultnet.shop.voltages import Entry, nominal_of
from faultnet.telling.answer_json import nominal_json
from faultnet.telling.block import Table
from faultnet.workshop.nominals import Learned
from faultnet.workshop.voltages_typed import volts_words

SCHEMA_VERSION = 1

SOURCES = {"measured": "measured on a working set", "label": "from a label", "data_sheet": "from a data sheet"}
"""Where an entry may be from, in words."""


def entry_words(entry: Entry) -> str:
    """An entry in one line: "2031-05-17 panel PX-1040, 54.2 V loaded (measured)"."""
    return f"{entry.day} {entry.kind} {entry.code}, {volts_words(entry)} ({entry.source})"


def codes_in(entries: Collection[Entry]) -> dict[tuple[str, str], str]:
    """Every kind and key in a list, with the code as it was typed first."""
    codes: dict[tuple[str, str], str] = {}
    for entry in entries:
        codes.setdefault((entry.kind, code_key(entry.code)), entry.code)
    return codes


def next_sets(entries: Collection[Entry]) -> Iterator[str]:
    """What a list says of the next set with each code, a line each."""
    for (kind, _), code in codes_in(entries).items():
        nominal = nominal_of(entries, kind, code)
        if nominal is not None:
            yield f"{kind} {code}: {nominal_words(nominal)}"


def next_set(entries: Collection[Entry], kind: str, code: str) -> str:
    """What a list says of the next set with one code; "" where it does not have it."""
    nominal = nominal_of(entries, kind, code)
    return "" if nominal is None else nominal_words(nominal)


def entries_json(database: str, entries: Collection[Entry]) -> dict[str, Any]:
    """A list as plain values, for JSON."""
    codes = []
    for (kind, _), code in codes_in(entries).items():
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


def learned_words(found: Learned) -> str:
    """How many jobs were looked through, and how many sets had a reading to learn from."""
    known = f", {found.n_known} of them are in the list already" if found.n_known else ""
    return f"{found.n_jobs} jobs looked through{known}; {len(found.entries)} sets with a surely normal reading"


def learned_table(found: Learned) -> Table:
    """What was learned of each panel, with the sets behind it."""
    rows = []
    for (kind, _), code in codes_in(found.entries).items():
        nominal = nominal_of(found.entries, kind, code)
        if nominal is not None:
            rows.append((code, str(nominal.readings), nominal_words(nominal)))
    return Table(tuple(rows), ("panel", "sets", "the next one with it"), "lrl", folds=True)
