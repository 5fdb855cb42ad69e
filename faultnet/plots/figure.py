"""Figures that look alike and come out the same, byte for byte: made, and saved, through matplotlib's objects."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from faultnet.errors import FileProblem, UsageProblem
from faultnet.files.write import whole_file

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SUFFIXES = (".svg", ".png")
DOTS_PER_INCH = 200
_CM_PER_INCH = 2.54

_STYLE: dict[Any, Any] = {
    "font.size": 8,
    "axes.titlesize": 9,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.8,
    "svg.hashsalt": "faultnet",
}
"""Small and plain, for print without colour."""


def check_name(file: Path) -> None:
    """UsageProblem: not a name that figures are saved under. To be asked before long work."""
    if file.suffix.lower() not in SUFFIXES:
        raise UsageProblem(f"{file}: write a name that ends in {' or '.join(SUFFIXES)}")


@contextmanager
def new_figure(width_cm: float, height_cm: float) -> "Iterator[Figure]":
    """An empty figure of this size, whose parts make room for each other; what is drawn within has one style."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context(_STYLE):
        yield Figure(figsize=(width_cm / _CM_PER_INCH, height_cm / _CM_PER_INCH), layout="constrained")


def save(figure: "Figure", file: Path) -> None:
    """Write a figure as SVG or PNG, as the name says. UsageProblem: another name; FileProblem: it cannot be written."""
    check_name(file)
    try:
        with whole_file(file) as stream:
            write(figure, stream, file.suffix.lower().removeprefix("."))
    except OSError as error:
        raise FileProblem(f"{file}: cannot be written: {error.strerror or error}") from None


def write(figure: "Figure", stream: IO[bytes], form: str) -> None:
    """Write a figure as `svg` or `png`. OSError: it cannot be written."""
    from matplotlib import rc_context

    metadata = {"Date": None} if form == "svg" else {"Software": None}
    with rc_context(_STYLE):
        figure.savefig(stream, format=form, dpi=DOTS_PER_INCH, metadata=metadata)
