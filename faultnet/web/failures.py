"""Every error as a page or as JSON: what, where and what to do, all of it."""

import logging
import re
from collections.abc import Mapping, Sequence

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, JSONResponse, Response

from faultnet.errors import (
    ContradictoryEvidence,
    FaultnetError,
    FileProblem,
    NoSuchJob,
    NoSuchReport,
    ShopProblem,
    Stale,
    StoreProblem,
    TooLittleData,
    UsageProblem,
)
from faultnet.jobs.stage import NotPossible
from faultnet.web.refusals import is_api
from faultnet.web.rendering import rendered
from faultnet.web.tablet import tablet_of
from faultnet.web.visit import form
from faultnet.workshop.meanwhile import Meanwhile
from faultnet.workshop.repairing import Doubtful

_LOG = logging.getLogger("faultnet.web")

STATUSES: Sequence[tuple[type[FaultnetError], int]] = (
    (NoSuchJob, 404),
    (NoSuchReport, 404),
    (Stale, 409),
    (Meanwhile, 409),
    (NotPossible, 409),
    (ContradictoryEvidence, 409),
    (TooLittleData, 409),
    (UsageProblem, 422),
    (FileProblem, 409),
    (StoreProblem, 503),
)
"""What each error is in HTTP; the first that fits counts."""

_SAID = {
    404: "there is no such page",
    405: "that cannot be done here",
    400: "this form cannot be read; send it again from its page",
}

_COMMAND = re.compile(r" ?\(`faultnet [^`]*`\)|(?<=enter a repair) with `faultnet job repair`")
_OPTION = re.compile(r"(?<![\w-])--([a-z][a-z-]*)")
_NAMES = {"on-test": "hours on test", "verified": "how sure the cause is", "panel": "panel code", "board": "board code"}

SETTINGS_DAMAGED = (
    "the shop's settings file cannot be read; nothing was written. Whoever keeps it has to mend this line, where the "
    "page runs"
)

SENT_AGAIN = (409, 422, 503)
"""What may pass, or be mended elsewhere, so that the same form sent again does what it should."""

UNEXPECTED = (
    "this is a fault of the program; what was written before is safe. What happened stands at the terminal that it was "
    "started from"
)


def handle_failures(app: FastAPI) -> None:
    """Let an application tell its errors."""
    app.add_exception_handler(FaultnetError, _told)
    app.add_exception_handler(HTTPException, _not_there)
    app.add_exception_handler(RequestValidationError, _not_understood)
    app.add_exception_handler(Exception, _unexpected)


def status_of(error: Exception) -> int:
    """The status of an error that is raised on purpose."""
    return next((status for kind, status in STATUSES if isinstance(error, kind)), 500)


def problems_of(error: FaultnetError | None) -> tuple[str, ...]:
    """What is wrong, a sentence each, in words that do not ask for a command to be typed; nothing where nothing is."""
    if error is None:
        return ()
    if isinstance(error, Doubtful):
        return error.doubts
    if isinstance(error, NotPossible):
        return ("that is not possible from where the job is now; look at it again",)
    if isinstance(error, ShopProblem):
        return (SETTINGS_DAMAGED, *str(error).splitlines())
    said = error.problems if isinstance(error, UsageProblem) else tuple(str(error).splitlines())
    return tuple(map(without_commands, said))


def without_commands(said: str) -> str:
    """A sentence without what is typed at a terminal: options by their names, no command in brackets."""
    told = _COMMAND.sub("", said).replace("OUTCOME ", "how it ended, ")
    return _OPTION.sub(lambda found: _NAMES.get(found[1], found[1].replace("-", " ")), told)


async def failed(request: Request, status: int, problems: Sequence[str]) -> Response:
    """The answer that says what is wrong; on a page with the form that led to it, to be sent again."""
    path = request.url.path
    if is_api(path):
        return JSONResponse({"problems": list(problems)}, status)
    sent = await _sent(request) if status in SENT_AGAIN else {}
    light = tablet_of(request).light
    return HTMLResponse(rendered("failed.html", light=light, problems=problems, sent=sent, path=path), status)


async def _sent(request: Request) -> Mapping[str, Sequence[str]]:
    """What the form said, whether or not it was looked at before something failed; no files."""
    if request.method != "POST":
        return {}
    if (sent := getattr(request.state, "sent", None)) is not None:
        found: Mapping[str, Sequence[str]] = sent
        return found
    try:
        return (await form(request)).texts
    except HTTPException:
        return {}


async def _told(request: Request, error: Exception) -> Response:
    assert isinstance(error, FaultnetError)
    return await failed(request, status_of(error), problems_of(error))


async def _not_there(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return await failed(request, error.status_code, [_SAID.get(error.status_code, str(error.detail))])


async def _not_understood(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    places = [(".".join(map(str, each["loc"][1:])), str(each["msg"])) for each in error.errors()]
    return await failed(request, 422, [f"{place}: {said}" if place else said for place, said in places])


async def _unexpected(request: Request, error: Exception) -> Response:
    _LOG.error("unexpected, at %s %s", request.method, request.url.path, exc_info=error)
    return await failed(request, 500, [UNEXPECTED])
