"""`faultnet job open` and `comeback`."""

import json
from dataclasses import replace

from faultnet.case.entry import nearest
from faultnet.cli.job.add import look_or_note
from faultnet.cli.job.told import earlier_lines, heading
from faultnet.cli.terminal import note, wrapped
from faultnet.cli.workshop import workshop_of
from faultnet.errors import UsageProblem
from faultnet.jobs.closing import COMEBACKS
from faultnet.telling.job_json import job_json
from faultnet.workshop.opening import Opening, open_comeback, open_job
from faultnet.workshop.workshop import Workshop, on_the_bench, read_job


def open_new(opening: Opening, *, db: str, shop: str, as_json: bool) -> None:
    """Open a job, print it and what to do first."""
    workshop = workshop_of(db, shop)
    _opened(workshop, open_job(workshop, opening), as_json=as_json)


def open_again(earlier: str, symptom: str, opening: Opening, *, db: str, shop: str, as_json: bool) -> None:
    """Open a job for a set that came back, print what was done before, and what to do first."""
    if not earlier:
        raise UsageProblem("name the job the set comes back from: faultnet job comeback JOB")
    if symptom not in COMEBACKS:
        raise UsageProblem(f"--symptom {symptom}: one of {', '.join(COMEBACKS)}{nearest(symptom, COMEBACKS)}")
    workshop = workshop_of(db, shop)
    if not opening.model:
        opening = replace(opening, model=read_job(workshop, earlier)[0].model)
    _opened(workshop, open_comeback(workshop, earlier, symptom, opening), as_json=as_json)


def _opened(workshop: Workshop, number: str, *, as_json: bool) -> None:
    bench = on_the_bench(workshop, number)
    if as_json:
        print(json.dumps(job_json(bench.job), indent=2))
        return
    print("\n".join(heading(bench.job, workshop.clock().date())))
    for each in bench.notes:
        note(each)
    print("\n".join(earlier_lines(bench)))
    look_or_note(workshop, number, "job open")
    print(wrapped(f"Go on with: faultnet bench {number}", 0, 2))
