"""`faultnet next`: from typed events to an answer."""

import json

from faultnet.case import Case
from faultnet.cli.as_json import answer_json
from faultnet.cli.as_text import answer_text
from faultnet.cli.typed import Asked, understand
from faultnet.cli.ways import SORTS
from faultnet.diagnosis import BetterFit, better_fit, diagnose, translated
from faultnet.errors import UsageProblem
from faultnet.files import load_model
from faultnet.model import Model
from faultnet.ranking import rank_tests


def answer_next(asked: Asked, *, full: bool, sort: str, ahead_seconds: float | None, as_json: bool) -> None:
    """Print where the set stands and what to do next. sort: of the list, one of `SORTS`.

    ahead_seconds: how long to look for the cheapest plan, whose first step is then advised; None: one step ahead.
    """
    if sort not in SORTS:
        raise UsageProblem(f"--sort is one of {', '.join(SORTS)}, not {sort}")
    told = understand(asked)
    model, case = told.model, told.case
    ranking = rank_tests(model, case, told.bench, told.settings)
    if ahead_seconds is not None:
        from faultnet.cli.plan import for_seconds
        from faultnet.plan.ahead import look_ahead

        ranking = look_ahead(model, case, ranking, for_seconds(ahead_seconds))
    diagnosis, fits = diagnose(model, case), fits_better(model, case)
    if as_json:
        print(json.dumps(answer_json(model, case, diagnosis, ranking, fits), indent=2, allow_nan=False))
    else:
        print(answer_text(model, case, diagnosis, ranking, full=full, sort=sort, fits_better=fits))


def fits_better(model: Model, case: Case) -> BetterFit | None:
    """The complaint that the findings fit better than the model's own, or None.

    The model that knows is loaded only when there is a finding to ask it about.
    """
    events = translated(model, case)
    if model.comparison is None or not events:
        return None
    return better_fit(model, load_model(model.comparison.model), events)
