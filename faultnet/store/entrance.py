"""Who may come in from the network: the page's PIN, what its cookies are signed with, and wrong tries of late."""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy import Connection

from faultnet.store.tables import entrance, wrong_pins


@dataclass(frozen=True)
class Entrance:
    """The PIN that opens the page from the network, and the secret that signs the cookies of those who are in."""

    pin: str
    secret: str


def read_entrance(connection: Connection, *, to_write: bool = False) -> Entrance | None:
    """The PIN and the secret, None where none were made yet. to_write: no other try is counted meanwhile."""
    query = entrance.select()
    row = connection.execute(query.with_for_update() if to_write else query).first()
    return None if row is None else Entrance(row.pin, row.secret)


def write_entrance(connection: Connection, made: Entrance, at: datetime) -> None:
    """Put a PIN and a secret in the place of those there are; wrong tries of the old PIN are forgotten."""
    connection.execute(entrance.delete())
    connection.execute(wrong_pins.delete())
    connection.execute(entrance.insert().values(id=1, pin=made.pin, secret=made.secret, at=at))


def note_wrong(connection: Connection, address: str, at: datetime, forgotten: datetime) -> None:
    """Note a wrong try; those before `forgotten` go."""
    connection.execute(wrong_pins.delete().where(wrong_pins.c.at < forgotten))
    connection.execute(wrong_pins.insert().values(address=address, at=at))


def wrong_since(connection: Connection, since: datetime) -> list[tuple[str, datetime]]:
    """Wrong tries since a moment, by address, the oldest first."""
    query = sa.select(wrong_pins.c.address, wrong_pins.c.at).where(wrong_pins.c.at >= since).order_by(wrong_pins.c.at)
    return [(row.address, row.at) for row in connection.execute(query)]
