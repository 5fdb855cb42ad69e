"""Answers that were worked out before, by everything they follow from.

A job is looked at several times between two entries: its steps, its reasons, its network. What an answer follows from
is its key, and the answer is a frozen value, so one can never be that of another set.
"""

from collections import OrderedDict
from threading import Lock

from faultnet.case import Case
from faultnet.diagnosis import BetterFit, Diagnosis
from faultnet.model import Model
from faultnet.model.work import BenchState
from faultnet.ranking import Ranking
from faultnet.settings import ShopSettings
from faultnet.workshop.looking import Look, look_at
from faultnet.workshop.workshop import Bench, Workshop

MOST_KEPT = 128

Answer = tuple[Diagnosis, Ranking, BetterFit | None]


class Remembered:
    """The answers of late, the oldest forgotten."""

    def __init__(self) -> None:
        self._answers: OrderedDict[str, Answer] = OrderedDict()
        self._lock = Lock()

    def look_at(self, workshop: Workshop, bench: Bench, *, trained: bool | None) -> Look:
        """As `workshop.looking.look_at`, worked out once for a case."""
        settings = workshop.shop.settings_for(trained)
        key = _key(bench.model, bench.case, bench.replayed.bench, settings)
        with self._lock:
            answer = self._answers.get(key)
        if answer is None:
            found = look_at(workshop, bench, trained=trained)
            answer = found.diagnosis, found.ranking, found.fits_better
        with self._lock:
            self._answers[key] = answer
            self._answers.move_to_end(key)
            while len(self._answers) > MOST_KEPT:
                self._answers.popitem(last=False)
        return Look(bench, *answer)


def _key(model: Model, case: Case, bench: BenchState, settings: ShopSettings) -> str:
    """All that an answer follows from, as text: values of these kinds print every digit of theirs."""
    return repr((model.file, model.digest, model.version, model.shares_of, case, bench, settings))
