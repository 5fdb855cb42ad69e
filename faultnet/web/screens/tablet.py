"""This tablet: who works at it, whether as a helper, how bright it is."""

from dataclasses import replace

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.web.answering import go_to, page, within
from faultnet.web.tablet import LIGHTS, Tablet, checked_code, keep
from faultnet.web.visit import Sent, Visit, Visiting

router = APIRouter()


@router.get("/tablet")
def shown(visit: Visiting) -> Response:
    """What this tablet says of itself."""
    return _asked(visit)


@router.post("/tablet")
def kept(visit: Visiting, form: Sent) -> Response:
    """Keep it, in the tablet."""
    light = form.text("light")
    try:
        who = checked_code(form.text("who"))
    except ValueError as error:
        return _asked(visit, (f"who works here: {error}",))
    said = Tablet(who, form.text("helper") == "yes", light if light in LIGHTS else "auto")
    response = go_to("/tablet", kept="yes")
    keep(response, said)
    return response


@router.post("/light")
def light(visit: Visiting, form: Sent) -> Response:
    """Brighter or darker, at once."""
    wanted = form.text("light")
    response = go_to(within(form.text("back")))
    keep(response, replace(visit.tablet, light=wanted if wanted in LIGHTS else "auto"))
    return response


def _asked(visit: Visit, problems: tuple[str, ...] = ()) -> Response:
    return page(visit, "tablet.html", problems=problems, lights=LIGHTS, is_kept=visit.query.get("kept") == "yes")
