"""The way in from the network: whoever typed the PIN carries a signed cookie; programs send the PIN along."""

from urllib.parse import quote

from itsdangerous import BadSignature, TimestampSigner
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Receive, Scope, Send

from faultnet.errors import FaultnetError
from faultnet.web.house import House
from faultnet.web.refusals import Refusal, is_api, refused
from faultnet.workshop.entrance import ShutOut, is_right_pin

COOKIE = "faultnet_in"
LASTS_SECONDS = 30 * 24 * 3600
"""How long a tablet stays in."""

OPEN = ("/sign-in", "/static/")
"""What anybody on the network may see."""

_SAYS = "in"
_BEARER = "bearer "


class Entrance:
    """The door behind the gate. Where only this machine is served it stands open."""

    def __init__(self, app: ASGIApp, house: House) -> None:
        self.app, self.house = app, house

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let in who may come in; send others to the PIN."""
        if scope["type"] != "http" or not self.house.is_on_network or scope["path"].startswith(OPEN):
            await self.app(scope, receive, send)
            return
        answer = None if is_in(Request(scope), self.house) else await self._without_cookie(scope)
        await (answer or self.app)(scope, receive, send)

    async def _without_cookie(self, scope: Scope) -> Response | None:
        """None where a program sent the right PIN; else what it, or a person, is told."""
        if not is_api(scope["path"]):
            if scope["method"] == "GET":
                return RedirectResponse(f"/sign-in?back={quote(scope['path'])}", 303)
            return refused(scope, Refusal(401, "sign in first: open this page, and type its PIN. Nothing was written"))
        said = Headers(scope=scope).get("authorization", "")
        if said.lower().startswith(_BEARER):
            try:
                pin = said[len(_BEARER) :].strip()
                if await run_in_threadpool(is_right_pin, self.house.opened, pin, address_of(scope)):
                    return None
            except ShutOut as error:
                return refused(scope, Refusal(429, str(error)))
            except FaultnetError as error:
                return refused(scope, Refusal(503, str(error)))
        return refused(scope, Refusal(401, "send the page's PIN along: Authorization: Bearer PIN"))


def is_in(request: Request, house: House) -> bool:
    """Whether a request carries a cookie that this page signed, not too long ago."""
    try:
        said = TimestampSigner(house.secret).unsign(request.cookies.get(COOKIE, ""), max_age=LASTS_SECONDS)
    except BadSignature:
        return False
    return said == _SAYS.encode()


def let_in(response: Response, house: House) -> None:
    """Give a tablet its cookie."""
    signed = TimestampSigner(house.secret).sign(_SAYS).decode()
    response.set_cookie(COOKIE, signed, max_age=LASTS_SECONDS, httponly=True, samesite="strict")


def let_out(response: Response) -> None:
    """Take it back."""
    response.delete_cookie(COOKIE, httponly=True, samesite="strict")


def address_of(scope: Scope) -> str:
    """Where a request comes from."""
    client = scope.get("client")
    return str(client[0]) if client else "unknown"
