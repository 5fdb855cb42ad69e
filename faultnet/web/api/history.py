"""Past jobs, for programs: counted, and the batches that came in."""

from fastapi import APIRouter

from faultnet.store.summary import summarize
from faultnet.telling.incoming import batches_json
from faultnet.telling.summary import summary_json
from faultnet.web.api.bodies import REFUSALS, Json
from faultnet.web.visit import Numbered, Visiting
from faultnet.workshop.importing import batches_of, undo

router = APIRouter(prefix="/api", tags=["history"], responses=REFUSALS)


@router.get("/history/summary")
def summary(visit: Visiting) -> Json:
    """What the jobs amount to. As `faultnet history summary --json`."""
    with visit.workshop.database.read() as connection:
        found = summarize(connection)
    return summary_json(found, visit.workshop.shop.panel_groups)


@router.get("/batches")
def batches(visit: Visiting) -> Json:
    """The tables that came in, the newest first. As `faultnet history import --batches --json`."""
    return batches_json(batches_of(visit.workshop))


@router.post("/batches/{number}/undo")
def undone(visit: Visiting, number: Numbered) -> Json:
    """Take a batch out again, with all of its jobs. As `faultnet history import --undo N --json`."""
    return {"batch": number, "jobs": undo(visit.workshop, number)}
