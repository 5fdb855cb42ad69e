"""The commands below `faultnet job`."""

from typing import Annotated

import typer

from faultnet.cli.options import By, Db, Given, JobNumber, Json, Note, Setup, ShopFile, Trained

job_app = typer.Typer(
    help="Jobs of the shop: open, add, next, repair, price, move, close, comeback, list, show, sheet.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

Facts = dict[str, str | None]

PanelFact = Annotated[str | None, typer.Option("--panel", metavar="CODE", help="The panel's code, as it is printed.")]
BoardFact = Annotated[
    str | None, typer.Option("--board", metavar="CODE", help="The code of the supply or LED driver board.")
]
SizeFact = Annotated[str | None, typer.Option("--size", metavar="INCHES", help="Screen size.")]
AgeFact = Annotated[str | None, typer.Option("--age", metavar="YEARS", help="Age of the set.")]
HoursFact = Annotated[str | None, typer.Option("--hours", metavar="H", help="Hours of use.")]
OccurrenceFact = Annotated[
    str | None, typer.Option("--occurrence", metavar="WHEN", help="It fails always, sometimes, warm or cold.")
]
NominalFact = Annotated[
    str | None, typer.Option("--nominal", metavar="V", help="Nominal loaded voltage by the panel's label.")
]
LedsFact = Annotated[
    str | None, typer.Option("--leds", metavar="N[xV]", help="LEDs in series, where no voltage is printed.")
]
OpenModel = Annotated[str, typer.Option("--model", metavar="MODEL", help="A model's id, such as backlight or intake.")]
NewNumber = Annotated[
    str, typer.Option("--number", metavar="JOB", help="The shop's own number; else the next. No names of customers.")
]


@job_app.command("open")
def open_(
    model: OpenModel,
    number: NewNumber = "",
    panel: PanelFact = None,
    board: BoardFact = None,
    size: SizeFact = None,
    age: AgeFact = None,
    hours: HoursFact = None,
    occurrence: OccurrenceFact = None,
    nominal: NominalFact = None,
    leds: LedsFact = None,
    given: Given = None,
    at: Setup = "",
    note: Note = "",
    by: By = "",
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Open a job for a set that came in, and say what to do first."""
    from faultnet.cli.job.open import open_new
    from faultnet.workshop.opening import Opening

    facts = _facts(panel, board, size, age, hours, occurrence, nominal, leds)
    opening = Opening(model, number, facts, given or [], at, note, by)
    open_new(opening, db=db, shop=shop, as_json=json)


@job_app.command("add")
def add(
    job: JobNumber,
    events: Annotated[
        list[str] | None, typer.Argument(metavar="[EVENT]...", help="What was seen and measured, as for `next`.")
    ] = None,
    instead_of: Annotated[
        int | None, typer.Option("--instead-of", metavar="N", help="The event takes the place of entry N.")
    ] = None,
    take_back: Annotated[
        int | None, typer.Option("--take-back", metavar="N", help="Entry N does not stand any more.")
    ] = None,
    skip: Annotated[str, typer.Option("--skip", metavar="TEST", help="This test will not be made.")] = "",
    because: Annotated[str, typer.Option("--because", metavar="WHY", help="Why it is skipped or taken back.")] = "",
    model: Annotated[str, typer.Option("--model", metavar="MODEL", help="Go on with another model.")] = "",
    panel: PanelFact = None,
    board: BoardFact = None,
    size: SizeFact = None,
    age: AgeFact = None,
    hours: HoursFact = None,
    occurrence: OccurrenceFact = None,
    nominal: NominalFact = None,
    leds: LedsFact = None,
    given: Given = None,
    at: Setup = "",
    note: Note = "",
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Enter what was seen, measured or is known; correct an entry, take one back, or skip a test."""
    from faultnet.cli.job.add import Typed, add_to

    facts = _facts(panel, board, size, age, hours, occurrence, nominal, leds)
    typed = Typed(events or [], instead_of, take_back, skip, because, facts, given or [], at, note, model)
    add_to(job, typed, db=db, shop=shop, as_json=json)


@job_app.command("next")
def next_(
    job: JobNumber,
    full: Annotated[bool, typer.Option("--full", help="Everything: all tests, reasons, explanations.")] = False,
    sort: Annotated[str, typer.Option("--sort", metavar="BY", help="The list by cost, bits or minutes.")] = "cost",
    trained: Trained = None,
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Where the job stands and what to do next; what is advised is noted."""
    from faultnet.cli.job.next import answer_job

    answer_job(job, full=full, sort=sort, trained=trained, db=db, shop=shop, as_json=json)


@job_app.command("repair")
def repair(
    job: JobNumber,
    made: Annotated[str, typer.Argument(metavar="REPAIR=works|not", help="The repair, and whether the set works.")],
    old: Annotated[
        list[str] | None,
        typer.Option("--old", metavar="CODE", help="The code read on the old part; REPAIR:CODE for two."),
    ] = None,
    new: Annotated[list[str] | None, typer.Option("--new", metavar="CODE", help="The code of the new part.")] = None,
    source: Annotated[
        str, typer.Option("--source", metavar="FROM", help="new, used, refurbished or known_good.")
    ] = "new",
    paid: Annotated[list[str] | None, typer.Option("--paid", metavar="SUM", help="What the part cost.")] = None,
    leds_per_strip: Annotated[
        int | None, typer.Option("--leds-per-strip", metavar="N", help="LEDs of one new strip.", min=1, max=200)
    ] = None,
    strips: Annotated[int | None, typer.Option("--strips", metavar="N", help="How many strips.", min=1, max=64)] = None,
    sure: Annotated[bool, typer.Option("--sure", help="It was looked at again, and is right.")] = False,
    note: Note = "",
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Enter a repair with its outcome and the parts that went in; what does not fit is asked about first."""
    from faultnet.cli.job.repair import RepairTyped, repair_in

    typed = RepairTyped(made, old or [], new or [], source, paid or [], leds_per_strip, strips, note)
    repair_in(job, typed, sure=sure, db=db, shop=shop, as_json=json)


@job_app.command("price")
def price(
    job: JobNumber,
    name: Annotated[str, typer.Option("--name", metavar="SUM", help="This price was named to the customer.")] = "",
    agreed: Annotated[
        bool | None, typer.Option("--agreed/--declined", help="What the customer said to it.", show_default=False)
    ] = None,
    note: Note = "",
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """The price to name, low, likely and high; or note what was named and what the customer said."""
    from faultnet.cli.job.end import price_of

    price_of(job, named=name, agreed=agreed, note=note, db=db, shop=shop, as_json=json)


@job_app.command("move")
def move(
    job: JobNumber,
    stage: Annotated[
        str,
        typer.Argument(
            metavar="STAGE", help="waiting, agreed (part is here), on_test, watched, done, tested (reopen)."
        ),
    ],
    note: Note = "",
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Move a job on: waiting for a part, running on test, gone home."""
    from faultnet.cli.job.end import move_to

    move_to(job, stage, note=note, db=db, shop=shop, as_json=json)


@job_app.command("close")
def close(
    job: JobNumber,
    outcome: Annotated[
        str,
        typer.Argument(
            metavar="OUTCOME", help="fixed, no_fault_found, not_worth_repairing, no_part, declined or harmed."
        ),
    ],
    verified: Annotated[
        str,
        typer.Option("--verified", metavar="HOW", help="part_tested, proved_by_swap, symptom_cleared or not_verified."),
    ] = "",
    on_test: Annotated[str, typer.Option("--on-test", metavar="HOURS", help="How long it ran on test.")] = "",
    minutes: Annotated[str, typer.Option("--minutes", metavar="MIN", help="Hands-on time in all.")] = "",
    parts: Annotated[str, typer.Option("--parts", metavar="SUM", help="What parts cost; else as entered.")] = "",
    price: Annotated[str, typer.Option("--price", metavar="SUM", help="What was paid; else the price agreed.")] = "",
    note: Note = "",
    by: By = "",
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Close a job: how it ended, and how sure it is that the part named was the cause."""
    from faultnet.cli.job.end import close_job
    from faultnet.workshop.closing_typed import ClosingTyped

    typed = ClosingTyped(outcome, verified, on_test, minutes, parts, price, note, by)
    close_job(job, typed, db=db, shop=shop, as_json=json)


@job_app.command("comeback")
def comeback(
    job: Annotated[str, typer.Argument(metavar="[JOB]", help="The job it comes back from; or --after JOB.")] = "",
    after: Annotated[str, typer.Option("--after", metavar="JOB", help="The job it comes back from.")] = "",
    symptom: Annotated[str, typer.Option("--symptom", metavar="WHICH", help="same or other.")] = "same",
    model: Annotated[str, typer.Option("--model", metavar="MODEL", help="Another model than the earlier job's.")] = "",
    number: NewNumber = "",
    note: Note = "",
    by: By = "",
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Open a job for a set that came back; its earlier repair is shown, and weighed."""
    from faultnet.cli.job.open import open_again
    from faultnet.workshop.opening import Opening

    open_again(job or after, symptom, Opening(model, number, note=note, by=by), db=db, shop=shop, as_json=json)


@job_app.command("list")
def list_(
    all_: Annotated[bool, typer.Option("--all", help="Closed and done ones, too.")] = False,
    stage: Annotated[str, typer.Option("--stage", metavar="STAGE", help="Only jobs in this stage.")] = "",
    panel: Annotated[str, typer.Option("--panel", metavar="CODE", help="Only sets with this panel.")] = "",
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """The jobs that are open, the newest first."""
    from faultnet.cli.job.show import list_all

    list_all(also_done=all_, stage=stage, panel=panel, db=db, shop=shop, as_json=json)


@job_app.command("show")
def show(
    job: JobNumber,
    advice: Annotated[bool, typer.Option("--advice", help="What was advised at each step, too.")] = False,
    db: Db = "",
    shop: ShopFile = "",
    json: Json = False,
) -> None:
    """Everything written down about a job, with its numbers."""
    from faultnet.cli.job.show import show_job

    show_job(job, with_advice=advice, db=db, shop=shop, as_json=json)


@job_app.command("sheet")
def sheet(
    job: JobNumber,
    out: Annotated[str, typer.Option("--out", metavar="FILE", help="The file to write; else job-NUMBER.html.")] = "",
    pdf: Annotated[bool, typer.Option("--pdf", help="As PDF.")] = False,
    db: Db = "",
    shop: ShopFile = "",
) -> None:
    """The job sheet, for printing: the set, what was found and done, what to look for."""
    from faultnet.cli.job.sheet import write_sheet

    write_sheet(job, out=out, as_pdf=pdf, db=db, shop=shop)


def _facts(*texts: str | None) -> dict[str, str]:
    """What was told of the facts, in the order of the options."""
    names = ("panel", "board", "size", "age", "hours", "occurrence", "nominal", "leds")
    return {name: text for name, text in zip(names, texts, strict=True) if text is not None}
