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
    from faultnet.cli.calibration import show_calibration
    from faultnet.cli.shown import Shown
    from faultnet.workshop.calibrating import Wanted

    wanted = Wanted(model, since, tuple(from_ or ()), seed)
    show_calibration(wanted, Shown(out, plot, json), db=db, shop=shop)


@analyse_app.command()
def rates(
    of: Annotated[
        str,
        typer.Argument(
            metavar="[WHAT]", help="component, mode, comebacks, or a column: outcome, panel_group, age, month..."
        ),
    ] = "component",
    by: Annotated[
        str,
        typer.Option(
            "--by",
            metavar="COLUMN[,COLUMN]",
            help="For each value of one column, or of two; comebacks also by repair, part_source.",
        ),
    ] = "",
    model: Annotated[str, typer.Option("--model", metavar="MODEL", help="Of which model's jobs, if of several.")] = "",
    from_: Annotated[
        list[Path] | None,
        typer.Option("--from", metavar="FILE", help="Past jobs in Parquet or CSV, in place of the shop's own."),
    ] = None,
    since: Annotated[str, typer.Option("--since", metavar="DAY", help="Only jobs that came in from here on.")] = "",
    before: Annotated[str, typer.Option("--before", metavar="DAY", help="Only jobs that came in before.")] = "",
    counted: Annotated[bool, typer.Option("--counted", help="Labels alone, at once whatever the size.")] = False,
    as_is: Annotated[bool, typer.Option("--as-is", help="Do not learn first where nothing was learned yet.")] = False,
    in_service: Annotated[
        Path | None,
        typer.Option("--in-service", metavar="CSV", help="Sets in service: also jobs per 1,000 set-years."),
    ] = None,
    days: Annotated[
        float, typer.Option("--days", metavar="N", help="Comebacks: how long a set is watched.", min=1)
    ] = 90.0,
    any_symptom: Annotated[bool, typer.Option("--any-symptom", help="Comebacks: with another symptom, too.")] = False,
    most: Annotated[int, typer.Option("--most", metavar="N", help="Weigh so many jobs at most.", min=100)] = 4_000,
    seed: Annotated[int, typer.Option("--seed", metavar="S", help="Of the draws.", min=0)] = 0,
    full: Annotated[bool, typer.Option("--full", help="Everything, of every group.")] = False,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Every row as .csv or .parquet.")] = None,
    plot: Annotated[Path | None, typer.Option("--plot", metavar="FILE", help="A plot as .svg or .png.")] = None,
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """How often each part or failure mode was the case, or anything else, with intervals and the jobs behind them.

    Labels are counted, and jobs weighed by all that is written of each. At least 10 ended jobs are needed.
    """
    from faultnet.cli.rates import show_rates
    from faultnet.cli.shown import Shown
    from faultnet.workshop.rating import Wanted

    columns = tuple(filter(None, (each.strip() for each in by.split(","))))
    wanted = Wanted(
        model, of, columns, since, before, tuple(from_ or ()), counted, as_is, most, seed, in_service, days, any_symptom
    )
    show_rates(wanted, Shown(out, plot, json, full), db=db, shop=shop)
