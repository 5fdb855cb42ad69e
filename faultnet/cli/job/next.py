"""`faultnet job next`: the answer of `faultnet next` for a job."""

import json

from faultnet.cli.as_text import answer_text
from faultnet.cli.job.told import earlier_lines, heading
from faultnet.cli.terminal import note
from faultnet.cli.ways import checked_sort
from faultnet.cli.workshop import workshop_of
from faultnet.telling.answer_json import answer_json
from faultnet.workshop.looking import look


def answer_job(number: str, *, full: bool, sort: str, trained: bool | None, db: str, shop: str, as_json: bool) -> None:
    """Print where the job stands and what to do next, and note what was advised."""
    sort = checked_sort(sort)
    workshop = workshop_of(db, shop)
    found = look(workshop, number, "job next", trained=trained)
    bench = found.bench
    if as_json:
        answer = answer_json(bench.model, bench.case, found.diagnosis, found.ranking, found.fits_better)
        told = {"job": number, "stage": bench.job.stage, "entries": list(bench.replayed.numbers), **answer}
        print(json.dumps(told, indent=2, allow_nan=False))
        return
    for each in bench.notes:
        note(each)
    print("\n".join([*heading(bench.job, workshop.clock().date()), *earlier_lines(bench), ""]))
    print(
        answer_text(
            bench.model,
            bench.case,
            found.diagnosis,
            found.ranking,
            full=full,
            sort=sort,
            fits_better=found.fits_better,
            numbers=bench.replayed.numbers,
        )
    )
