"""A job as JSON."""

from dataclasses import asdict
from datetime import datetime
from typing import Any

from faultnet.jobs import Closing, Entry, Job
from faultnet.store.advice import Advised
from faultnet.store.jobs import Listed

SCHEMA_VERSION = 1

Json = dict[str, Any]


def job_json(job: Job, advice: tuple[Advised, ...] | None = None) -> Json:
    """Everything written down about a job. advice: what was advised, where that is asked for."""
    stands = {entry.seq for entry in job.standing}
    told = {
        "schema_version": SCHEMA_VERSION,
        "job": job.number,
        "model": job.model,
        "stage": job.stage,
        "stage_since": _moment(job.stage_since),
        "opened_at": _moment(job.opened_at),
        "opened_by": job.opened_by or None,
        "after": job.after or None,
        "comeback": job.comeback or None,
        "facts": dict(job.facts),
        "given": dict(job.given),
        "entries": [{**_entry(entry), "stands": entry.seq in stands} for entry in job.entries],
        "parts": [asdict(part) for part in job.parts],
        "closing": None if job.closing is None else _closing(job.closing),
    }
    if advice is not None:
        told["advice"] = [{**asdict(each), "at": _moment(each.at)} for each in advice]
    return told


def listed_json(jobs: tuple[Listed, ...]) -> Json:
    """Jobs, one line each."""
    rows = [
        {**asdict(job), "stage_since": _moment(job.stage_since), "opened_at": _moment(job.opened_at)} for job in jobs
    ]
    return {"schema_version": SCHEMA_VERSION, "jobs": rows}


def _entry(entry: Entry) -> Json:
    told = {name: value for name, value in asdict(entry).items() if value != ""}
    return {**told, "at": _moment(entry.at)}


def _closing(closing: Closing) -> Json:
    return {**asdict(closing), "at": _moment(closing.at)}


def _moment(at: datetime | None) -> str | None:
    return None if at is None else at.isoformat()
