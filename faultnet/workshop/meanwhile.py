"""Two people on one set: what is decided by a look at a job is not written down over what came in after that look."""

from collections.abc import Sequence

from faultnet.errors import UsageProblem
from faultnet.jobs import Entry, Job


class Meanwhile(UsageProblem):
    """Something was entered after the job was looked at; nothing was written. entries: what."""

    def __init__(self, number: str, entries: Sequence[Entry]) -> None:
        self.entries = tuple(entries)
        listed = ", ".join(str(entry.seq) for entry in self.entries)
        super().__init__(
            f"entered in job {number} after you looked: entry {listed}. Look again before you decide; nothing was "
            "written"
        )


def check_seen(job: Job, n_seen: int | None) -> None:
    """Meanwhile: the job has more entries than were looked at. n_seen: None where nobody says how many were."""
    if n_seen is not None and len(job.entries) > n_seen:
        raise Meanwhile(job.number, job.entries[n_seen:])
