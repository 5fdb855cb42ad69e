"""The network of a job's model, components lit by how likely they are faulty."""

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.web.answering import page
from faultnet.web.rendering import number_in
from faultnet.web.visit import Visiting

router = APIRouter()

PHONE, DESK = 390, 1280
"""Widths that a network is drawn for, in CSS pixels."""


@router.get("/jobs/{job}/network")
def shown(job: str, visit: Visiting) -> Response:
    """The screen with the network, as wide as the tablet."""
    bench = visit.bench(number_in(job))
    return page(
        visit,
        "network.html",
        head=visit.head(bench.job, bench.model),
        widths=(PHONE, DESK),
        is_whole=visit.query.get("all") == "yes",
    )


@router.get("/jobs/{job}/network.svg")
def drawn(job: str, visit: Visiting) -> Response:
    """The network as SVG."""
    from faultnet.pictures import network_picture

    found = visit.look(number_in(job))
    width = PHONE if visit.query.get("width") == str(PHONE) else DESK
    is_whole = visit.query.get("all") == "yes"
    picture = network_picture(
        found.bench.model, found.diagnosis, found.bench.case, whole=True if is_whole else None, width=width
    )
    return Response(picture, media_type="image/svg+xml")
