"""The commands below `faultnet history`, and `simulate`."""

from pathlib import Path
from typing import Annotated

import typer

from faultnet.cli.options import By, Db, Json, ShopFile

simulate_app = typer.Typer()
history_app = typer.Typer(help="Past jobs: import, export, summary.", no_args_is_help=True, rich_markup_mode=None)


@history_app.command("import")
def history_import(
    file: Annotated[Path | None, typer.Argument(metavar="[FILE]", help="CSV, XLSX, ODS or Parquet.")] = None,
    model: Annotated[str, typer.Option("--model", metavar="MODEL", help="The model that its jobs are about.")] = "",
    map_: Annotated[
        Path | None, typer.Option("--map", metavar="FILE", help="What the columns are; written if there is none.")
    ] = None,
    sheet: Annotated[
        str, typer.Option("--sheet", metavar="NAME", help="Of a spreadsheet; else the first filled.")
    ] = "",
    encoding: Annotated[str, typer.Option("--encoding", metavar="NAME", help="Of a CSV; else found out.")] = "",
    delimiter: Annotated[str, typer.Option("--delimiter", metavar="MARK", help="Of a CSV; else found out.")] = "",
    decimal_comma: Annotated[bool, typer.Option("--decimal-comma", help="54,2 is 54.2 in this file.")] = False,
    days: Annotated[str, typer.Option("--days", metavar="FORM", help="How days are written, such as %d/%m/%Y.")] = "",
    yes: Annotated[bool, typer.Option("--yes", help="Take it in; without it, only look through it.")] = False,
    partial: Annotated[bool, typer.Option("--partial", help="Take the good rows although some are bad.")] = False,
    rejected: Annotated[
        Path, typer.Option("--rejected", metavar="CSV", help="Where rows that cannot be taken go.")
    ] = Path("rejected.csv"),
    undo: Annotated[int | None, typer.Option("--undo", metavar="N", help="Take batch N out again.")] = None,
    batches: Annotated[bool, typer.Option("--batches", help="List the batches that came in.")] = False,
    by: By = "",
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Past jobs from a table: looked through first, then taken in as a batch that can be undone."""
    from faultnet.cli.history import ImportTyped, import_, list_batches_in, undo_batch_in

    if undo is not None:
        undo_batch_in(undo, db=db, shop=shop, as_json=json)
    elif batches:
        list_batches_in(db=db, shop=shop, as_json=json)
    else:
        typed = ImportTyped(file, model, map_, sheet, encoding, delimiter, decimal_comma, days, rejected, by)
        import_(typed, is_sure=yes, partial=partial, db=db, shop=shop, as_json=json)


@history_app.command("export")
def history_export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="FILE.csv or FILE.parquet.")],
    as_: Annotated[
        str, typer.Option("--as", metavar="WHAT", help="open_repair: the columns of the Open Repair Data Standard.")
    ] = "",
    provider: Annotated[str, typer.Option("--provider", metavar="NAME", help="There: who gives the data.")] = "",
    country: Annotated[str, typer.Option("--country", metavar="XXX", help="There: ISO 3166, three letters.")] = "",
    db: Db = "",
    shop: ShopFile = "",
) -> None:
    """Every job as a table: one row a job, a column for each observation."""
    from faultnet.cli.history import export

    export(file, as_=as_, provider=provider, country=country, db=db, shop=shop)


@history_app.command("summary")
def history_summary(db: Db = "", shop: ShopFile = "", json: Json = False) -> None:
    """What the jobs amount to: how they ended, what was recorded and what not, by month and panel."""
    from faultnet.cli.summary import show_summary

    show_summary(db=db, shop=shop, as_json=json)


@simulate_app.command("simulate")
def simulate(
    model: Annotated[str, typer.Argument(metavar="MODEL", help="A model's id or file.")],
    jobs: Annotated[int, typer.Option("--jobs", metavar="N", help="How many.", min=1, max=1_000_000)],
    seed: Annotated[int, typer.Option("--seed", metavar="S", help="The same seed gives the same jobs.", min=0)],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="FILE.csv or FILE.parquet.")],
    truth: Annotated[
        Path | None, typer.Option("--truth", metavar="FILE", help="What was true; else FILE-truth beside it.")
    ] = None,
) -> None:
    """A made-up history with known truth, recorded as shops record: with gaps, doubts and slips."""
    from faultnet.cli.history import simulate_to

    simulate_to(model, n_jobs=jobs, seed=seed, out=out, truth=truth)
