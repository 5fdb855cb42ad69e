"""Requests that are turned away at the gate, in a sentence: as a page, or as JSON below `/api`."""

from dataclasses import dataclass

from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.types import Scope

from faultnet.web.rendering import rendered


@dataclass(frozen=True)
class Refusal:
    """Why something is not done. status: of HTTP; said: a sentence without its capital and stop."""

    status: int
    said: str


def refused(scope: Scope, refusal: Refusal) -> Response:
    """The answer that says so."""
    if is_api(scope["path"]):
        return JSONResponse({"problems": [refusal.said]}, refusal.status)
    return HTMLResponse(rendered("refused.html", light="auto", said=refusal.said), refusal.status)


def is_api(path: str) -> bool:
    """Whether a path is one for programs."""
    return path.startswith("/api/")
