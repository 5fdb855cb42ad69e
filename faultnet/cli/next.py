"""`faultnet next`: from typed events to an answer."""

import json
from dataclasses import dataclass

from faultnet.case import Case
from faultnet.cli.as_text import answer_text
from faultnet.cli.picture import check_picture, write_picture
from faultnet.cli.terminal import note
from faultnet.cli.ways import checked_sort
from faultnet.diagnosis import Diagnosis
from faultnet.model import Model
from faultnet.telling.answer_json import answer_json
from faultnet.workshop.answer import answer
from faultnet.workshop.understanding import Asked, understand


@dataclass(frozen=True)
class Drawn:
    """Names of pictures to write, "" for none: of the network, and of where things stand as bars."""

    network: str = ""
    bars: str = ""

    def __post_init__(self) -> None:
        check_picture(self.network)
        check_picture(self.bars, "--bars")


def answer_next(
    asked: Asked, *, full: bool, sort: str, ahead_seconds: float | None, drawn: Drawn, as_json: bool
) -> None:
    """Print where the set stands and what to do next. sort: of the list, one of `SORTS`.

    drawn: pictures to write beside it, with `full` of everything.
    ahead_seconds: how long to look for the cheapest plan, whose first step is then advised; None: one step ahead.
    """
    sort = checked_sort(sort)
    told = understand(asked)
    for each in told.notes:
        note(each)
    model, case = told.model, told.case
    diagnosis, ranking, fits = answer(model, case, told.bench, told.settings)
    if ahead_seconds is not None:
        from faultnet.cli.plan import for_seconds
        from faultnet.plan.ahead import look_ahead

        ranking = look_ahead(model, case, ranking, for_seconds(ahead_seconds))
    _draw(drawn, model, case, diagnosis, full=full)
    if as_json:
        print(json.dumps(answer_json(model, case, diagnosis, ranking, fits), indent=2, allow_nan=False))
    else:
        print(answer_text(model, case, diagnosis, ranking, full=full, sort=sort, fits_better=fits))


def _draw(drawn: Drawn, model: Model, case: Case, diagnosis: Diagnosis, *, full: bool) -> None:
    if drawn.network:
        from faultnet.pictures.network import network_picture

        write_picture(drawn.network, network_picture(model, diagnosis, case, whole=full))
    if drawn.bars:
        from faultnet.pictures.bars import bars_picture

        write_picture(drawn.bars, bars_picture(model, diagnosis), "--bars")
