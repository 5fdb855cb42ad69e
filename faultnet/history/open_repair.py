"""Jobs in the columns of the Open Repair Data Standard 0.3 (an open standard; columns and words from memory)."""

from collections.abc import Mapping

from faultnet.case.words import state_words
from faultnet.jobs import Job
from faultnet.model import Model

COLUMNS = (
    "id",
    "data_provider",
    "country",
    "partner_product_category",
    "product_category",
    "product_category_id",
    "brand",
    "year_of_manufacture",
    "product_age",
    "repair_status",
    "repair_barrier_if_end_of_life",
    "group_identifier",
    "event_date",
    "problem",
)

STATUS: Mapping[str, str] = {
    "fixed": "Fixed",
    "declined": "Repairable",
    "no_part": "End of life",
    "not_worth_repairing": "End of life",
    "harmed": "End of life",
}
"""What our outcomes are there; anything else is Unknown, such as no fault found."""

BARRIERS: Mapping[str, str] = {
    "not_worth_repairing": "Spare parts too expensive",
    "no_part": "Spare parts not available",
}


def open_repair_row(job: Job, model: Model, provider: str, country: str) -> dict[str, str]:
    """A job as such a row. provider: who gives the data; country: ISO 3166 alpha-3.

    No maker is kept, so none is told; notes stay behind, since anything may stand in them.
    """
    outcome = "" if job.closing is None else job.closing.outcome
    age = job.facts.get("age", "")
    made = str(job.opened_at.year - int(float(age))) if age else ""
    return {
        "id": job.number,
        "data_provider": provider,
        "country": country,
        "partner_product_category": "Display ~ Television",
        "product_category": "Flat screen",
        "brand": "Unknown",
        "year_of_manufacture": made,
        "product_age": age,
        "repair_status": STATUS.get(outcome, "Unknown"),
        "repair_barrier_if_end_of_life": BARRIERS.get(outcome, ""),
        "event_date": job.opened_at.date().isoformat(),
        "problem": _problem(job, model),
    }


def _problem(job: Job, model: Model) -> str:
    """What it was brought in for, and what cured it."""
    told = []
    if model.complaint:
        told.append(state_words(model.observations[model.complaint], model.complaint_state))
    cured = [entry.name for entry in job.standing if entry.kind == "repair" and entry.state == "works"]
    told += [f"cured by {name.replace('_', ' ').replace('+', ' and ')}" for name in cured[-1:]]
    return "; ".join(told)
