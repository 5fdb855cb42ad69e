"""The commands below `faultnet voltages`."""

from pathlib import Path
from typing import Annotated

import typer

from faultnet.cli.options import Db, Json, ShopFile

voltages_app = typer.Typer(
    help="The list of nominal voltages by panel or board: add, remove, list, learn.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@voltages_app.command("add")
def voltages_add(
    code: Annotated[str, typer.Argument(metavar="[CODE]", help="The panel's code as it is printed.")] = "",
    board: Annotated[bool, typer.Option("--board", help="It is the code of a supply or driver board.")] = False,
    loaded: Annotated[
        str, typer.Option("--loaded", metavar="V", help="Volts at the LED plug of a working set, LEDs plugged in.")
    ] = "",
    unplugged: Annotated[
        str, typer.Option("--unplugged", metavar="V", help="Volts with the LED cable out: max hold from switch-on.")
    ] = "",
    source: Annotated[
        str, typer.Option("--source", metavar="FROM", help="Where they are from: measured, label or data_sheet.")
    ] = "measured",
    day: Annotated[str, typer.Option("--day", metavar="YYYY-MM-DD", help="When; else today.")] = "",
    note: Annotated[str, typer.Option("--note", metavar="TEXT", help="One line; no customer's name.")] = "",
    from_: Annotated[
        Path | None,
        typer.Option("--from", metavar="CSV", help="Add a whole list, as `list --csv` writes one."),
    ] = None,
    db: Db = "",
    shop: ShopFile = "",
) -> None:
    """Add the voltages of a working set to the list, for the next one with the same panel or board."""
    from datetime import date

    from faultnet.cli.voltages import add, add_from
    from faultnet.workshop.voltages_typed import VoltsTyped

    if from_ is not None:
        add_from(from_, db=db, shop_file=shop)
        return
    typed = VoltsTyped("board" if board else "panel", code, loaded, unplugged, source, day, note)
    add(typed, today=date.today(), db=db, shop_file=shop)


@voltages_app.command("remove")
def voltages_remove(
    code: Annotated[str, typer.Argument(metavar="CODE", help="The code as it stands in the list.")],
    board: Annotated[bool, typer.Option("--board", help="It is the code of a supply or driver board.")] = False,
    loaded: Annotated[str, typer.Option("--loaded", metavar="V", help="Which one: that with these volts.")] = "",
    unplugged: Annotated[str, typer.Option("--unplugged", metavar="V", help="Which one: that with these volts.")] = "",
    day: Annotated[str, typer.Option("--day", metavar="YYYY-MM-DD", help="Which one: that of this day.")] = "",
    db: Db = "",
    shop: ShopFile = "",
) -> None:
    """Take an entry that was a slip out of the list."""
    from faultnet.cli.voltages import remove
    from faultnet.workshop.voltages_typed import VoltsTyped

    typed = VoltsTyped("board" if board else "panel", code, loaded, unplugged, "", day, "")
    remove(typed, db=db, shop_file=shop)


@voltages_app.command("list")
def voltages_list(
    code: Annotated[str, typer.Argument(metavar="[CODE]", help="Only this panel or board.")] = "",
    db: Db = "",
    shop: ShopFile = "",
    csv: Annotated[bool, typer.Option("--csv", help="As CSV, for a spreadsheet or another shop.")] = False,
    json: Json = False,
) -> None:
    """The list of voltages, and what it says of the next set with each code."""
    from faultnet.cli.voltages import list_

    list_(code, db=db, shop_file=shop, as_csv=csv, as_json=json)


@voltages_app.command("learn")
def voltages_learn(
    yes: Annotated[bool, typer.Option("--yes", help="Put them into the list; without it, only look.")] = False,
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Nominal voltages from past jobs: readings that were surely normal, by panel code, with the sets behind each."""
    from faultnet.cli.voltages import learn

    learn(is_sure=yes, db=db, shop_file=shop, as_json=json)
