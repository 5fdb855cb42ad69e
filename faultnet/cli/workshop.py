"""The shop at work, for every command that reads or writes its database."""

import os
from datetime import UTC, datetime

from faultnet.workshop.workshop import Workshop, open_workshop


def workshop_of(db: str, shop: str) -> Workshop:
    """The shop at work, with the machine's clock; `FAULTNET_NOW` stops it, for examples that look the same each day."""
    stopped = os.environ.get("FAULTNET_NOW")
    return open_workshop(lambda: datetime.fromisoformat(stopped) if stopped else datetime.now(UTC), shop, db)
