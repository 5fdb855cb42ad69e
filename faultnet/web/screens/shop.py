"""The shop's own page: how much work there is, and the ways to everything but a job."""

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.web.answering import page
from faultnet.web.shown.shop import shop_shown
from faultnet.web.visit import Visiting

router = APIRouter()


@router.get("/shop")
def shown(visit: Visiting) -> Response:
    """The shop in a few counts, and where everything is."""
    return page(visit, "shop.html", shop=shop_shown(visit.workshop))
