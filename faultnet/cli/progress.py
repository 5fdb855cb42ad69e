"""Saying how far long work is."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def counted(what: str, of: str) -> Iterator[Callable[[int], object]]:
    """A counter on a terminal's stderr while something long runs: what is done, and to so many of what."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

    shown = Progress(
        SpinnerColumn(),
        TextColumn("{task.description}"),
        TextColumn(f"{{task.completed:,.0f}} {of}"),
        TimeElapsedColumn(),
        console=Console(stderr=True),
        transient=True,
    )
    with shown:
        task = shown.add_task(what, total=None)
        yield lambda n: shown.update(task, completed=n)
