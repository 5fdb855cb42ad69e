"""Where a shop's database is, and its list of voltages for an answer that needs no more than that."""

import os
from pathlib import Path

from faultnet.errors import StoreProblem
from faultnet.files.finder import data_folder
from faultnet.files.versions import versions_folder
from faultnet.shop import Shop
from faultnet.shop.voltages import Entry

DATABASE_FILE = "shop.db"


def usual_database(shop: Shop) -> str:
    """Where the database is: as `FAULTNET_DB` says, else the shop's settings, else a file in the data folder."""
    if named := os.environ.get("FAULTNET_DB", "") or shop.database:
        return named
    try:
        return str(data_folder() / DATABASE_FILE)
    except RuntimeError:
        raise StoreProblem("there is no data folder without a home; name a database with --db or FAULTNET_DB") from None


def known_versions(database: str) -> Path | None:
    """Where the versions of models are that a database has; None without a home."""
    try:
        return versions_folder(database)
    except RuntimeError:
        return None


def listed_voltages(shop: Shop, database: str = "") -> list[Entry]:
    """The shop's list of voltages; empty where there is no database yet. StoreProblem: it cannot be read."""
    place = database or usual_database(shop)
    if "://" not in place and not Path(place).exists():
        return []
    from faultnet.store.database import open_database
    from faultnet.store.voltages import read_voltages

    opened = open_database(place)
    with opened.read() as connection:
        entries = read_voltages(connection)
    opened.close()
    return entries
