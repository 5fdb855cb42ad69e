"""Versions of models, for programs: listed, accepted from a report, taken back."""

from typing import Annotated

from fastapi import APIRouter, Path
from pydantic import Field

from faultnet.errors import UsageProblem
from faultnet.model.version import Version
from faultnet.web.api.bodies import REFUSALS, Body, Json, Text, Word
from faultnet.web.visit import Visiting
from faultnet.workshop.reporting import accept_report, report_of
from faultnet.workshop.versions import take_back, unsaid, versions_of

router = APIRouter(prefix="/api/versions", tags=["versions"], responses=REFUSALS)

ModelPath = Annotated[str, Path(pattern=r"^[a-z][a-z0-9_]{0,99}$", description="A model's id.", examples=["backlight"])]


class AcceptedBody(Body):
    """The report whose numbers are to be used, who says so, and why."""

    report: Annotated[int, Field(ge=1, le=10**9)]
    by: Word
    reason: Text


class TakenBackBody(Body):
    """Who takes the newest version back, and why. number: of the version that is meant; another is left alone."""

    by: Word
    reason: Text
    number: Annotated[int, Field(ge=1, le=10**9)] | None = None


@router.get("/{model}")
def listed(visit: Visiting, model: ModelPath) -> Json:
    """The versions of a model, the oldest first; none where it is in use as its file was written."""
    return {"versions": [_told(version) for version in versions_of(visit.workshop, model)]}


@router.post("/{model}/accept")
def accepted(visit: Visiting, model: ModelPath, body: AcceptedBody) -> Json:
    """Use the numbers that a report shows from now on, without learning them again."""
    if problems := unsaid(body.by, body.reason):
        raise UsageProblem(*problems)
    learned = (report_of(visit.workshop, body.report).document or {}).get("version") or {}
    if learned.get("model") != model:
        raise UsageProblem(f"report {body.report} has no learned numbers of {model} to accept")
    return _told(accept_report(visit.workshop, body.report, body.by, body.reason))


@router.post("/{model}/undo")
def taken_back(visit: Visiting, model: ModelPath, body: TakenBackBody) -> Json:
    """Use the numbers from before the newest version again. As `faultnet model undo --json`, and more."""
    if problems := unsaid(body.by, body.reason):
        raise UsageProblem(*problems)
    return _told(take_back(visit.workshop, model, body.by, body.reason, body.number))


def _told(version: Version) -> Json:
    before, after = version.log_scores
    return {
        "version": version.id,
        "number": version.number,
        "parent": version.parent,
        "undoes": version.undoes,
        "jobs": version.n_jobs,
        "log_score_before": before,
        "log_score_after": after,
        "by": version.by,
        "reason": version.reason,
        "at": version.at,
    }
