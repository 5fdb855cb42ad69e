"""What the shop's jobs amount to, the tables that came in, and all jobs as a table."""

import csv
import io
from collections.abc import Iterable, Iterator
from contextlib import suppress

from fastapi import APIRouter
from starlette.responses import Response, StreamingResponse

from faultnet.errors import UsageProblem
from faultnet.sheets.cells import defused
from faultnet.store.bulk import Batch, models_of_jobs
from faultnet.store.summary import summarize
from faultnet.telling.job import moment
from faultnet.telling.summary import headline, summary_parts
from faultnet.web.answering import go_to, page
from faultnet.web.failures import problems_of
from faultnet.web.visit import Numbered, Visit, Visiting
from faultnet.workshop.exporting import exported
from faultnet.workshop.importing import batches_of, undo
from faultnet.workshop.workshop import Workshop

router = APIRouter()

ROWS_AT_ONCE = 200


@router.get("/history")
def shown(visit: Visiting) -> Response:
    """Counts of all jobs, and the batches."""
    with visit.workshop.database.read() as connection:
        found, models = summarize(connection), models_of_jobs(connection)
    groups, batches = visit.workshop.shop.panel_groups, batches_of(visit.workshop)
    undone = visit.query.get("undone", "")
    return page(
        visit,
        "history.html",
        headline=headline(found) if found.n_jobs else "",
        parts=tuple(summary_parts(found, groups, _names(visit.workshop, models))) if found.n_jobs else (),
        batches=batches,
        moment=moment,
        undone=next((each for each in batches if each.undone_at and str(each.number) == undone), None),
    )


def _names(workshop: Workshop, models: Iterable[str]) -> dict[str, str]:
    """What tests and repairs are called; those of a model that is gone are left out."""
    names: dict[str, str] = {}
    for each in models:
        with suppress(UsageProblem):
            model = workshop.load_model(each)
            names |= {seen.id: seen.short or seen.label for seen in model.visible.values()}
            names |= {repair.id: repair.label for repair in model.repairs.values()}
    return names


@router.get("/history/batches/{number}")
def asked(number: Numbered, visit: Visiting) -> Response:
    """Ask whether a batch is to go."""
    return _asked(visit, number, ())


@router.post("/history/batches/{number}/undo")
def taken_out(number: Numbered, visit: Visiting) -> Response:
    """Take a batch out again."""
    try:
        undo(visit.workshop, number)
    except UsageProblem as error:
        return _asked(visit, number, problems_of(error))
    return go_to("/history", undone=str(number))


def _asked(visit: Visit, number: int, problems: tuple[str, ...]) -> Response:
    return page(visit, "batch.html", problems=problems, batch=_batch(visit.workshop, number), moment=moment)


def _batch(workshop: Workshop, number: int) -> Batch:
    found = next((each for each in batches_of(workshop) if each.number == number), None)
    if found is None:
        raise UsageProblem(f"batch {number}: there is none of this number; look at the history again")
    return found


@router.get("/history/export.csv")
def downloaded(visit: Visiting) -> Response:
    """All jobs as a table, read while it is sent."""
    lines = _lines(visit.workshop)
    first = next(lines)  # what stands in the way is told as a page, not in the file
    name = f"faultnet-jobs-{visit.workshop.clock().date().isoformat()}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return StreamingResponse(_all(first, lines), media_type="text/csv; charset=utf-8", headers=headers)


def _all(first: str, others: Iterator[str]) -> Iterator[str]:
    yield first
    yield from others


def _lines(workshop: Workshop) -> Iterator[str]:
    """The lines of the table, some at once; its heading first."""
    with exported(workshop) as table:
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(table.columns)
        for n_written, row in enumerate(table.rows):
            if n_written % ROWS_AT_ONCE == 0:
                yield _taken(text)
            writer.writerow([defused(row.get(column, "")) for column in table.columns])
        yield _taken(text)


def _taken(text: io.StringIO) -> str:
    """What was written since, and nothing of it is left."""
    written = text.getvalue()
    text.seek(0)
    text.truncate()
    return written
