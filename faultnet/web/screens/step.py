"""One test: its set-up and cautions first, then how it is made and what was seen."""

from fastapi import APIRouter
from starlette.responses import Response

from faultnet.errors import UsageProblem
from faultnet.jobs.replay import usual_symptom
from faultnet.ranking import RankedTest
from faultnet.web.answering import page
from faultnet.web.rendering import number_in
from faultnet.web.shown.step import bench_step
from faultnet.web.visit import Visiting
from faultnet.workshop.looking import Look

router = APIRouter()


@router.get("/jobs/{job}/test/{test}")
def shown(job: str, test: str, visit: Visiting) -> Response:
    """A test that can be made on this set."""
    found = visit.look(number_in(job))
    ranked = _ranked(found, test)
    is_advised = found.ranking.advice.id == test
    step = bench_step(found.bench.model, ranked, found.ranking.advice.why if is_advised else "")
    return page(
        visit,
        "test.html",
        head=visit.head(found.bench.job, found.bench.model),
        step=step,
        held=found.ranking.held_because.get(("test", test), ""),
        is_for_others=any(h.needs_training and (h.kind, h.id) == ("test", test) for h in found.ranking.held_back),
        is_read=not step.effort.is_read_first or visit.query.get("read") == "yes",
        asks_symptom=usual_symptom(found.bench.job) != "showing",
    )


def _ranked(found: Look, test: str) -> RankedTest:
    """UsageProblem: it is not open on this set."""
    ranked = next((each for each in found.ranking.tests if each.test == test), None)
    if ranked is None:
        known = found.bench.model.tests.get(test)
        said = f"the test {test} is not one of this set's" if known is None else f"{known.label} is not open any more"
        raise UsageProblem(f"{said}; go back to the job")
    return ranked
