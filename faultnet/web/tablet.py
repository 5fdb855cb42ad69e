"""What a tablet says of itself, kept in its own cookies: who works at it, whether as a helper, how bright it is."""

import re
from dataclasses import dataclass
from urllib.parse import quote, unquote

from fastapi import Request
from starlette.responses import Response

LIGHTS = {"auto": "as the tablet has it", "bright": "bright", "dark": "dark, for the bench"}

WHO, HELPER, LIGHT = "faultnet_who", "faultnet_helper", "faultnet_light"
A_YEAR = 365 * 24 * 3600
_CODE = re.compile(r"[\w .-]{0,20}")


@dataclass(frozen=True)
class Tablet:
    """who: the code of whoever works at it, "" where nobody said; is_helper: only harmless steps are advised there."""

    who: str = ""
    is_helper: bool = False
    light: str = "auto"


def tablet_of(request: Request) -> Tablet:
    """What the cookies of a request say; what they cannot say is left out."""
    who = unquote(request.cookies.get(WHO, ""))
    light = request.cookies.get(LIGHT, "auto")
    return Tablet(
        who if _CODE.fullmatch(who) else "",
        request.cookies.get(HELPER) == "yes",
        light if light in LIGHTS else "auto",
    )


def checked_code(text: str) -> str:
    """A person's code as it is kept. ValueError: it cannot be one."""
    if not _CODE.fullmatch(text):
        raise ValueError("letters, digits, blanks and . _ -, at most 20 of them; a code, not a name")
    return text


def keep(response: Response, tablet: Tablet) -> None:
    """Put it into the cookies of a response."""
    for name, value in ((WHO, quote(tablet.who)), (HELPER, "yes" if tablet.is_helper else "no"), (LIGHT, tablet.light)):
        response.set_cookie(name, value, max_age=A_YEAR, httponly=True, samesite="strict")
