"""The shop's list of nominal voltages in the database."""

from collections.abc import Iterable
from datetime import date

import sqlalchemy as sa
from sqlalchemy import Connection

from faultnet.jobs.codes import code_key
from faultnet.shop.voltages import Entry
from faultnet.store.tables import voltages


def insert_voltages(connection: Connection, entries: Iterable[Entry]) -> None:
    """Add entries to the list."""
    rows = [
        {
            "kind": entry.kind,
            "code": entry.code,
            "code_key": code_key(entry.code),
            "loaded_volts": entry.loaded_volts,
            "unplugged_volts": entry.unplugged_volts,
            "source": entry.source,
            "day": entry.day.isoformat(),
            "note": entry.note,
        }
        for entry in entries
    ]
    if rows:
        connection.execute(voltages.insert(), rows)


def read_voltages(connection: Connection) -> list[Entry]:
    """The whole list, in the order in which it was written."""
    return [*numbered_voltages(connection).values()]


def numbered_voltages(connection: Connection) -> dict[int, Entry]:
    """The same by number; that of an entry which was taken out may be given again."""
    return {
        row.id: Entry(
            date.fromisoformat(row.day),
            row.kind,
            row.code,
            row.loaded_volts,
            row.unplugged_volts,
            row.source,
            row.note,
        )
        for row in connection.execute(voltages.select().order_by(voltages.c.id))
    }


def delete_voltages(connection: Connection, entry: Entry) -> None:
    """Take this entry out of the list; of several that say the same, the last one."""
    same = (
        (voltages.c.day == entry.day.isoformat())
        & (voltages.c.kind == entry.kind)
        & (voltages.c.code == entry.code)
        & voltages.c.loaded_volts.is_not_distinct_from(entry.loaded_volts)
        & voltages.c.unplugged_volts.is_not_distinct_from(entry.unplugged_volts)
        & (voltages.c.source == entry.source)
        & (voltages.c.note == entry.note)
    )
    last = sa.select(sa.func.max(voltages.c.id)).where(same).scalar_subquery()
    connection.execute(voltages.delete().where(voltages.c.id == last))
