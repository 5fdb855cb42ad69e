"""What a screen answers with: a page of its own, or a way to another one."""

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from starlette.responses import HTMLResponse, RedirectResponse, Response

from faultnet.jobs import Entry
from faultnet.web.once import new_word
from faultnet.web.rendering import job_path, rendered
from faultnet.web.visit import Visit

OK, WRONG = 200, 422

SEE_OTHER = 303


def page(visit: Visit, template: str, *, problems: Sequence[str] = (), **values: Any) -> Response:
    """A page. problems: what was wrong with the form that led to it; then its status says so."""
    html = rendered(
        template,
        light=visit.tablet.light,
        tablet=visit.tablet,
        path=visit.path,
        on_network=visit.house.is_on_network,
        problems=problems,
        once=new_word(),
        **values,
    )
    return HTMLResponse(html, WRONG if problems else OK)


def go_to(path: str, **query: str) -> Response:
    """The way to another page; what is reloaded there writes nothing."""
    return RedirectResponse(path + (f"?{urlencode(query)}" if query else ""), SEE_OTHER)


def within(path: str) -> str:
    """A path of this page that somebody wants to go back to; the first screen where it leads elsewhere."""
    is_own = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable()
    return path if is_own else "/"


def back_to_job(number: str, written: Sequence[Entry], n_seen: int | None) -> Response:
    """The way to a job, which says there what was written down, and what others entered meanwhile."""
    query = {"written": ",".join(str(entry.seq) for entry in written)}
    return go_to(job_path(number), **query, **({} if n_seen is None else {"seen": str(n_seen)}))
