"""Writing to a terminal: width, bars, emphasis; colour only where it is wanted."""

import os
import shutil
import sys
import textwrap
from collections.abc import Iterable
from itertools import zip_longest

_MOST_COLUMNS = 100
_LEAST_COLUMNS = 60
_NARROWEST_CELL = 20

THIN_BELOW_PERCENT = 3
"""A chance shown as less has a thin mark instead of a bar: 2 % must not look like 7 %."""


def note(text: str) -> None:
    """Something to know beside the answer, on stderr."""
    print(f"note: {text}", file=sys.stderr)


def columns() -> int:
    """How wide to write."""
    return max(_LEAST_COLUMNS, min(_MOST_COLUMNS, shutil.get_terminal_size((80, 24)).columns))


def bold(text: str) -> str:
    """Emphasised on a terminal, plain everywhere else."""
    is_plain = not sys.stdout.isatty() or "NO_COLOR" in os.environ or os.environ.get("TERM") == "dumb"
    return text if is_plain else f"\x1b[1m{text}\x1b[0m"


def bar(probability: float, width: int = 20) -> str:
    """A bar of `width` characters; a small chance shows a thin mark, and no chance fills it."""
    full, thin, empty = _marks()
    if round(100 * probability) < THIN_BELOW_PERCENT:
        return thin + empty * (width - 1)
    filled = min(width - 1, max(1, round(probability * width)))
    return full * filled + empty * (width - filled)


def bar_legend(*, with_intervals: bool = True) -> str:
    """What stands beside a heading above bars."""
    brackets = "in brackets: 90 % interval" if with_intervals else "imported numbers have no intervals"
    return f"({brackets}; {_marks()[1]} below {THIN_BELOW_PERCENT} %)"


def _marks() -> tuple[str, str, str]:
    """The full, the thin and the empty cell of a bar, as the terminal can show them."""
    encoding = (sys.stdout.encoding or "").lower().replace("-", "")
    return ("█", "▏", "·") if encoding == "utf8" else ("#", "|", ".")


def wrapped(text: str, indent: int = 2, hang: int | None = None) -> str:
    """Text within the width, every line indented; lines after the first by `hang`."""
    later = " " * (indent if hang is None else hang)
    return textwrap.fill(text, columns(), initial_indent=" " * indent, subsequent_indent=later, break_on_hyphens=False)


def table(rows: Iterable[tuple[str, ...]], aligned: str) -> list[str]:
    """Rows as lines, columns as wide as needed; `aligned` has an l or r for each column."""
    listed = list(rows)
    widths = [max(len(row[n]) for row in listed) for n in range(len(aligned))]
    lines = []
    for row in listed:
        cells = [c.rjust(w) if a == "r" else c.ljust(w) for c, w, a in zip(row, widths, aligned, strict=True)]
        lines.append("  " + "  ".join(cells).rstrip())
    return lines


def wrapped_table(rows: Iterable[tuple[str, ...]], aligned: str, indent: int = 2) -> list[str]:
    """As `table`, within the width: the last column, and a first one of more than 3/8 of the width, go on below."""
    listed = list(rows)
    widths = [max(len(row[n]) for row in listed) for n in range(len(aligned) - 1)]
    widths[0] = min(widths[0], columns() * 3 // 8)
    left = max(_NARROWEST_CELL, columns() - indent - sum(widths) - 2 * len(widths))
    lines = []
    for row in listed:
        starts, ends = _cell(row[0], widths[0]), _cell(row[-1], left)
        between = [[text] for text in row[1:-1]]
        for cells in zip_longest(starts, *between, ends, fillvalue=""):
            sized = zip(cells, [*widths, 0], aligned, strict=True)
            line = "  ".join(c.rjust(w) if a == "r" else c.ljust(w) for c, w, a in sized)
            lines.append(" " * indent + line.rstrip())
    return lines


def _cell(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent="  ", break_on_hyphens=False)
