"""A reading in volts, asked for test point by test point; a comma is a decimal sign here."""

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.case.doubts import doubts
from faultnet.case.entry import parse_event
from faultnet.case.points import MOST_POINTS, NOT_REACHED, OVER_RANGE, parse_points
from faultnet.case.words import describe_event
from faultnet.errors import UsageProblem
from faultnet.jobs.replay import usual_symptom
from faultnet.model.nodes import Observation
from faultnet.web.answering import back_to_job, page
from faultnet.web.failures import problems_of
from faultnet.web.reading import check_read
from faultnet.web.rendering import number_in
from faultnet.web.screens.job import SYMPTOMS
from faultnet.web.shown.step import effort_of
from faultnet.web.visit import Form, Sent, Visit, Visiting
from faultnet.workshop.entering import enter
from faultnet.workshop.workshop import Bench

router = APIRouter()

HOLDS = {
    "steady": "steady, once it stands still",
    "max": "max hold, from switch-on",
    "settled": "settled after a while",
}
AGAINST = {"chassis": "chassis, the cold side", "hot": "the mains side (kept, but set aside)"}


@dataclass(frozen=True)
class VoltsSoFar:
    """A reading so far. points: as they are typed elsewhere; told: in words; doubts: what to look at again."""

    observation: str
    label: str
    points: tuple[str, ...]
    told: str
    doubts: tuple[str, ...]
    hold: str
    against: str
    meter: str
    is_full: bool


@router.get("/jobs/{job}/volts/{observation}")
def first(job: str, observation: str, visit: Visiting) -> Response:
    """Ask for the first point."""
    asked = {"test": [visit.query.get("test", "")], "read": [visit.query.get("read", "")]}
    return _asked(visit, number_in(job), observation, Form(asked), ())


@router.post("/jobs/{job}/volts/{observation}")
def point(job: str, observation: str, visit: Visiting, form: Sent) -> Response:
    """Take a point, and ask for the next one; or write the reading down."""
    number, points = number_in(job), list(form.all("points"))[:MOST_POINTS]
    press = form.text("press")
    try:
        check_read(visit, number, form, [observation])
        typed = {"over": OVER_RANGE, "not_reached": NOT_REACHED}.get(press, form.text("volts"))
        if press == "back":
            return _asked(visit, number, observation, form, points[:-1])
        if typed:
            points.append(_point(typed))
        elif press != "done":
            raise UsageProblem("type the volts of this point first, or press what fits")
        if press != "done":
            return _asked(visit, number, observation, form, points)
        entered = enter(visit.workshop, number, [_event(form, observation, points)], n_seen=form.n_seen)
    except UsageProblem as error:
        return _asked(visit, number, observation, form, points, problems_of(error))
    return back_to_job(number, entered, form.n_seen)


def _point(typed: str) -> str:
    """A point as it is typed elsewhere. UsageProblem: it is none, or several."""
    text = typed.replace(",", ".")
    if len(parse_points(text)) != 1:
        raise UsageProblem(f"{typed}: one test point at a time")
    return text


def _event(form: Form, observation: str, points: list[str]) -> str:
    """The reading as it is typed elsewhere. UsageProblem: it has no points."""
    if not points:
        raise UsageProblem("no point was entered")
    told = [form.text("hold") if form.text("hold") in HOLDS else "", "hot" if form.text("against") == "hot" else ""]
    told += [f"meter:{form.text('meter')}" if form.text("meter") else ""]
    told += [form.text("symptom") if form.text("symptom") in SYMPTOMS else ""]
    after = "+".join(filter(None, told))
    return f"{observation}={','.join(points)}" + (f"@{after}" if after else "")


def _asked(
    visit: Visit,
    number: str,
    observation: str,
    form: Form,
    points: tuple[str, ...] | list[str],
    problems: tuple[str, ...] = (),
) -> Response:
    """The screen that asks for the next point."""
    bench = visit.bench(number)
    seen = _reading(bench, observation)
    tests = visit.look(number).ranking.tests
    test = next((each for each in tests if each.test == form.text("test")), None) or next(
        (each for each in tests if observation in each.reveals), None
    )
    effort = None if test is None else effort_of(test.step)
    return page(
        visit,
        "volts.html",
        problems=problems,
        head=visit.head(bench.job, bench.model),
        so_far=_so_far(visit, bench, seen, form, tuple(points)),
        test="" if test is None else test.test,
        effort_of=effort,
        is_read=effort is None or not effort.is_read_first or form.text("read") == "yes",
        typed=form.text("volts") if problems else "",
        n_seen=form.text("seen") or str(len(bench.job.entries)),
        holds=_holds(seen),
        against=AGAINST,
        meters=tuple(visit.workshop.shop.meters),
        asks_symptom=usual_symptom(bench.job) != "showing",
        symptom=form.text("symptom"),
    )


def _so_far(visit: Visit, bench: Bench, seen: Observation, form: Form, points: tuple[str, ...]) -> VoltsSoFar:
    told, looked = "", tuple[str, ...]()
    if points:
        event = parse_event(bench.model, f"{seen.id}={','.join(points)}", visit.workshop.shop.meters)
        told, looked = describe_event(bench.model, event).partition(": ")[2], doubts(event, bench.model)
    usual = "" if seen.reading is None else seen.reading.default_hold
    return VoltsSoFar(
        seen.id,
        seen.label,
        points,
        told,
        looked,
        form.text("hold") or usual,
        form.text("against") or "chassis",
        form.text("meter"),
        len(points) >= MOST_POINTS,
    )


def _holds(seen: Observation) -> dict[str, str]:
    """How this may be read, the usual way first."""
    assert seen.reading is not None
    usual = seen.reading.default_hold
    return {usual: HOLDS[usual]} | {name: words for name, words in HOLDS.items() if name != usual}


def _reading(bench: Bench, observation: str) -> Observation:
    """UsageProblem: it is not read in volts."""
    seen = bench.model.visible.get(observation)
    if seen is None or seen.reading is None:
        raise UsageProblem(f"{observation} is not read in volts; go back to the job")
    return seen
