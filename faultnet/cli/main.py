"""The `faultnet` command: its commands, and one place where every error becomes a message and an exit code.

Modules of the answer are imported inside the commands, so that each start pays only for what it uses.
"""

import os
import sys
import traceback
from pathlib import Path
from typing import Annotated

import typer

from faultnet import __version__
from faultnet.cli.job.commands import job_app
from faultnet.cli.options import (
    Board,
    By,
    Db,
    Engine,
    Events,
    Given,
    Json,
    Leds,
    ModelName,
    Nominal,
    Panel,
    Setup,
    ShopFile,
    Size,
    Trained,
    VoltagesFile,
    WithoutComplaint,
)
from faultnet.errors import FaultnetError

EXIT_CODES = (
    "Exit codes: 0 ok, 1 unexpected, 2 usage, 3 a bad file, 4 too little data, 5 database, 6 contradictory evidence."
)

app = typer.Typer(
    name="faultnet",
    help="What is wrong with this set, and what to test next.",
    epilog=EXIT_CODES,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.add_typer(job_app, name="job")
model_app = typer.Typer(
    help="Model files: list, show, check, export, import.", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(model_app, name="model")
voltages_app = typer.Typer(
    help="The list of nominal voltages by panel or board: add, list.", no_args_is_help=True, rich_markup_mode=None
)
app.add_typer(voltages_app, name="voltages")
shop_app = typer.Typer(help="The shop's settings: info.", no_args_is_help=True, rich_markup_mode=None)
app.add_typer(shop_app, name="shop")


def _print_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"faultnet {__version__}")
        raise typer.Exit


@app.callback()
def _top(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version.", callback=_print_version, is_eager=True)
    ] = False,
) -> None:
    """What is wrong with this set, and what to test next."""


@app.command()
def demo() -> None:
    """One invented job from intake to repair, each step explained."""
    from faultnet.cli.demo import tell_demo

    tell_demo()


@app.command("next")
def next_(
    model: ModelName,
    events: Events = None,
    given: Given = None,
    at: Setup = "",
    size: Size = None,
    nominal: Nominal = None,
    leds: Leds = "",
    panel: Panel = "",
    board: Board = "",
    trained: Trained = None,
    without_complaint: WithoutComplaint = False,
    engine: Engine = "auto",
    ahead: Annotated[
        float | None,
        typer.Option("--ahead", metavar="S", help="Advise by the whole plan, looked for so long.", min=0.1, max=86400),
    ] = None,
    full: Annotated[bool, typer.Option("--full", help="Everything: all tests, reasons, explanations.")] = False,
    sort: Annotated[str, typer.Option("--sort", metavar="BY", help="The list by cost, bits or minutes.")] = "cost",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Faults and ranked next steps for one set, from what was seen and measured.

    An event is NAME=STATE (sound=present), NAME=VOLTS for one or more points (loaded_voltage=36.8,37.1 or 37x5; OL over
    range, ? not reached), REPAIR=works or REPAIR=not, or NAME=STATE:0.8,STATE:0.2 for something seen unclearly. After @
    come circumstances joined by +: settled, max, steady, hot, not_showing, by:NAME, meter:NAME. Order counts only
    around repairs.
    """
    from faultnet.cli.next import answer_next
    from faultnet.cli.typed import Asked
    from faultnet.shop.nominal import NominalTyped

    typed = NominalTyped(nominal, leds, panel, board)
    asked = Asked(model, events or [], given or [], at, size, typed, shop, trained, not without_complaint, engine)
    answer_next(asked, full=full, sort=sort, ahead_seconds=ahead, as_json=json)


@app.command()
def bench(
    job: Annotated[str, typer.Argument(metavar="[JOB]", help="The job to work on; else pick one, or open one.")] = "",
    trained: Trained = None,
    by: By = "",
    db: Db = "",
    shop: ShopFile = "",
) -> None:
    """The guided loop at the bench: where a job stands, what to do next, one key to answer; nothing is ever lost."""
    from faultnet.cli.bench.loop import bench_loop

    bench_loop(job, trained=trained, by=by, db=db, shop=shop)


@app.command()
def plan(
    model: ModelName,
    events: Events = None,
    given: Given = None,
    at: Setup = "",
    size: Size = None,
    nominal: Nominal = None,
    leds: Leds = "",
    panel: Panel = "",
    board: Board = "",
    trained: Trained = None,
    without_complaint: WithoutComplaint = False,
    tests: Annotated[
        str, typer.Option("--tests", metavar="TEST,...", help="Tests to choose from, if not the best ten.")
    ] = "",
    seconds: Annotated[
        float,
        typer.Option("--seconds", metavar="S", help="How long to look for a cheaper plan.", min=0.1, max=86400),
    ] = 10.0,
    sheet: Annotated[
        str, typer.Option("--sheet", metavar="FILE", help="Also write one printable page: FILE.html or FILE.pdf.")
    ] = "",
    full: Annotated[bool, typer.Option("--full", help="Every branch, however unlikely.")] = False,
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """The whole test-and-repair plan of least expected cost, as a tree, from what was seen and measured so far.

    Costs are time, hazards, parts, harm, comebacks, and a working set lost where the job is given up. Events are typed
    as for `next`. Both bounds of the cost are shown: no plan is cheaper than the lower, the plan shown costs the upper.
    """
    from faultnet.cli.plan import show_plan
    from faultnet.cli.typed import Asked
    from faultnet.shop.nominal import NominalTyped

    typed = NominalTyped(nominal, leds, panel, board)
    asked = Asked(model, events or [], given or [], at, size, typed, shop, trained, not without_complaint)
    show_plan(asked, tests=tests, seconds=seconds, sheet=sheet, full=full, as_json=json)


@model_app.command("list")
def model_list(json: Json = False) -> None:
    """The models that can be used by name."""
    from faultnet.cli.models import list_

    list_(as_json=json)


@model_app.command("show")
def model_show(model: ModelName, json: Json = False) -> None:
    """What a model is made of: components and shares, tests, repairs, where its numbers come from."""
    from faultnet.cli.models import show

    show(model, as_json=json)


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


@shop_app.command("info")
def shop_info(shop: ShopFile = "", json: Json = False) -> None:
    """Every setting with its value and where it comes from, the meters, and which files are used."""
    from faultnet.cli.shop import info

    info(shop, as_json=json)


def run() -> None:
    """Run the command line; every error ends in a message on stderr and its exit code."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # products here are small; threads stall on a busy machine
    try:
        app()
    except FaultnetError as error:
        print(f"faultnet: {error}", file=sys.stderr)
        sys.exit(error.exit_code)
    except Exception as error:
        print(f"faultnet: unexpected: {type(error).__name__}: {error}", file=sys.stderr)
        if os.environ.get("FAULTNET_DEBUG"):
            traceback.print_exc()
        else:
            print("This is a fault of the program. FAULTNET_DEBUG=1 shows where it happened.", file=sys.stderr)
        sys.exit(1)


if __name__ == "__main__":
    run()
