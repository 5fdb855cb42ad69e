"""Every job of the shop as a row of text."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

from faultnet.files import load_model
from faultnet.history.row import columns, row_of
from faultnet.jobs import Job
from faultnet.model import Model
from faultnet.store.bulk import all_jobs, models_of_jobs
from faultnet.workshop.workshop import Workshop

Written = Callable[[Job, Model], Mapping[str, str]]
"""How a job stands in a row."""


@dataclass(frozen=True)
class Exported:
    """A table with a row a job, in the order in which they came in. rows: read while they are asked for."""

    columns: tuple[str, ...]
    rows: Iterator[Mapping[str, str]]


@contextmanager
def exported(workshop: Workshop, written: Written = row_of) -> Iterator[Exported]:
    """The jobs at one moment, for as long as they are read. UsageProblem: the model of some is gone."""
    with workshop.database.read() as connection:
        models = {name: load_model(name) for name in models_of_jobs(connection)}
        rows = (written(job, models[job.model]) for job in all_jobs(connection))
        yield Exported(columns([*models.values()]), rows)
