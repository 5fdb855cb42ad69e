"""The commands that stand alone: `next`, `bench`, `plan`, `serve`, `demo`."""

from typing import Annotated

import typer

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
    Picture,
    Setup,
    ShopFile,
    Size,
    Trained,
    WithoutComplaint,
)

top_app = typer.Typer()


@top_app.command()
def demo() -> None:
    """One invented job from intake to repair, each step explained."""
    from faultnet.cli.demo import tell_demo

    tell_demo()


@top_app.command("next")
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
    picture: Annotated[
        str,
        typer.Option("--picture", metavar="FILE.svg", help="Also draw the network, with what was seen and how likely."),
    ] = "",
    bars: Annotated[
        str, typer.Option("--bars", metavar="FILE.svg", help="Also draw where things stand, as bars with intervals.")
    ] = "",
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Faults and ranked next steps for one set, from what was seen and measured.

    An event is NAME=STATE (sound=present), NAME=VOLTS for one or more points (loaded_voltage=36.8,37.1 or 37x5; OL over
    range, ? not reached), REPAIR=works or REPAIR=not, or NAME=STATE:0.8,STATE:0.2 for something seen unclearly. After @
    come circumstances joined by +: settled, max, steady, hot, not_showing, by:NAME, meter:NAME. Order counts only
    around repairs.
    """
    from faultnet.cli.next import Drawn, answer_next
    from faultnet.shop.nominal import NominalTyped
    from faultnet.workshop.understanding import Asked

    typed = NominalTyped(nominal, leds, panel, board)
    asked = Asked(model, events or [], given or [], at, size, typed, shop, db, trained, not without_complaint, engine)
    drawn = Drawn(picture, bars)
    answer_next(asked, full=full, sort=sort, ahead_seconds=ahead, drawn=drawn, as_json=json)


@top_app.command()
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


@top_app.command()
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
    picture: Picture = "",
    full: Annotated[bool, typer.Option("--full", help="Every branch, however unlikely.")] = False,
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """The whole test-and-repair plan of least expected cost, as a tree, from what was seen and measured so far.

    Costs are time, hazards, parts, harm, comebacks, and a working set lost where the job is given up. Events are typed
    as for `next`. Both bounds of the cost are shown: no plan is cheaper than the lower, the plan shown costs the upper.
    """
    from faultnet.cli.plan import show_plan
    from faultnet.shop.nominal import NominalTyped
    from faultnet.workshop.understanding import Asked

    typed = NominalTyped(nominal, leds, panel, board)
    asked = Asked(model, events or [], given or [], at, size, typed, shop, db, trained, not without_complaint)
    show_plan(asked, tests=tests, seconds=seconds, sheet=sheet, picture=picture, full=full, as_json=json)


@top_app.command("serve")
def serve(
    port: Annotated[int, typer.Option("--port", metavar="N", help="Where it listens.", min=1, max=65535)] = 8321,
    lan: Annotated[bool, typer.Option("--lan", help="For the shop's network, too: asks for a PIN.")] = False,
    new_pin: Annotated[bool, typer.Option("--new-pin", help="With --lan: another PIN; all sign in again.")] = False,
    name: Annotated[
        list[str] | None, typer.Option("--name", metavar="HOST", help="With --lan: a name of this machine there.")
    ] = None,
    db: Db = "",
    shop: ShopFile = "",
) -> None:
    """The bench page: the same in a browser, on this machine or for tablets on the shop's network."""
    from faultnet.cli.serve import ServeTyped, serve_page

    serve_page(ServeTyped(port, lan, new_pin, tuple(name or ())), db=db, shop=shop)
