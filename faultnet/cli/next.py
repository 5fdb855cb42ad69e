"""`faultnet next`: from typed events to an answer."""

import json

from faultnet.cli.as_json import answer_json
from faultnet.cli.as_text import answer_text
from faultnet.cli.typed import Asked, understand
from faultnet.cli.ways import checked_sort
from faultnet.diagnosis import diagnose
from faultnet.files.fits import fits_better
from faultnet.ranking import rank_tests
from faultnet.ranking.on_top import with_times_on_top


def answer_next(asked: Asked, *, full: bool, sort: str, ahead_seconds: float | None, as_json: bool) -> None:
    """Print where the set stands and what to do next. sort: of the list, one of `SORTS`.

    ahead_seconds: how long to look for the cheapest plan, whose first step is then advised; None: one step ahead.
    """
    sort = checked_sort(sort)
    told = understand(asked)
    model, case = told.model, told.case
    ranking = with_times_on_top(model, case, rank_tests(model, case, told.bench, told.settings))
    if ahead_seconds is not None:
        from faultnet.cli.plan import for_seconds
        from faultnet.plan.ahead import look_ahead

        ranking = look_ahead(model, case, ranking, for_seconds(ahead_seconds))
    diagnosis, fits = diagnose(model, case), fits_better(model, case)
    if as_json:
        print(json.dumps(answer_json(model, case, diagnosis, ranking, fits), indent=2, allow_nan=False))
    else:
        print(answer_text(model, case, diagnosis, ranking, full=full, sort=sort, fits_better=fits))
