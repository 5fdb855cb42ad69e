"""Arguments and options that several commands share."""

from typing import Annotated

import typer

ModelName = Annotated[
    str, typer.Argument(metavar="MODEL", help="A model's id (backlight) or the path of a model file.")
]
Events = Annotated[
    list[str] | None,
    typer.Argument(metavar="[EVENT]...", help="What was seen, measured and tried, such as sound=present."),
]
Given = Annotated[
    list[str] | None,
    typer.Option("--given", metavar="CONDITION=STATE", help="A fact about the set, such as age_band=over_10_years."),
]
Setup = Annotated[
    str,
    typer.Option(
        "--at",
        metavar="PART=STATE,...",
        help="How the set stands, if not as the last test left it: cover=off,mains=off,led_cable=in,panel=closed.",
    ),
]
Size = Annotated[
    float | None,
    typer.Option("--size", metavar="INCHES", help="Screen size; without it, 43 to 50 inch.", min=5, max=200),
]
Nominal = Annotated[
    float | None,
    typer.Option(
        "--nominal", metavar="V", help="Nominal loaded voltage, from the label: volts without the V.", min=5, max=600
    ),
]
Leds = Annotated[
    str,
    typer.Option(
        "--leds",
        metavar="N[xV]",
        help="LEDs in series, and volts of one if not 3.1: the nominal is then calculated (18, 12x6.2).",
    ),
]
Panel = Annotated[
    str,
    typer.Option("--panel", metavar="CODE", help="The panel's code: takes its voltages from the shop's list."),
]
Board = Annotated[
    str, typer.Option("--board", metavar="CODE", help="The same by the code of the supply or LED driver board.")
]
Trained = Annotated[
    bool | None,
    typer.Option(
        "--trained/--untrained",
        help="This bench is trained for powered work and for panels, or not: goes before the shop's settings.",
    ),
]
ShopFile = Annotated[
    str,
    typer.Option(
        "--shop", metavar="FILE", help="The shop's settings; else FAULTNET_SHOP, else shop.toml in your config folder."
    ),
]
WithoutComplaint = Annotated[
    bool, typer.Option("--without-complaint", help="Leave the complaint of the model out of the evidence.")
]
Engine = Annotated[
    str,
    typer.Option("--engine", metavar="KIND", help="Exact engine: auto, table (of joint states) or tree (of cliques)."),
]
Json = Annotated[bool, typer.Option("--json", help="The answer as JSON.")]
JobNumber = Annotated[str, typer.Argument(metavar="JOB", help="The job's number.")]
Db = Annotated[
    str,
    typer.Option("--db", metavar="DB", help="The shop's database, a file or URL; else FAULTNET_DB, or the usual one."),
]
Note = Annotated[str, typer.Option("--note", metavar="TEXT", help="One line to keep with it; no customer's name.")]
Picture = Annotated[
    str, typer.Option("--picture", metavar="FILE.svg", help="Also draw it: a picture (SVG) that any browser shows.")
]
By = Annotated[str, typer.Option("--by", metavar="CODE", help="Who; a code, not a name.")]
