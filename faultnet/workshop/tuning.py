"""Learning from the shop's own jobs, or from files of past jobs, beside the version in use."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path

from faultnet.case import Case
from faultnet.counting import count_patterns
from faultnet.errors import FaultnetError
from faultnet.jobs import Job
from faultnet.jobs.entry import EVENTS
from faultnet.learning.learn import N_STARTS, Learned, Told, learn
from faultnet.model import Model
from faultnet.patterns import Patterns
from faultnet.ranking import rank_tests
from faultnet.store.bulk import all_jobs
from faultnet.store.voltages import read_voltages
from faultnet.workshop.versions import number_in_use
from faultnet.workshop.workshop import Workshop, bench_of

LAST_JOBS = 50
"""Of so many of the last jobs is asked whether the advice would have been another."""

LEAST_STRENGTH, MOST_STRENGTH = 0.01, 100.0
"""Factors on what a model's own numbers count for lie between these."""


@dataclass(frozen=True)
class Wanted:
    """What to learn from, and how. files: past jobs as Parquet or CSV, none for the shop's own; before: only jobs that
    came in before this day. strength: a factor on how many jobs the model's own numbers count for; None: rows count for
    as much as the jobs say. groups: the column by whose values shares are learned as well, "" for none.
    half_life_months: jobs so much older than the last one count for half, 0: all the same."""

    model: str
    files: Sequence[Path] = ()
    before: str = ""
    strength: float | None = 1.0
    groups: str = "panel_group"
    half_life_months: float = 0.0
    n_starts: int = N_STARTS
    with_blanks: bool = True
    seed: int = 0


@dataclass(frozen=True)
class Advised:
    """The advice on one of the last jobs, before anything was repaired, with the version in use and as learned."""

    number: str
    before: str
    after: str


@dataclass(frozen=True)
class Tuned:
    """What was learned, beside the version in use. advised: of the last jobs of the shop; none of files."""

    learned: Learned
    in_use: Model
    number_in_use: int
    advised: tuple[Advised, ...]


def tune(workshop: Workshop, wanted: Wanted, told: Told = lambda _what, _n: None) -> Tuned:
    """What the jobs say of a model's numbers; nothing is changed.

    UsageProblem, FileProblem, ModelProblem, StoreProblem: as they say. TooLittleData: too few jobs.
    """
    in_use = workshop.load_model(wanted.model)
    number = number_in_use(workshop, in_use.id)  # now: who accepts another meanwhile makes this one stale
    written = workshop.load_model(f"{in_use.id}@0") if in_use.version != f"{in_use.id}@0" else in_use
    told("counting", 0)
    patterns = past_patterns(workshop, written, wanted.before, wanted.files, wanted.groups, wanted.half_life_months)
    learned = learn(
        written,
        patterns,
        usual=usual_case(workshop),
        strength=wanted.strength,
        n_starts=wanted.n_starts,
        with_blanks=wanted.with_blanks,
        seed=wanted.seed,
        told=told,
    )
    told("comparing advice", 0)
    after = learned.as_version(f"{written.id}@{number + 1}")
    return Tuned(learned, in_use, number, () if wanted.files else tuple(_advised(workshop, in_use, after)))


def past_patterns(
    workshop: Workshop,
    model: Model,
    before: str = "",
    files: Sequence[Path] = (),
    groups: str = "",
    half_life_months: float = 0.0,
) -> Patterns:
    """The shop's jobs as patterns of evidence, or those of files; the rest as of `Wanted`."""
    with workshop.database.read() as connection:
        voltages = read_voltages(connection)
    source = [*files] or workshop.database
    group_of = workshop.shop.panel_groups.group_of
    return count_patterns(
        source,
        model,
        by=(groups,) if groups else (),
        before=before,
        voltages=voltages,
        group_of=group_of,
        half_life_months=half_life_months,
        with_returned=False,
    )


def usual_case(workshop: Workshop) -> Case:
    """What is known of every set: the shop's meters."""
    return Case(meter=workshop.shop.meter, meters=workshop.shop.meters)


def _advised(workshop: Workshop, before: Model, after: Model) -> Iterator[Advised]:
    """The advice on the last jobs that ended, as they stood before their first repair."""
    settings = workshop.shop.settings_for(None)
    for job in _last_jobs(workshop, before.id):
        try:
            benches = [bench_of(workshop, before_repairs(job), model, None) for model in (before, after)]
            both = [rank_tests(b.model, b.case, b.replayed.bench, settings).advice for b in benches]
        except FaultnetError:
            continue
        yield Advised(job.number, both[0].id or both[0].kind, both[1].id or both[1].kind)


def _last_jobs(workshop: Workshop, model: str) -> list[Job]:
    with workshop.database.read() as connection:
        ended = [job for job in all_jobs(connection) if job.model == model and job.closing is not None]
    ended.sort(key=lambda job: job.opened_at, reverse=True)
    return list(islice(ended, LAST_JOBS))


def before_repairs(job: Job) -> Job:
    """The job as it stood before its first repair."""
    first = next((n for n, entry in enumerate(job.standing) if entry.kind == "repair"), len(job.standing))
    kept = [entry for n, entry in enumerate(job.standing) if n < first or entry.kind not in EVENTS]
    numbered = (replace(entry, seq=n, place=n, supersedes=None) for n, entry in enumerate(kept, start=1))
    return replace(job, entries=tuple(numbered), closing=None)
