"""Whether every job can still be worked on: its model is there, and knows all that was entered."""

from faultnet.errors import FaultnetError
from faultnet.store.jobs import find_job, list_jobs
from faultnet.workshop.workshop import Workshop, bench_of, model_of


def check_models(workshop: Workshop) -> list[str]:
    """What is wrong with jobs and their models, one sentence each."""
    wrong: list[str] = []
    with workshop.database.read() as connection:
        jobs = [find_job(connection, listed.number) for listed in list_jobs(connection)]
    by_number = {job.number: job for job in jobs}
    for job in jobs:
        try:
            bench_of(workshop, job, model_of(job), by_number.get(job.after))
        except FaultnetError as error:
            wrong += str(error).splitlines()
    return wrong
