"""The job sheet, for printing."""

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.telling.sheet import sheet_of
from faultnet.web.answering import page
from faultnet.web.rendering import number_in
from faultnet.web.visit import Visiting

router = APIRouter()


@router.get("/jobs/{job}/sheet")
def shown(job: str, visit: Visiting) -> Response:
    """The sheet as a page that prints on one side of A4."""
    number = number_in(job)
    return page(visit, "sheet.html", number=number, paper=sheet_of(visit.workshop, visit.bench(number)))
