"""What is learned from past jobs: `tune`."""

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
        float,
        typer.Option("--strength", metavar="X", help="Times how much the file's numbers count.", min=0.01, max=100),
    ] = 1.0,
    starts: Annotated[int, typer.Option("--starts", metavar="N", help="Other starts to try.", min=0, max=50)] = 1,
    no_blanks: Annotated[bool, typer.Option("--no-blanks", help="Do not try what blanks could mean.")] = False,
    seed: Annotated[int, typer.Option("--seed", metavar="S", help="Seed of the other starts.", min=0)] = 0,
    accept: Annotated[bool, typer.Option("--accept", help="Make it the newest version, used from now on.")] = False,
    by: By = "",
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why it is accepted.")] = "",
    full: Annotated[bool, typer.Option("--full", help="Every number.")] = False,
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Learn from past jobs: numbers before and after, the jobs behind each, and whether it changes the advice.

    Nothing is changed without --accept, and `faultnet model undo` takes that back. At least 30 ended jobs are needed.
    """
    from faultnet.cli.tune import tune_model
    from faultnet.workshop.tuning import Wanted

    wanted = Wanted(model, tuple(from_ or ()), before, strength, starts, not no_blanks, seed)
    tune_model(wanted, accepting=accept, by=by, reason=reason, db=db, shop=shop, full=full, as_json=json)
