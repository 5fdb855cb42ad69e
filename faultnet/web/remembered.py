"""Answers that were worked out before, by everything they follow from.

A job is looked at several times between two entries: its steps, its reasons, its network. What an answer follows from
is its key, and the answer is a frozen value, so one can never be that of another set.
"""

from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Condition, Lock

from faultnet.case import Case
from faultnet.diagnosis import BetterFit, Diagnosis
from faultnet.model import Model
from faultnet.model.work import BenchState
from faultnet.ranking import Ranking
from faultnet.ranking.on_top import with_times_on_top
from faultnet.settings import ShopSettings
from faultnet.workshop.answer import answer
from faultnet.workshop.looking import Look
from faultnet.workshop.workshop import Bench, Workshop

MOST_KEPT = 128

Answer = tuple[Diagnosis, Ranking, BetterFit | None]
Kept = tuple[Answer, Model]


class Remembered:
    """The answers of late, the oldest forgotten."""

    def __init__(self) -> None:
        self._answers: OrderedDict[str, Kept] = OrderedDict()
        self._lock, self._working = Lock(), Lock()
        self._nobody_waits = Condition()
        self._n_waiting = 0

    def look_at(self, workshop: Workshop, bench: Bench, *, trained: bool | None, ahead: bool = False) -> Look:
        """As `workshop.looking.look_at`, worked out once for a case, and without how sure the order of tests is.

        ahead: nobody waits for it yet, so those who do come first.
        """
        asked = bench.model, bench.case, bench.replayed.bench, workshop.shop.settings_for(trained)
        between = self._let_others_first if ahead else _go_on

        def make() -> Answer:
            return answer(*asked, with_times_on_top=False, between=between)

        return Look(bench, *self._once(_key(*asked), bench.model, make, ahead=ahead))

    def with_times_on_top(self, found: Look, *, ahead: bool = False) -> Look:
        """The same with how sure the order of tests is."""
        model, case, ranking = found.bench.model, found.bench.case, found.ranking
        key = "on top: " + _key(model, case, ranking.bench, ranking.settings)

        def make() -> Answer:
            return found.diagnosis, with_times_on_top(model, case, ranking), found.fits_better

        return Look(found.bench, *self._once(key, model, make, ahead=ahead))

    def _once(self, key: str, model: Model, make: Callable[[], Answer], *, ahead: bool) -> Answer:
        if (known := self._known(key)) is not None:
            return known
        if ahead:
            self._let_others_first()
            return self._known(key) or self._kept(key, make(), model)
        with self._my_turn():
            return self._known(key) or self._kept(key, make(), model)

    @contextmanager
    def _my_turn(self) -> Iterator[None]:
        """One awaited answer after the other, which is sooner done than all at once, a bit of each."""
        with self._nobody_waits:
            self._n_waiting += 1
        try:
            with self._working:
                yield
        finally:
            with self._nobody_waits:
                self._n_waiting -= 1
                self._nobody_waits.notify_all()

    def _let_others_first(self) -> None:
        """Wait until nobody waits for an answer."""
        with self._nobody_waits:
            self._nobody_waits.wait_for(lambda: not self._n_waiting)

    def _known(self, key: str) -> Answer | None:
        with self._lock:
            if key in self._answers:
                self._answers.move_to_end(key)
                return self._answers[key][0]
            return None

    def _kept(self, key: str, found: Answer, model: Model) -> Answer:
        with self._lock:
            self._answers[key] = found, model
            while len(self._answers) > MOST_KEPT:
                self._answers.popitem(last=False)
        return found


def _go_on() -> None:
    """Whoever is awaited lets nobody first."""


def _key(model: Model, case: Case, bench: BenchState, settings: ShopSettings) -> str:
    """All that an answer follows from, as text: values of these kinds print every digit of theirs.

    The model is the very one: its names do not tell its numbers, since after a restore there may be another version of
    the same number. It is kept with the answer, so that no other can come to lie where it lay.
    """
    return repr((id(model), case, bench, settings))
