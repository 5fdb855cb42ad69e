"""Models, and answers about a set that has no job, for programs."""

from fastapi import APIRouter

from faultnet.errors import UsageProblem
from faultnet.files.finder import is_path, list_models
from faultnet.shop.nominal import NominalTyped
from faultnet.telling.answer_json import answer_json
from faultnet.web.api.bodies import REFUSALS, AskedBody, Json
from faultnet.web.visit import Visiting
from faultnet.workshop.answer import answer
from faultnet.workshop.understanding import Asked, understand

router = APIRouter(prefix="/api", tags=["answers"], responses=REFUSALS)


@router.get("/models")
def models(visit: Visiting) -> Json:
    """The models that can be used by name, in the versions in use. As `faultnet model list --json`."""
    loaded = [visit.workshop.load_model(name) for name in list_models()]
    return {"models": [{"id": model.id, "title": model.title, "version": model.version} for model in loaded]}


@router.post("/answers")
def answered(visit: Visiting, body: AskedBody) -> Json:
    """Where a set stands and what to do next, without a job; nothing is written. As `faultnet next --json`."""
    if is_path(body.model):
        raise UsageProblem(f"model {body.model}: name a model by its id")
    told = understand(
        Asked(
            model=body.model,
            events=body.events,
            given=body.given,
            at=body.at,
            inches=body.size_inches,
            nominal=NominalTyped(body.nominal_volts, body.leds, body.panel, body.board),
            shop_file=visit.house.shop_file,
            database=visit.house.database,
            trained=visit.trained if visit.trained is not None else body.trained,
            with_complaint=not body.without_complaint,
        )
    )
    diagnosis, ranking, fit = answer(told.model, told.case, told.bench, told.settings)
    return {**answer_json(told.model, told.case, diagnosis, ranking, fit), "notes": list(told.notes)}
