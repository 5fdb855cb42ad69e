"""Jobs in one line each."""

from collections.abc import Sequence
from dataclasses import dataclass

from faultnet.jobs.closing import OUTCOMES
from faultnet.jobs.stage import ENDED, STAGES, stage_on
from faultnet.store.jobs import Listed, list_jobs
from faultnet.telling.job import moment
from faultnet.workshop.workshop import Workshop

MOST_LISTED = 100


@dataclass(frozen=True)
class JobRow:
    """A job. about: of the set, or "" where nothing is known; ended: how, or ""."""

    number: str
    stage: str
    since: str
    about: str
    model: str
    ended: str


@dataclass(frozen=True)
class JobRows:
    """The newest of them, and how many there are in all."""

    rows: tuple[JobRow, ...]
    n_all: int


def jobs_listed(workshop: Workshop, stages: Sequence[str] | None, panel: str = "") -> JobRows:
    """Jobs at these stages, or all, the newest first."""
    today = workshop.clock().date()
    with workshop.database.read() as connection:
        found = list_jobs(connection, stages, panel)
    staged = [(job, stage_on(job.stage, job.stage_since.date(), today)) for job in found]
    shown = [(job, stage) for job, stage in staged if stages is None or stage in stages]
    return JobRows(tuple(_row(job, stage) for job, stage in shown[:MOST_LISTED]), len(shown))


def _row(job: Listed, stage: str) -> JobRow:
    size = f"{job.inches:g} inch" if job.inches else ""
    ended = OUTCOMES.get(job.outcome, "") if stage in ENDED else ""
    after = f"after {job.after}" if job.after else ""
    return JobRow(
        job.number,
        STAGES[stage],
        moment(job.stage_since)[:10],
        ", ".join(filter(None, (size, f"panel {job.panel}" if job.panel else ""))),
        job.model,
        ", ".join(filter(None, (ended, after))),
    )
