"""What is learned from past jobs, and how well it would have done: `tune`, `backtest`."""

from pathlib import Path
from typing import Annotated

import typer

from faultnet.cli.options import By, Db, Json, ModelName, ShopFile

learn_app = typer.Typer()


@learn_app.command()
def tune(
    model: ModelName,
    from_: Annotated[
        list[Path] | None,
        typer.Option("--from", metavar="FILE", help="Past jobs in Parquet or CSV, in place of the shop's own."),
    ] = None,
    before: Annotated[str, typer.Option("--before", metavar="DAY", help="Only jobs that came in before.")] = "",
    strength: Annotated[
        str,
        typer.Option(
            "--strength",
            metavar="X",
            help="Times how much the file's numbers count; `data`: table rows for as much as the jobs say.",
        ),
    ] = "1",
    groups: Annotated[
        str,
        typer.Option(
            "--groups",
            metavar="COLUMN",
            help="Shares by this column too: panel_group, panel, board, size, age...; or none.",
        ),
    ] = "panel_group",
    half_life: Annotated[
        float,
        typer.Option(
            "--half-life", metavar="MONTHS", help="Jobs so much older than the last count for half; 0: no less.", min=0
        ),
    ] = 0.0,
    starts: Annotated[int, typer.Option("--starts", metavar="N", help="Other starts to try.", min=0, max=50)] = 1,
    no_blanks: Annotated[bool, typer.Option("--no-blanks", help="Do not try what blanks could mean.")] = False,
    seed: Annotated[int, typer.Option("--seed", metavar="S", help="Seed of the other starts.", min=0)] = 0,
    accept: Annotated[bool, typer.Option("--accept", help="Make it the newest version, used from now on.")] = False,
    by: By = "",
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why it is accepted.")] = "",
    picture: Annotated[
        str, typer.Option("--picture", metavar="FILE.svg", help="Also draw the shares before and after.")
    ] = "",
    full: Annotated[bool, typer.Option("--full", help="Every number.")] = False,
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Learn from past jobs: numbers before and after, the jobs behind each, and whether it changes the advice.

    Nothing is changed without --accept, and `faultnet model undo` takes that back. At least 30 ended jobs are needed.
    """
    from faultnet.cli.tune import strength_of, tune_model
    from faultnet.workshop.tuning import Wanted

    column = "" if groups == "none" else groups
    counts_for = strength_of(strength)
    wanted = Wanted(model, tuple(from_ or ()), before, counts_for, column, half_life, starts, not no_blanks, seed)
    tune_model(
        wanted, accepting=accept, by=by, reason=reason, picture=picture, db=db, shop=shop, full=full, as_json=json
    )


@learn_app.command()
def backtest(
    model: ModelName,
    since: Annotated[
        str, typer.Option("--since", metavar="DAY", help="Replay jobs from here on; learn from those before.")
    ] = "",
    most: Annotated[int, typer.Option("--most", metavar="N", help="Replay so many at most.", min=10)] = 200,
    no_imputed: Annotated[bool, typer.Option("--no-imputed", help="Without the simulated table.")] = False,
    seed: Annotated[int, typer.Option("--seed", metavar="S", help="Of resampling and made-up results.", min=0)] = 0,
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Replay past jobs: this model's plan and advice, the shop's own order and a fixed flow chart, on recorded results.

    Numbers are learned from the jobs before, never from those replayed; a named version (backlight@0) is used as it is.
    """
    from faultnet.cli.backtest import show_backtest
    from faultnet.workshop.backtesting import Wanted

    show_backtest(Wanted(model, since, most, not no_imputed, seed), db=db, shop=shop, as_json=json)
