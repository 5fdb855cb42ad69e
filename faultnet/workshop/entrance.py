"""Coming in from the network: a PIN, and no end of tries for nobody."""

import hmac
import secrets
from datetime import timedelta

from faultnet.errors import UsageProblem
from faultnet.store.entrance import Entrance, note_wrong, read_entrance, write_entrance, wrong_since
from faultnet.workshop.workshop import Workshop

PIN_DIGITS = 6

WAIT = timedelta(minutes=15)
"""How long wrong tries count."""

MOST_WRONG, MOST_WRONG_IN_ALL = 5, 25
"""So many wrong tries of one address, and of all together, within that time; after them no PIN is looked at. A million
PINs at 100 tries an hour take more than a year to go through."""


class ShutOut(UsageProblem):
    """Too many wrong PINs of late."""


def entrance_of(workshop: Workshop, *, anew: bool = False) -> Entrance:
    """The PIN of the page and the secret of its cookies, made where there are none. anew: others; all sign in again."""
    with workshop.database.write() as connection:
        known = None if anew else read_entrance(connection, to_write=True)
        if known is None:
            known = Entrance("".join(secrets.choice("0123456789") for _ in range(PIN_DIGITS)), secrets.token_hex())
            write_entrance(connection, known, workshop.clock())
    return known


def is_right_pin(workshop: Workshop, pin: str, address: str) -> bool:
    """Whether this is the PIN; a wrong one is counted. ShutOut: too many were wrong, so that no try counts now."""
    now = workshop.clock()
    with workshop.database.write() as connection:
        known = read_entrance(connection, to_write=True)
        wrong = wrong_since(connection, now - WAIT)
        own = [at for tried_from, at in wrong if tried_from == address]
        if len(own) >= MOST_WRONG or len(wrong) >= MOST_WRONG_IN_ALL:
            raise ShutOut(
                f"too many wrong PINs; no PIN is looked at for {WAIT.seconds // 60} minutes. Where the page was "
                "started, `faultnet serve --lan --new-pin` makes another one"
            )
        is_right = known is not None and hmac.compare_digest(pin.encode(), known.pin.encode())
        if not is_right:
            note_wrong(connection, address, now, now - WAIT)
        return is_right
