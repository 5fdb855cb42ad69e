"""The commands below `faultnet voltages`."""

from typing import Annotated

import typer

from faultnet.cli.options import Json, ShopFile, VoltagesFile

voltages_app = typer.Typer(
    help="The list of nominal voltages by panel or board: add, list.", no_args_is_help=True, rich_markup_mode=None
)


@voltages_app.command("add")
def voltages_add(
    code: Annotated[str, typer.Argument(metavar="CODE", help="The panel's code as it is printed.")],
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
    file: VoltagesFile = "",
    shop: ShopFile = "",
) -> None:
    """Add the voltages of a working set to the list, for the next one with the same panel or board."""
    from datetime import date

    from faultnet.cli.voltages import VoltsTyped, add

    typed = VoltsTyped("board" if board else "panel", code, loaded, unplugged, source, day, note)
    add(typed, today=date.today(), file=file, shop_file=shop)


@voltages_app.command("list")
def voltages_list(
    code: Annotated[str, typer.Argument(metavar="[CODE]", help="Only this panel or board.")] = "",
    file: VoltagesFile = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """The list of voltages, and what it says of the next set with each code."""
    from faultnet.cli.voltages import list_

    list_(code, file=file, shop_file=shop, as_json=json)
