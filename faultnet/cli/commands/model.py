"""The commands below `faultnet model`."""

from pathlib import Path
from typing import Annotated

import typer

from faultnet.cli.options import By, Db, Engine, Json, ModelName, Picture, ShopFile

model_app = typer.Typer(
    help="Model files and versions: list, show, check, diff, undo, export, import.",
    no_args_is_help=True,
    rich_markup_mode=None,
)


@model_app.command("list")
def model_list(json: Json = False) -> None:
    """The models that can be used by name."""
    from faultnet.cli.models import list_

    list_(as_json=json)


@model_app.command("diff")
def model_diff(
    model: ModelName,
    other: Annotated[str, typer.Argument(metavar="[OTHER]", help="Another version, such as backlight@2.")] = "",
    full: Annotated[bool, typer.Option("--full", help="Every number that differs.")] = False,
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """The numbers in which two versions of a model differ; of one alone, beside the file as written."""
    from faultnet.cli.versions import diff

    diff(model, other, db=db, shop=shop, full=full, as_json=json)


@model_app.command("undo")
def model_undo(
    model: ModelName,
    by: By = "",
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="Why.")] = "",
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Take the newest version of a model back: the numbers from before it are in use again, exactly."""
    from faultnet.cli.versions import undo

    undo(model, by=by, reason=reason, db=db, shop=shop, as_json=json)


@model_app.command("show")
def model_show(model: ModelName, picture: Picture = "", json: Json = False) -> None:
    """What a model is made of: components and shares, tests, repairs, where its numbers come from."""
    from faultnet.cli.models import show

    show(model, picture=picture, as_json=json)


@model_app.command("check")
def model_check(
    model: ModelName,
    engine: Engine = "auto",
    against: Annotated[
        str, typer.Option("--against", metavar="LIBRARY", help="Compare posteriors with another library's: pgmpy.")
    ] = "",
    cases: Annotated[int, typer.Option("--cases", metavar="N", help="Random cases to compare.", min=1)] = 20,
    seed: Annotated[int, typer.Option("--seed", metavar="S", help="Seed of the random cases.", min=0)] = 0,
    json: Json = False,
) -> None:
    """Validate a model file; print the compiled engine, the shares the network gives back, and twins no test parts.

    With --against pgmpy: the greatest difference between our posteriors and its; exit 1 where it is not below 1e-8.
    """
    if against:
        from faultnet.cli.second_opinion import second_opinion

        second_opinion(model, against, cases=cases, seed=seed, engine=engine, as_json=json)
        return
    from faultnet.cli.models import check

    check(model, engine=engine, as_json=json)


@model_app.command("export")
def model_export(
    model: ModelName,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The file to write.")],
    format_: Annotated[
        str, typer.Option("--format", metavar="FORMAT", help="bif or xmlbif; else by the end of the file's name.")
    ] = "",
) -> None:
    """Write a model's network, priors solved, for other programs: BIF or XMLBIF. Costs and repairs stay behind."""
    from faultnet.cli.exchange import export

    export(model, out, format_)


@model_app.command("import")
def model_import(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A BIF or XMLBIF file, packed with gzip or not.")],
    component: Annotated[
        list[str] | None, typer.Option("--component", metavar="A,B", help="What can be at fault.")
    ] = None,
    rail: Annotated[list[str] | None, typer.Option("--rail", metavar="A,B", help="Hidden nodes in between.")] = None,
    observation: Annotated[
        list[str] | None, typer.Option("--observation", metavar="A,B", help="What a test can show.")
    ] = None,
    ok: Annotated[
        list[str] | None, typer.Option("--ok", metavar="NODE=STATE", help="The healthy state of a component.")
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="MODEL.yaml", help="The model file to write; else its id.yaml.")
    ] = None,
    id_: Annotated[str, typer.Option("--id", metavar="ID", help="The model's id; else from the network's name.")] = "",
    force: Annotated[bool, typer.Option("--force", help="Replace a model file that is there already.")] = False,
    json: Json = False,
) -> None:
    """Make a network of another program a model file of ours. A damaged file is an error, never half a network.

    Without --component, --rail or --observation: roots are components, leaves observations, the others rails; at a
    terminal you are asked first.
    """
    from faultnet.cli.exchange import import_

    import_(
        file,
        kinds={"component": component or [], "rail": rail or [], "observation": observation or []},
        healthy=ok or [],
        out=out,
        name=id_,
        replacing=force,
        as_json=json,
    )
