"""What an analyst asks of past jobs."""

from pathlib import Path
from typing import Annotated

import typer

from faultnet.cli.options import Db, Json, ModelName, ShopFile

analyse_app = typer.Typer()


@analyse_app.command()
def calibration(
    model: ModelName,
    since: Annotated[
        str, typer.Option("--since", metavar="DAY", help="Judge jobs from here on; learn from those before.")
    ] = "",
    from_: Annotated[
        list[Path] | None,
        typer.Option("--from", metavar="FILE", help="Past jobs in Parquet or CSV, in place of the shop's own."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Write the diagrams' rows as .csv or .parquet.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option("--plot", metavar="FILE", help="Draw the diagrams as .svg or .png.")
    ] = None,
    seed: Annotated[int, typer.Option("--seed", metavar="S", help="Of resampling and of the bands.", min=0)] = 0,
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Can its chances be trusted? What it said of past jobs before the first repair, beside how they turned out.

    Numbers are learned from the jobs before, never from those judged; a named version (backlight@0) is used as it is.
    """
    from faultnet.cli.calibration import Shown, show_calibration
    from faultnet.workshop.calibrating import Wanted

    wanted = Wanted(model, since, tuple(from_ or ()), seed)
    show_calibration(wanted, Shown(out, plot, json), db=db, shop=shop)
