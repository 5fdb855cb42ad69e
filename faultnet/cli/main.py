"""The `faultnet` command: its commands, and one place where every error becomes a message and an exit code.

Modules of the answer are imported inside the commands, so that each start pays only for what it uses.
"""

import os
import sys
import traceback
from typing import Annotated

import typer

from faultnet.cli.commands.analyse import analyse_app
from faultnet.cli.commands.history import history_app, simulate_app
from faultnet.cli.commands.job import job_app
from faultnet.cli.commands.learn import learn_app
from faultnet.cli.commands.model import model_app
from faultnet.cli.commands.shop import shop_app
from faultnet.cli.commands.top import top_app
from faultnet.cli.commands.voltages import voltages_app
from faultnet.errors import FaultnetError
from faultnet.version import __version__

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
app.add_typer(top_app)
app.add_typer(job_app, name="job")
app.add_typer(history_app, name="history")
app.add_typer(learn_app)
app.add_typer(analyse_app)
app.add_typer(simulate_app)
app.add_typer(model_app, name="model")
app.add_typer(voltages_app, name="voltages")
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
