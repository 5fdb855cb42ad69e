"""The commands below `faultnet shop`."""

from pathlib import Path
from typing import Annotated

import typer

from faultnet.cli.options import Db, Json, ShopFile

shop_app = typer.Typer(
    help="The shop's settings and database: info, set, check, backup, restore.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@shop_app.command("info")
def shop_info(shop: ShopFile = "", json: Json = False) -> None:
    """Every setting with its value and where it comes from, the meters, and which files are used."""
    from faultnet.cli.shop import info

    info(shop, as_json=json)


@shop_app.command("set")
def shop_set(
    changes: Annotated[
        list[str] | None, typer.Argument(metavar="[KEY VALUE]...", help="Settings, as `shop info` names them.")
    ] = None,
    unset: Annotated[list[str] | None, typer.Option("--unset", metavar="KEY", help="Back to the default.")] = None,
    shop: ShopFile = "",
) -> None:
    """Change settings in shop.toml, all or none: shop set hourly_rate 52 gates.panel 0.92. Comments stay."""
    from faultnet.cli.shop import set_

    set_(changes or [], unset or [], shop)


@shop_app.command("backup")
def shop_backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The file to write, such as shop.zip.")],
    force: Annotated[bool, typer.Option("--force", help="Replace a file that is there already.")] = False,
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Write the whole shop into one file: database, settings, list of voltages, own models."""
    from faultnet.cli.backups import backup

    backup(file, replacing=force, db=db, shop=shop, as_json=json)


@shop_app.command("restore")
def shop_restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A backup, of SQLite or PostgreSQL.")],
    sure: Annotated[bool, typer.Option("--sure", help="Put it in the place of the jobs that are there.")] = False,
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Put a backup in the place of the shop as it is, in either kind of database; that is backed up first."""
    from faultnet.cli.backups import put_back

    put_back(file, sure=sure, db=db, shop=shop, as_json=json)


@shop_app.command("check")
def shop_check(db: Db = "", shop: ShopFile = "", json: Json = False) -> None:
    """Look through the whole database: is it whole, does it agree with itself, does every model know its jobs."""
    from faultnet.cli.backups import check

    check(db=db, shop=shop, as_json=json)
