"""While somebody makes a test, the answers to whatever it may show are worked out, so that the next screen is there.

One thread, the newest question first; what nobody came to ask is dropped. It fills `remembered` and changes nothing: an
answer is the same whether somebody waited for it or not.
"""

from collections import deque
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from threading import Condition, Thread

from faultnet.case.entry import parse_event
from faultnet.errors import FaultnetError
from faultnet.jobs import Entry, Job
from faultnet.jobs.entry import entry_of
from faultnet.jobs.replay import usual_symptom
from faultnet.web.remembered import Remembered
from faultnet.workshop.looking import Look
from faultnet.workshop.workshop import Workshop, bench_of, model_of

MOST_WAITING = 32


@dataclass(frozen=True)
class Question:
    """A job as it would stand after one more finding, or as it stands: then how sure the order of its tests is.

    after: the job it came back from.
    """

    workshop: Workshop
    job: Job
    after: Job | None
    trained: bool | None
    is_now: bool = False


class Ahead:
    """Works ahead from `start` to `stop`; before and after, questions are passed over."""

    def __init__(self) -> None:
        self._waiting: deque[Question] = deque(maxlen=MOST_WAITING)
        self._changed = Condition()
        self._thread: Thread | None = None

    def start(self, remembered: Remembered) -> None:
        """Begin, with answers to be kept there."""
        self._thread = Thread(target=self._work, args=(remembered,), name="ahead", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End once the answer that is being worked out is there."""
        thread, self._thread = self._thread, None
        with self._changed:
            self._waiting.clear()
            self._changed.notify_all()
        if thread is not None:
            thread.join()

    def think_of(self, workshop: Workshop, found: Look, trained: bool | None) -> None:
        """Somebody sees this now, and will soon say what the advised test showed."""
        if self._thread is None:
            return
        after = found.bench.after
        asked = [Question(workshop, found.bench.job, after, trained, is_now=True)]
        asked += [Question(workshop, job, after, trained) for job in _next_jobs(workshop, found)]
        with self._changed:
            self._waiting.extend(reversed(asked))  # the likeliest is taken first
            self._changed.notify_all()

    def _work(self, remembered: Remembered) -> None:
        while (question := self._next()) is not None:
            workshop, job = question.workshop, question.job
            with suppress(FaultnetError):  # whoever asks will be told
                bench = bench_of(workshop, job, model_of(workshop, job), question.after)
                found = remembered.look_at(workshop, bench, trained=question.trained, ahead=True)
                if question.is_now:
                    remembered.with_times_on_top(found, ahead=True)

    def _next(self) -> Question | None:
        with self._changed:
            self._changed.wait_for(lambda: self._waiting or self._thread is None)
            return self._waiting.pop() if self._waiting else None


def _next_jobs(workshop: Workshop, found: Look) -> Iterator[Job]:
    """The job after each outcome of the advised test, the likeliest first; none where it shows several things."""
    test, job = found.ranking.advised_test, found.bench.job
    if test is None or len(test.reveals) > 1:
        return
    number = len(job.entries) + 1
    for outcome in sorted(test.outcomes, key=lambda each: -each.chance):
        told = f"{test.reveals[0]}={outcome.state}"
        event = parse_event(found.bench.model, told, workshop.shop.meters, usual_symptom(job))
        yield replace(job, entries=(*job.entries, _numbered(entry_of(event), number)))


def _numbered(entry: Entry, number: int) -> Entry:
    return replace(entry, seq=number, place=number)
