"""Changing the shop's settings where they are kept."""

import os
from collections.abc import Callable, Sequence
from pathlib import Path

from faultnet.errors import StoreProblem, UsageProblem
from faultnet.shop import Shop
from faultnet.shop.edit import Change, Changed, change_settings
from faultnet.shop.find import usual_settings_file
from faultnet.store.database import parse_url


def change(
    shop_file: str, changes: Sequence[Change], approve: Callable[[Shop], object] = lambda _: None
) -> tuple[Path, Changed]:
    """Make all of the changes, or none; where, and what they changed. shop_file: as `place_to_write` has it.

    approve: looks at the shop as it would be, and raises to leave all as it is. UsageProblem lists every slip; nothing
    was changed then. The rest as `shop.edit.change_settings`.
    """
    file = place_to_write(shop_file)

    def approved(shop: Shop) -> None:
        _has_a_database(shop)
        approve(shop)

    return file, change_settings(file, changes, approved)


def place_to_write(shop_file: str) -> Path:
    """The settings file to write, which is made if need be: as named, else that of `FAULTNET_SHOP`, else the usual."""
    in_environment = os.environ.get("FAULTNET_SHOP", "")
    if named := shop_file or in_environment.replace(os.devnull, ""):
        return Path(named)
    usual = usual_settings_file()
    if usual is None:
        raise UsageProblem("there is no config folder without a home; name a file with --shop FILE")
    return usual


def _has_a_database(shop: Shop) -> None:
    """UsageProblem: the settings name a database that can be none."""
    try:
        parse_url(shop.database)
    except StoreProblem as error:
        raise UsageProblem(f"database.url: {error}", "nothing was changed") from None
