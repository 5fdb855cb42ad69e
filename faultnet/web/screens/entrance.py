"""The PIN, for tablets on the shop's network."""

from fastapi import APIRouter, Request
from starlette.responses import Response

from faultnet.web.answering import go_to, page, within
from faultnet.web.entrance import address_of, is_in, let_in, let_out
from faultnet.web.failures import problems_of
from faultnet.web.visit import Sent, Visit, Visiting
from faultnet.workshop.entrance import ShutOut, is_right_pin

router = APIRouter()


@router.get("/sign-in")
def asked(visit: Visiting, request: Request) -> Response:
    """Ask for the PIN, where one is needed."""
    back = within(visit.query.get("back", ""))
    if not visit.house.is_on_network or is_in(request, visit.house):
        return go_to(back)
    return _asked(visit, back)


@router.post("/sign-in")
def tried(visit: Visiting, request: Request, form: Sent) -> Response:
    """Look at the PIN that was typed."""
    back = within(form.text("back"))
    try:
        if not is_right_pin(visit.workshop, form.text("pin"), address_of(request.scope)):
            return _asked(visit, back, ("that is not the PIN; it stands where the page was started",))
    except ShutOut as error:
        return _asked(visit, back, problems_of(error))
    response = go_to(back)
    let_in(response, visit.house)
    return response


@router.post("/sign-out")
def left() -> Response:
    """Leave; this tablet asks for the PIN again."""
    response = go_to("/sign-in")
    let_out(response)
    return response


def _asked(visit: Visit, back: str, problems: tuple[str, ...] = ()) -> Response:
    return page(visit, "sign_in.html", problems=problems, back=back)
