"""Why: what moved the odds, what the volts say, what explains it, what would change it; and all ways on in one list."""

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.telling.answer import NOT_DRAWN
from faultnet.telling.ways import SORTS, TOTAL_MEANS
from faultnet.web.answering import page
from faultnet.web.rendering import number_in
from faultnet.web.shown.reasons import reasons_of
from faultnet.web.shown.ways import all_ways, held_back
from faultnet.web.visit import Visiting

router = APIRouter()


@router.get("/jobs/{job}/why")
def why(job: str, visit: Visiting) -> Response:
    """The reasons of an answer."""
    found = visit.look(number_in(job), with_times_on_top=True)
    return page(
        visit,
        "why.html",
        head=visit.head(found.bench.job, found.bench.model),
        reasons=reasons_of(found),
        not_drawn="" if found.bench.model.is_imported else NOT_DRAWN,
    )


@router.get("/jobs/{job}/ways")
def ways(job: str, visit: Visiting) -> Response:
    """Every test and repair, in one list, and what is held back."""
    found = visit.look(number_in(job))
    sort = visit.query.get("sort", "cost")
    sort = sort if sort in SORTS else "cost"
    return page(
        visit,
        "ways.html",
        head=visit.head(found.bench.job, found.bench.model),
        sort=sort,
        ways=all_ways(found.bench.model, found.ranking, sort),
        held=held_back(found.ranking),
        is_trained=found.ranking.settings.trained,
        currency=found.ranking.settings.currency,
        means=TOTAL_MEANS.format(aim=found.bench.model.aim),
    )
