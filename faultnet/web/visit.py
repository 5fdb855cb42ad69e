"""One request, understood: the shop as it is now, and what this tablet says of itself."""

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated

from fastapi import Depends, Path, Request
from starlette.background import BackgroundTask
from starlette.datastructures import UploadFile

from faultnet.errors import StoreProblem, UsageProblem
from faultnet.jobs import Job
from faultnet.model import Model
from faultnet.web.house import House
from faultnet.web.shown.head import Head, head_of
from faultnet.web.tablet import Tablet, tablet_of
from faultnet.workshop.looking import Look, note_advice
from faultnet.workshop.workshop import Bench, Workshop, on_the_bench

_LOG = logging.getLogger("faultnet.web")

SHOWN_IN = "page"
MOST_FIELDS = 400


@dataclass(frozen=True)
class Visit:
    """A request at the page. path: where it went, without a query."""

    house: House
    workshop: Workshop
    tablet: Tablet
    path: str
    query: Mapping[str, str]

    @property
    def trained(self) -> bool | None:
        """False where a helper works at this tablet, else None: as the shop's settings say."""
        return False if self.tablet.is_helper else None

    def bench(self, number: str) -> Bench:
        """A job on the bench. NoSuchJob: there is none of this number."""
        return on_the_bench(self.workshop, number)

    def head(self, job: Job, model: Model) -> Head:
        """The head of a job's page, as of today."""
        return head_of(job, model, self.workshop.clock().date())

    def look(self, number: str, *, with_times_on_top: bool = False) -> Look:
        """Where a job stands. with_times_on_top: also how sure the order of tests is."""
        found = self.house.remembered.look_at(self.workshop, self.bench(number), trained=self.trained)
        if with_times_on_top:
            found = self.house.remembered.with_times_on_top(found)
        return found

    def noting(self, found: Look) -> BackgroundTask:
        """What is advised is noted, for somebody sees it: after the page is sent, which waits for nobody's writing."""
        return BackgroundTask(_note, self.workshop, found)


def _note(workshop: Workshop, found: Look) -> None:
    try:
        note_advice(workshop, found, SHOWN_IN)
    except StoreProblem as error:
        _LOG.warning("advice was not noted: %s", error)


@dataclass(frozen=True)
class HandedIn:
    """A file that came with a form: its name, as the tablet says, and what is in it."""

    name: str
    content: bytes


@dataclass(frozen=True)
class Form:
    """What came with a form: texts without blanks at their ends, "" where there is none, and files."""

    texts: Mapping[str, Sequence[str]] = field(default_factory=dict)
    files: Mapping[str, HandedIn] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """The text of a field, the first where there are several."""
        return next(iter(self.texts.get(name, ())), "")

    def all(self, name: str) -> Sequence[str]:
        """Every text of a field that is not empty."""
        return [text for text in self.texts.get(name, ()) if text]

    def number(self, name: str) -> int:
        """A whole number that the page itself put into the form. UsageProblem: somebody changed it."""
        text = self.text(name)
        if not (text.isascii() and text.isdecimal() and len(text) < 10):
            raise UsageProblem("this form is not one of this page any more; look again, and send it from there")
        return int(text)

    @property
    def n_seen(self) -> int | None:
        """How many entries the job had when the form was shown."""
        return self.number("seen") if self.text("seen") else None


def visit(request: Request) -> Visit:
    """The visit that a request is."""
    house: House = request.app.state.house
    return Visit(house, house.workshop(), tablet_of(request), request.url.path, dict(request.query_params))


async def form(request: Request) -> Form:
    """What a form sent."""
    async with request.form(max_fields=MOST_FIELDS, max_files=1) as sent:
        texts: dict[str, list[str]] = {}
        files: dict[str, HandedIn] = {}
        for name, value in sent.multi_items():
            if isinstance(value, UploadFile):
                files[name] = HandedIn(value.filename or "", await value.read())
            else:
                texts.setdefault(name, []).append(value.replace("\0", "").strip())
        request.state.sent = texts
        return Form(texts, files)


Numbered = Annotated[int, Path(ge=1, le=10**9)]
"""The number of something, in a path; larger ones no database counts to."""

Visiting = Annotated[Visit, Depends(visit)]
Sent = Annotated[Form, Depends(form)]
