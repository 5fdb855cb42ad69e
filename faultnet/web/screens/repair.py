"""A repair that was made: its cautions first, the codes of the parts, and whether the set works."""

import re

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.errors import UsageProblem
from faultnet.jobs import Part
from faultnet.jobs.closing import PART_SOURCES
from faultnet.ranking import Ranking
from faultnet.repairs import RankedRepair
from faultnet.web.answering import back_to_job, page
from faultnet.web.failures import problems_of
from faultnet.web.rendering import number_in
from faultnet.web.shown.step import READ_FIRST_FROM, repair_step
from faultnet.web.visit import Form, Sent, Visit, Visiting
from faultnet.workshop.meanwhile import Meanwhile
from faultnet.workshop.repairing import Doubtful, repair, replaces_part
from faultnet.workshop.sums import parse_sum

router = APIRouter()

_STRIPS = re.compile(r"(\d{1,3})\s*[xX]\s*(\d{1,3})")
MOST_CODE = 60


@router.get("/jobs/{job}/repair/{made}")
def shown(job: str, made: str, visit: Visiting) -> Response:
    """A repair to make, or several at once: `replace_strips+replace_driver`."""
    together = [name for name in visit.query.get("with", "").split(",") if name]
    return _asked(visit, number_in(job), "+".join([made, *together]), Form())


@router.post("/jobs/{job}/repair/{made}")
def entered(job: str, made: str, visit: Visiting, form: Sent) -> Response:
    """The repair with its parts, and whether the set works now."""
    return visit.house.once.do(form.text("once"), lambda: _entered(job, made, visit, form))


def _entered(job: str, made: str, visit: Visit, form: Form) -> Response:
    number, sure = number_in(job), form.text("sure") == "yes"
    try:
        together = "+".join([made, *form.all("with")])
        _check_read(visit, number, together, form)
        if form.text("works") not in ("works", "not"):
            raise UsageProblem("say whether the set works now")
        parts = _parts(visit, number, together, form)
        text = f"{together}={form.text('works')}"
        written = repair(visit.workshop, number, text, parts, sure=sure, note=form.text("note"), n_seen=form.n_seen)
    except Doubtful as doubtful:
        return _asked(visit, number, made, form, doubts=doubtful.doubts)
    except Meanwhile as error:
        return _asked(visit, number, made, form, problems_of(error), looked_again=True)
    except UsageProblem as error:
        return _asked(visit, number, made, form, problems_of(error))
    return back_to_job(number, written, form.n_seen)


def _check_read(visit: Visit, number: str, made: str, form: Form) -> None:
    """UsageProblem: the form of a dangerous repair does not come after its cautions."""
    hazard = max(r.step.hazard for r in _ranked(visit.look(number).ranking, made))
    if hazard >= READ_FIRST_FROM and form.text("read") != "yes":
        raise UsageProblem("read the cautions of this repair first. Nothing was written")


def _parts(visit: Visit, number: str, made: str, form: Form) -> list[Part]:
    """The parts of a form. UsageProblem lists all slips."""
    model, comma = visit.bench(number).model, visit.workshop.shop.settings.decimal_comma
    parts: list[Part] = []
    problems: list[str] = []
    for name in made.split("+"):
        if name not in model.repairs or not replaces_part(model, name):
            continue
        old, new, source = (form.text(f"{field}.{name}") for field in ("old", "new", "source"))
        problems += [
            f"{code[:MOST_CODE]!r}: what is printed there, at most {MOST_CODE} characters"
            for code in (old, new)
            if not code.isprintable() or len(code) > MOST_CODE
        ]
        strips = leds = price = None
        if counted := form.text(f"strips.{name}"):
            if found := _STRIPS.fullmatch(counted):
                strips, leds = int(found[1]), int(found[2])
            else:
                problems.append(f"{counted}: strips and LEDs of one, such as 6x9")
        if paid := form.text(f"paid.{name}"):
            try:
                price = parse_sum("what it cost:", paid, decimal_comma=comma)
            except UsageProblem as error:
                problems.extend(error.problems)
        parts.append(Part(0, name, old, new, source if source in PART_SOURCES else "new", leds, strips, price))
    if problems:
        raise UsageProblem(*problems)
    return parts


def _asked(
    visit: Visit,
    number: str,
    made: str,
    form: Form,
    problems: tuple[str, ...] = (),
    doubts: tuple[str, ...] = (),
    *,
    looked_again: bool = False,
) -> Response:
    """The form of a repair. looked_again: others entered something, which is looked at with this answer."""
    found = visit.look(number)
    model, currency = found.bench.model, found.ranking.settings.currency
    ranked = _ranked(found.ranking, "+".join([made, *form.all("with")]))
    steps = [repair_step(each, currency) for each in ranked]
    is_read_first = any(step.effort.is_read_first for step in steps)
    n_entries = len(found.bench.job.entries)
    return page(
        visit,
        "repair.html",
        problems=(*problems, *doubts),
        head=visit.head(found.bench.job, model),
        steps=steps,
        made=steps[0].id,
        others=[(r.id, r.label) for r in model.repairs.values() if r.id not in {step.id for step in steps}],
        is_doubtful=bool(doubts),
        is_read=not is_read_first or "yes" in (visit.query.get("read"), form.text("read")),
        takes_part={step.id: replaces_part(model, step.id) for step in steps},
        takes_strips={step.id: "strips" in model.repairs[step.id].fixes for step in steps},
        sources=PART_SOURCES,
        typed=form.text,
        n_seen=str(n_entries) if looked_again or not form.text("seen") else form.text("seen"),
    )


def _ranked(ranking: Ranking, made: str) -> list[RankedRepair]:
    """UsageProblem: a repair that this model does not have."""
    known = {each.repair: each for each in ranking.repairs}
    if strange := [name for name in made.split("+") if name not in known]:
        raise UsageProblem(*(f"{name} is no repair of this set; go back to the job" for name in strange))
    return [known[name] for name in dict.fromkeys(made.split("+"))]
