"""The head of every page about a job: which one, how far it is, what is known of the set, what can be done with it."""

from dataclasses import dataclass
from datetime import date

from faultnet.jobs import Job
from faultnet.jobs.stage import ENDED, possible_moves, stage_on
from faultnet.model import Model
from faultnet.telling.job import facts_words, set_words, stage_words


@dataclass(frozen=True)
class Head:
    """A job in a few words. n_entries: how many there are, for forms to say what was looked at.

    moves: what is possible from its stage.
    """

    number: str
    stage: str
    stage_words: str
    about: tuple[str, ...]
    facts: str
    model: str
    title: str
    n_entries: int
    moves: frozenset[str]

    @property
    def is_ended(self) -> bool:
        """Whether nothing is tested any more."""
        return self.stage in ENDED

    @property
    def may_close(self) -> bool:
        """Whether it can be closed now."""
        return any(move.startswith("close_") for move in self.moves)


def head_of(job: Job, model: Model, today: date) -> Head:
    """The head of a job."""
    stage = stage_on(job.stage, job.stage_since.date(), today)
    return Head(
        job.number,
        stage,
        stage_words(job, today),
        tuple(set_words(job)),
        facts_words(job),
        job.model,
        model.title,
        len(job.entries),
        frozenset(possible_moves(job.stage)),
    )
