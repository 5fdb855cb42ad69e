"""Writing to a terminal: width, bars, emphasis; colour only where it is wanted."""

import os
import shutil
import sys
import textwrap
from collections.abc import Iterable

_MOST_COLUMNS = 100
_LEAST_COLUMNS = 60


def columns() -> int:
    """How wide to write."""
    return max(_LEAST_COLUMNS, min(_MOST_COLUMNS, shutil.get_terminal_size((80, 24)).columns))


def bold(text: str) -> str:
    """Emphasised on a terminal, plain everywhere else."""
    is_plain = not sys.stdout.isatty() or "NO_COLOR" in os.environ or os.environ.get("TERM") == "dumb"
    return text if is_plain else f"\x1b[1m{text}\x1b[0m"


def bar(probability: float, width: int = 20) -> str:
    """A bar of `width` characters; even a small chance shows a mark, and no chance fills it."""
    filled = min(width - 1, max(1, round(probability * width)))
    encoding = (sys.stdout.encoding or "").lower().replace("-", "")
    full, empty = ("█", "·") if encoding == "utf8" else ("#", ".")
    return full * filled + empty * (width - filled)


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
