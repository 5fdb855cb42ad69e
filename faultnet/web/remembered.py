"""Answers that were worked out before, by everything they follow from.

A job is looked at several times between two entries: its steps, its reasons, its network. What an answer follows from
is its key, and the answer is a frozen value, so one can never be that of another set.
"""

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock

from faultnet.case import Case
from faultnet.diagnosis import BetterFit, Diagnosis
from faultnet.model import Model
from faultnet.model.work import BenchState
from faultnet.ranking import Ranking
from faultnet.ranking.on_top import with_times_on_top
from faultnet.settings import ShopSettings
from faultnet.workshop.looking import Look, answer
from faultnet.workshop.workshop import Bench, Workshop

MOST_KEPT = 128

Answer = tuple[Diagnosis, Ranking, BetterFit | None]


class Remembered:
    """The answers of late, the oldest forgotten."""

    def __init__(self) -> None:
        self._answers: OrderedDict[str, Answer] = OrderedDict()
        self._lock, self._working = Lock(), Lock()

    def look_at(self, workshop: Workshop, bench: Bench, *, trained: bool | None) -> Look:
        """As `workshop.looking.look_at`, worked out once for a case, and without how sure the order of tests is."""
        asked = bench.model, bench.case, bench.replayed.bench, workshop.shop.settings_for(trained)
        return Look(bench, *self._once(_key(*asked), lambda: answer(*asked, with_times_on_top=False)))

    def with_times_on_top(self, found: Look) -> Look:
        """The same with how sure the order of tests is."""
        model, case, ranking = found.bench.model, found.bench.case, found.ranking
        key = "on top: " + _key(model, case, ranking.bench, ranking.settings)
        return Look(
            found.bench,
            *self._once(key, lambda: (found.diagnosis, with_times_on_top(model, case, ranking), found.fits_better)),
        )

    def _once(self, key: str, make: Callable[[], Answer]) -> Answer:
        known = self._known(key)
        if known is None:
            with self._working:  # one after the other is sooner done than all at once, a bit of each
                known = self._known(key) or self._kept(key, make())
        return known

    def _known(self, key: str) -> Answer | None:
        with self._lock:
            if key in self._answers:
                self._answers.move_to_end(key)
            return self._answers.get(key)

    def _kept(self, key: str, found: Answer) -> Answer:
        with self._lock:
            self._answers[key] = found
            while len(self._answers) > MOST_KEPT:
                self._answers.popitem(last=False)
        return found


def _key(model: Model, case: Case, bench: BenchState, settings: ShopSettings) -> str:
    """All that an answer follows from, as text: values of these kinds print every digit of theirs."""
    return repr((model.file, model.digest, model.version, model.shares_of, case, bench, settings))
