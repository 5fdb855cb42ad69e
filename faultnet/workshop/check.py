"""Whether every job can still be worked on: its model is there, and knows all that was entered."""

from faultnet.case import Case
from faultnet.errors import FaultnetError
from faultnet.jobs.replay import replayed
from faultnet.model import Model
from faultnet.store.bulk import all_jobs
from faultnet.workshop.workshop import Workshop, model_of


def check_models(workshop: Workshop) -> list[str]:
    """What is wrong with jobs and their models, one sentence each."""
    shop, wrong = workshop.shop, list[str]()
    models: dict[str, Model] = {}
    usual = Case(meter=shop.meter, meters=shop.meters)
    with workshop.database.read() as connection:
        for job in all_jobs(connection):
            try:
                if job.model not in models:
                    models[job.model] = model_of(workshop, job)
                replayed(job, models[job.model], usual)
            except FaultnetError as error:
                wrong += str(error).splitlines()
    return wrong
