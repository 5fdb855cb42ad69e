"""Past jobs as they can be replayed: what was recorded before the first repair, and what cured the set."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from faultnet.case import Case
from faultnet.case.events import RepairOutcome, Seen, set_aside
from faultnet.model import Model
from faultnet.model.work import BenchTest


@dataclass(frozen=True)
class PastJob:
    """A job that was fixed. case: everything entered; was_advised: whether faultnet's advice was shown for it; group:
    the one whose shares the model has for such a set, "" where it has none of its own."""

    number: str
    case: Case
    was_advised: bool = False
    group: str = ""

    @cached_property
    def recorded(self) -> Mapping[str, Seen]:
        """What was seen before the first repair, by observation; the later entry counts."""
        found: dict[str, Seen] = {}
        for event in self.case.events:
            if isinstance(event, RepairOutcome):
                break
            if set_aside(event) is None:
                found[event.observation] = event
        return found

    @cached_property
    def cure(self) -> frozenset[str]:
        """The repairs after which the set worked; none where it never did."""
        done = [event for event in self.case.events if isinstance(event, RepairOutcome) and event.works]
        return frozenset(done[-1].made) if done else frozenset()

    def at_intake(self, model: Model) -> Case:
        """The case before anything was tested: what was told, and what is known of the set."""
        told = model.complaint if model.complaint in self.recorded else ""
        return replace(self.case, events=(self.recorded[told],) if told else (), skipped={})

    def result(self, test: BenchTest) -> tuple[Seen, ...]:
        """What a test showed, if all it reveals was recorded; else nothing."""
        if not all(name in self.recorded for name in test.reveals):
            return ()
        return tuple(self.recorded[name] for name in test.reveals)


def replayable(jobs: Iterable[PastJob]) -> list[PastJob]:
    """Those that were cured by a repair: only they say what would have been right."""
    return [job for job in jobs if job.cure]
