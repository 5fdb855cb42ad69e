"""`faultnet job open` and `comeback`."""

import json
from dataclasses import replace

from faultnet.case.entry import nearest
from faultnet.cli.job.add import look_or_note
from faultnet.cli.job.as_json import job_json
from faultnet.cli.job.told import entry_words, heading, part_words
from faultnet.cli.terminal import bold, note, wrapped
from faultnet.cli.workshop import workshop_of
from faultnet.errors import UsageProblem
from faultnet.jobs.closing import COMEBACKS
from faultnet.words import percent
from faultnet.workshop.opening import Opening, open_comeback, open_job
from faultnet.workshop.workshop import Bench, Workshop, on_the_bench, read_job


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
    print("\n".join(earlier_words(bench)))
    look_or_note(workshop, number, "job open")
    print(wrapped(f"Go on with: faultnet bench {number}", 0, 2))


def earlier_words(bench: Bench) -> list[str]:
    """What was done to a set that came back, and how that is weighed."""
    if bench.after is None:
        return []
    lines = [bold(f"Before, in job {bench.after.number}")]
    for entry in bench.after.standing:
        if entry.kind in ("repair", "finding", "soft", "reading"):
            lines.append(wrapped(entry_words(entry, bench.model), 2, 4))
    currency = "" if bench.after.closing is None else bench.after.closing.currency
    lines += [wrapped(part_words(part, currency), 2, 4) for part in bench.after.parts]
    for name in dict.fromkeys(part.repair for part in bench.after.parts):
        if name in bench.model.repairs:
            rate = percent(bench.model.repairs[name].comeback)
            lines.append(wrapped(f"of such repairs about {rate} come back within 90 days ({name}; reasoned)", 2, 4))
    weighed = [c for c in bench.model.conditions.values() if c.after_repair and c.id in bench.case.given]
    for condition in weighed:
        state = bench.case.given[condition.id]
        moved = ", ".join(
            f"{bench.model.mode_label(mode)} x{factor:g}" for mode, factor in condition.odds.get(state, {}).items()
        )
        lines.append(wrapped(f"weighed as {condition.label}: {condition.words(state)} ({moved})", 2, 4))
    return [*lines, ""]
