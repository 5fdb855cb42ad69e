"""Replaying the shop's later jobs with numbers that were learned from its earlier ones."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

from faultnet.errors import FaultnetError, TooLittleData, UsageProblem
from faultnet.evaluate.backtest import FEWEST_JOBS, Backtest, backtest
from faultnet.evaluate.past import PastJob
from faultnet.evaluate.rules import LOOKS
from faultnet.jobs import Job
from faultnet.learning.learn import FEWEST_JOBS as FEWEST_TO_LEARN
from faultnet.learning.learn import learn
from faultnet.model import Model
from faultnet.store.advice import advised_jobs
from faultnet.store.bulk import all_jobs
from faultnet.workshop.tuning import past_patterns, usual_case
from faultnet.workshop.workshop import Workshop, bench_of

LEARNED_SHARE = 2 / 3
"""Where nobody says from which day on jobs are replayed: after this share of them has come in."""


@dataclass(frozen=True)
class Wanted:
    """What to replay. since: jobs that came in from this day on, and were not learned from; at most so many, evenly
    spread. A model with its version is used as it is, and nothing is learned. looks: how long plans are looked for."""

    model: str
    since: str = ""
    most: int = 200
    with_imputed: bool = True
    looks: int = LOOKS
    seed: int = 0


@dataclass(frozen=True)
class Replayed:
    """What came out. since: the day from which on jobs were replayed; n_learned: jobs before it that were learned from,
    0 where nothing was."""

    since: str
    n_learned: int
    found: Backtest


Told = Callable[[str, int], object]


def replay_past(workshop: Workshop, wanted: Wanted, told: Told = lambda _what, _n: None) -> Replayed:
    """The shop's jobs since a day, replayed. TooLittleData: too few of them; UsageProblem: the day is none."""
    model = workshop.load_model(wanted.model)
    with workshop.database.read() as connection:
        jobs = [job for job in all_jobs(connection) if job.model == model.id and job.closing is not None]
        advised = advised_jobs(connection)
    if len(jobs) < FEWEST_JOBS:
        raise TooLittleData(f"{len(jobs)} jobs with {model.id} have ended; at least {FEWEST_JOBS} are needed to replay")
    since = _day(wanted.since) if wanted.since else _usual_day(jobs)
    start = datetime(since.year, since.month, since.day, tzinfo=UTC)
    n_learned = 0
    if "@" not in wanted.model:
        told("learning", 0)
        written = workshop.load_model(f"{model.id}@0")
        patterns = past_patterns(workshop, written, since.isoformat(), groups="panel_group")
        if patterns.n_jobs >= FEWEST_TO_LEARN:
            n_learned = patterns.n_jobs
            learned = learn(written, patterns, usual=usual_case(workshop), n_starts=0, with_blanks=False)
            model = learned.as_version(f"{model.id}@tuned")
        else:
            model = written
    later = [job for job in jobs if job.opened_at >= start]
    step = max(1, -(-len(later) // wanted.most))
    past = [each for job in later[::step] if (each := _past(workshop, job, model, job.number in advised)) is not None]
    settings = replace(workshop.shop.settings, trained=True)
    found = backtest(
        model,
        past,
        settings,
        with_imputed=wanted.with_imputed,
        looks=wanted.looks,
        seed=wanted.seed,
        told=lambda n: told("replaying", n),
    )
    return Replayed(since.isoformat(), n_learned, found)


def _past(workshop: Workshop, job: Job, model: Model, was_advised: bool) -> PastJob | None:
    """A job as it can be replayed; None where the model no longer knows what was entered."""
    try:
        bench = bench_of(workshop, job, model, None)
        return PastJob(job.number, bench.case, was_advised, bench.model.shares_of)
    except FaultnetError:
        return None


def _usual_day(jobs: list[Job]) -> date:
    days = sorted(job.opened_at for job in jobs)
    return days[int(LEARNED_SHARE * (len(days) - 1))].date()


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise UsageProblem(f"--since {text}: write a day as 2029-03-31") from None
