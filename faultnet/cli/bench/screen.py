"""What one screen of the loop shows, as a value."""

from dataclasses import dataclass

from faultnet.diagnosis import Diagnosis
from faultnet.jobs import Job
from faultnet.model import Model
from faultnet.model.work import Caution
from faultnet.ranking import RankedTest, Ranking
from faultnet.workshop.looking import Look
from faultnet.workshop.workshop import Bench

MOST_KEYS = 9


@dataclass(frozen=True)
class Screen:
    """A look at a job; shown: the cautions that this person has read in full, here."""

    found: Look
    shown: set[Caution]

    @property
    def bench(self) -> Bench:
        return self.found.bench

    @property
    def job(self) -> Job:
        return self.bench.job

    @property
    def model(self) -> Model:
        return self.bench.model

    @property
    def diagnosis(self) -> Diagnosis:
        return self.found.diagnosis

    @property
    def ranking(self) -> Ranking:
        return self.found.ranking

    @property
    def advised(self) -> RankedTest | None:
        """The test that is advised, if it is one."""
        return self.ranking.advised_test

    @property
    def goes_on_with(self) -> tuple[str, ...]:
        """The models that may go on from here."""
        told = self.diagnosis.next_model
        return () if told is None else tuple(told.models)

    @property
    def keys(self) -> tuple[str, ...]:
        """The key for each outcome of the advised test; none where it shows several things, or too many."""
        test = self.advised
        if test is None or len(test.reveals) > 1 or len(test.outcomes) > MOST_KEYS:
            return ()
        return tuple(map(str, range(1, len(test.outcomes) + 1)))

    @property
    def takes_volts(self) -> bool:
        """Whether the advised test is read in volts."""
        test = self.advised
        return test is not None and any(self.model.visible[leaf].reading is not None for leaf in test.reveals)
