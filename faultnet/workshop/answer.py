"""An answer about a set, in a job or not; it needs no database, which takes long to come in."""

from collections.abc import Callable

from faultnet.case import Case
from faultnet.case.believed import Believed
from faultnet.diagnosis import BetterFit, Diagnosis
from faultnet.diagnosis.diagnose import diagnosis_of, drawn_or_none
from faultnet.files.fits import fits_better
from faultnet.model import Model
from faultnet.model.work import BenchState
from faultnet.ranking import Ranking
from faultnet.ranking.on_top import over_draws
from faultnet.ranking.rank import ranking_of
from faultnet.settings import ShopSettings


def answer(
    model: Model,
    case: Case,
    bench: BenchState,
    settings: ShopSettings,
    *,
    with_times_on_top: bool = True,
    between: Callable[[], object] = lambda: None,
) -> tuple[Diagnosis, Ranking, BetterFit | None]:
    """Of a case: what is wrong, what to do next, and a complaint that fits better.

    with_times_on_top: also how sure the order of tests is, which is a third of the work. between: called between its
    parts, for who wants to let others go first.
    """
    believed = Believed(model, case)
    ranking = ranking_of(believed, bench, settings)
    between()
    drawn = drawn_or_none(believed)
    between()
    diagnosis = diagnosis_of(believed, drawn)
    if with_times_on_top:
        ranking = over_draws(believed, drawn, ranking)
    return diagnosis, ranking, fits_better(model, case)
