"""A table of past jobs that somebody handed in: looked through, or taken in."""

from itertools import islice
from multiprocessing import parent_process
from pathlib import Path

from faultnet.errors import UsageProblem
from faultnet.reports.document import Document
from faultnet.sheets.read import read_table
from faultnet.store.reports import Report, note_what_came_of
from faultnet.telling.incoming import found_blocks, kept_json
from faultnet.workshop import importing
from faultnet.workshop.sourcing import Told, source_of
from faultnet.workshop.uploading import uploaded
from faultnet.workshop.workshop import Workshop

MOST_ROWS = 200_000
"""Of a table that is handed in; 20 MB hold no more jobs than that, if they say something."""

MOST_MEMORY_BYTES = 3 * 2**30
"""What reading a table may take in a process of its own: the machine is the benches'."""

TAKE_ALL, TAKE_GOOD = "all", "good"
"""What is to be taken in: everything, or only the rows that can be."""


def incoming(workshop: Workshop, report: Report) -> Document:
    """What a table holds; where that was asked for, its jobs are in afterwards. UsageProblem: it cannot be read."""
    if parent_process() is not None:
        _limit_memory()
    asked = report.asked
    told = Told(
        asked["model"],
        asked["sheet"],
        asked["encoding"],
        asked["delimiter"],
        asked["decimal_comma"],
        asked["days"],
        {"columns": asked["columns"]} if asked["columns"] else None,
    )
    with uploaded(workshop, report) as file:
        _check_length(file, told)
        source = source_of(workshop, file, told)
        if asked["take"] in (TAKE_ALL, TAKE_GOOD):
            partial, by = asked["take"] == TAKE_GOOD, str(asked["by"])
            found = importing.take_in(workshop, source, partial=partial, by=by, told=_check_rows)
        else:
            found = importing.look_through(workshop, source, _check_rows)
    if found.batch is not None:
        with workshop.database.write() as connection:
            note_what_came_of(connection, report.id, f"batch {found.batch}")
    told_of = tuple(found_blocks(found))
    return Document(told_of, told_of, kept_json(found, source))


def _check_length(file: Path, told: Told) -> None:
    """UsageProblem: far too many rows, which a small file of Parquet may hold."""
    if file.suffix.lower() == ".parquet":
        rows = read_table(file, told.sheet, told.encoding, told.delimiter).rows
        _check_rows(sum(1 for _ in islice(rows, MOST_ROWS + 1)))


def _check_rows(n_rows: int) -> None:
    if n_rows > MOST_ROWS:
        raise UsageProblem(
            f"more than {MOST_ROWS:,} rows; take them in where this page runs: faultnet history import FILE"
        )


def _limit_memory() -> None:
    """Let this process have no more memory than that; where a system has no such limits, as much as there is."""
    try:
        import resource
    except ImportError:
        return
    _, most = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (_in_use() + MOST_MEMORY_BYTES, most))


def _in_use() -> int:
    """The bytes of addresses that this process has; 0 where the system does not tell."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    except (OSError, ValueError):
        return 0
    import resource

    return pages * resource.getpagesize()
