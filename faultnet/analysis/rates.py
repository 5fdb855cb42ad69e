"""How often each part, failure mode or anything else was the case, of all jobs and of groups of them."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from faultnet.analysis.in_service import InService, Occurrence, occurrences, of_cause
from faultnet.analysis.labels import Labels, labels_of
from faultnet.analysis.targets import COMPONENT, MODE, NOTHING, SEVERAL, Target, name_of, targets_of
from faultnet.analysis.trends import Trend, trend
from faultnet.analysis.values import FEW_JOBS, FEWEST_OF_SOMEBODY, NOT_WRITTEN, Values, in_order, is_ordered, shown
from faultnet.analysis.weigh import N_DRAWS, Weighed, weigh
from faultnet.case import Case
from faultnet.counting import count_patterns
from faultnet.counting.ask import Source
from faultnet.counting.columns import names_of_columns
from faultnet.counting.tally import days_of, tally
from faultnet.errors import TooLittleData, UsageProblem
from faultnet.model import Model
from faultnet.patterns import Patterns
from faultnet.shop.voltages import Entry
from faultnet.statistics.estimate import Estimate
from faultnet.statistics.shares import LEAST_GROUPS, OverShares, jeffreys, of_counts, pooled, unpooled

if TYPE_CHECKING:
    import pandas as pd

FEWEST_JOBS, FEWEST_WEIGHED = 10, 30
"""Of fewer jobs nothing is told; of fewer than the second labels alone: weighed, they would say what is assumed."""

FEWEST_POOLED = 5
"""Groups are drawn together where enough of them have so many jobs: fewer do not say how much they differ."""

MOST_POOLED = 20_000
"""Labels of a group that has more than this are as sure as if it had so many, where they are drawn towards others."""

_MUCH_MORE = 1.2
MOST_WEIGHED = 4_000
"""Of more jobs about so many are drawn and weighed; counted are all."""


@dataclass(frozen=True)
class Share:
    """How often something was the case in a group of jobs.

    values: of the columns counted by, none for all jobs; jobs: in the group. name: a component, `component.mode`, or a
    value of the column asked for. counted: jobs that say so by their label, of counted_of that have one; None where
    labels do not tell. by_count: from these; by_jobs: from all jobs, each weighed by what it says; pooled: the same,
    drawn towards the other groups. per_1000: such jobs per 1,000 set-years, where it is known how many sets are in
    service. None where it was not asked for or cannot be told.
    """

    values: Values
    name: str
    jobs: int
    counted: int | None
    counted_of: int
    by_count: Estimate | None
    by_jobs: Estimate | None
    pooled: Estimate | None
    per_1000: Estimate | None = None

    @property
    def is_few(self) -> bool:
        """Whether so few jobs are behind it that it says little by itself."""
        return self.behind < FEW_JOBS

    @property
    def behind(self) -> int:
        """How many jobs it is a share of: those weighed, else those with a label."""
        return self.counted_of if self.by_jobs is None else self.jobs

    @property
    def best(self) -> Estimate | None:
        """The estimate to read first: of jobs weighed where there is one, pooled only where the group is small."""
        own = self.by_jobs or self.by_count
        return self.pooled if self.pooled is not None and self.is_few else own


@dataclass(frozen=True)
class Rates:
    """Shares of jobs that ended, of first visits.

    model: its version; of: what; by: columns. n_jobs: counted; n_cured: of these with a repair after which the set
    worked; n_weighed: jobs that were weighed, fewer where a sample was drawn; numbers_jobs: past jobs behind the
    model's numbers. shares: of all jobs first, the most frequent first; then of each group. pull_jobs: of each name,
    for how many jobs the groups' common share counts. trends: where jobs were counted by month or year. left_out: jobs
    that could not be weighed, with the reason; n_hidden: people who did too few jobs to be told of. occurrences: jobs
    of all sets and of every group per 1,000 set-years, where it is known how many are in service. days: on which the
    first and the last of the jobs came in, "" where no day was written down.
    """

    model: str
    of: str
    by: tuple[str, ...]
    n_jobs: int
    n_cured: int
    n_weighed: int
    numbers_jobs: float
    shares: tuple[Share, ...]
    pull_jobs: Mapping[str, Estimate]
    trends: tuple[Trend, ...]
    left_out: tuple[tuple[str, int], ...]
    n_hidden: int = 0
    occurrences: tuple[Occurrence, ...] = ()
    days: tuple[str, str] = ("", "")

    def of_group(self, *values: str) -> tuple[Share, ...]:
        """The shares of a group; without values those of all jobs."""
        return tuple(share for share in self.shares if share.values == values)

    @property
    def groups(self) -> dict[Values, int]:
        """Every group and its jobs, in order."""
        return {share.values: share.jobs for share in self.shares if share.values}

    def to_frame(self) -> "pd.DataFrame":
        """A row for each share: columns counted by, name, jobs, and mean, low and high of each estimate."""
        import pandas as pd

        return pd.DataFrame([_cells(share, self.by) for share in self.shares])


def _cells(share: Share, by: Sequence[str]) -> dict[str, object]:
    cells: dict[str, object] = dict(zip(by, share.values or ("",) * len(by), strict=True))
    cells |= {"name": share.name, "jobs": share.jobs, "counted": share.counted, "counted_of": share.counted_of}
    for what in ("by_count", "by_jobs", "pooled", "per_1000"):
        told: Estimate | None = getattr(share, what)
        for end, value in zip(("value", "low", "high"), told or (None,) * 3, strict=True):
            cells[f"{what}_{end}"] = value
    return {**cells, "is_few": share.is_few}


def rates(
    source: Source,
    model: Model,
    of: str = COMPONENT,
    by: Sequence[str] = (),
    *,
    since: str = "",
    before: str = "",
    counted_only: bool = False,
    in_service: InService | None = None,
    voltages: Collection[Entry] = (),
    group_of: Callable[[str], str] = str,
    usual: Case | None = None,
    most_jobs: int = MOST_WEIGHED,
    n_draws: int = N_DRAWS,
    seed: int = 0,
) -> Rates:
    """Shares of the jobs of a history, by themselves and by one or two columns.

    source: a shop's open database, or Parquet or CSV files as of `history export`; `of`: `component`, `mode`, or one of
    the columns that jobs can be counted by; since, before: days. The model's numbers are used as they are: learn them
    first. counted_only: labels alone, at once whatever the size. in_service: sets in service by the same columns.
    voltages, group_of, usual: the shop's list, its panel groups, its meters. most_jobs: about so many are weighed of
    more, drawn at random; n_draws, seed: of the model's numbers.

    UsageProblem, FileProblem, StoreProblem: as they say. TooLittleData: fewer than 10 jobs ended, or than 30 where
    failure modes are asked for, which labels do not tell; parts are weighed from 30 on.
    """
    by = tuple(by)
    check(of, by, model, counted_only=counted_only)
    columns = (*by, *(() if of in (COMPONENT, MODE) else (of,)))
    counts = tally(source, model, columns, since=since, before=before, group_of=group_of)
    n_jobs = sum(each.jobs for each in counts)
    fewest = FEWEST_WEIGHED if of == MODE else FEWEST_JOBS
    if n_jobs < fewest:
        raise TooLittleData(
            f"{n_jobs} jobs with {model.id} have ended; at least {fewest} are needed for shares by {of}. Take in past "
            "jobs with `faultnet history import`."
        )
    labels = labels_of(counts, model, of, by)
    weighed: Weighed | None = None
    left_out: tuple[tuple[str, int], ...] = ()
    if of in (COMPONENT, MODE) and not counted_only and n_jobs >= FEWEST_WEIGHED:
        patterns = count_patterns(
            source, model, by=by, since=since, before=before, voltages=voltages, group_of=group_of,
            with_returned=False, most_jobs=most_jobs,
        )  # fmt: skip
        if patterns.n_jobs > _MUCH_MORE * most_jobs:
            patterns = patterns.thinned(most_jobs / patterns.n_jobs, seed)
        weighed = weigh(model, patterns, targets_of(model, of), usual=usual, n_draws=n_draws, seed=seed)
        left_out = _left_out(patterns, weighed)
    base = {} if in_service is None else in_service.matched(labels.jobs)
    met = occurrences({values: labels.jobs[values] for values in labels.groups}, base) if base else ()
    counted_in = {each.values: (each.jobs, each.set_years) for each in met}
    found = [
        _found(number, target, labels, weighed, counted_in) for number, target in enumerate(_targets(labels, weighed))
    ]
    _sort(found, of)
    found, n_people = _without_few_people(found, of)
    return Rates(
        model=model.version,
        of=of,
        by=by,
        n_jobs=n_jobs,
        n_cured=labels.cured[()],
        n_weighed=0 if weighed is None else round(weighed.n_jobs),
        numbers_jobs=model.jobs_behind.get("shares", 0.0),
        shares=tuple(each.shares[values] for values in labels.groups for each in found),
        pull_jobs={each.name: each.pull for each in found if each.pull is not None},
        trends=tuple(each.trend for each in found if each.trend is not None),
        left_out=left_out,
        n_hidden=len(labels.hidden) + n_people,
        occurrences=met,
        days=days_of(counts),
    )


def _left_out(patterns: Patterns, weighed: Weighed) -> tuple[tuple[str, int], ...]:
    """Jobs that could not be weighed, with the reason."""
    found = [(each.why, each.jobs) for each in patterns.left_out]
    if weighed.n_impossible:
        found.append(("what was seen cannot all be true by the model's numbers", round(weighed.n_impossible)))
    return tuple(found)


def check(of: str, by: Sequence[str], model: Model, *, counted_only: bool = False) -> None:
    """UsageProblem: that is nothing that shares can be of, or by."""
    known = names_of_columns(model)
    problems = []
    if of not in (COMPONENT, MODE, *known):
        problems.append(f"no shares of {of}; possible are {', '.join((COMPONENT, MODE, *known))}")
    problems += [f"jobs are not counted by {each}; possible are {', '.join(known)}" for each in by if each not in known]
    if of == MODE and counted_only:
        problems.append(
            "labels say which part was replaced, not in which mode it failed: jobs must be weighed for that"
        )
    if len(by) > 2 or len({of, *by}) < 1 + len(by):
        problems.append(f"by {', '.join(by)}: one column or two, other than {of}")
    if problems:
        raise UsageProblem(*problems)


@dataclass(frozen=True, eq=False)
class _Found:
    """One thing asked of all groups."""

    name: str
    shares: Mapping[Values, Share]
    pull: Estimate | None
    trend: Trend | None

    @property
    def overall(self) -> float:
        """Its share of all jobs, to sort by."""
        best = self.shares[()].best
        return 0.0 if best is None else best.value


def _without_few_people(found: list[_Found], of: str) -> tuple[list[_Found], int]:
    """Without people who did too few jobs to be told of, and how many they are."""
    if of != "technician":
        return found, 0
    kept = [each for each in found if (each.shares[()].counted or 0) >= FEWEST_OF_SOMEBODY or each.name == NOT_WRITTEN]
    return kept, len(found) - len(kept)


def _targets(labels: Labels, weighed: Weighed | None) -> list[Target]:
    if weighed is not None:
        return list(weighed.targets)
    return targets_of(labels.model, labels.of)[:-2] if labels.is_of_faults else [(name, "") for name in labels.names]


def _sort(found: list[_Found], of: str) -> None:
    """The most frequent first; what is in time or in bands in that order; at the end what is no fault, or not known."""
    if is_ordered(of):
        order = in_order({(each.name,): each.shares[()].counted or 0 for each in found}, (of,))
        found.sort(key=lambda each: order.index((each.name,)))
    else:
        found.sort(key=lambda each: (each.name in (NOTHING, SEVERAL, NOT_WRITTEN), -each.overall))


def _found(
    number: int, target: Target, labels: Labels, weighed: Weighed | None, counted_in: Mapping[Values, tuple[int, float]]
) -> _Found:
    groups = labels.groups
    counts = [labels.count(values, target) for values in groups]
    draws: list[OverShares] = []
    if weighed is not None:
        draws = [_by_group(weighed, number, draw, labels) for draw in range(len(weighed.said))]
    elif all(x is not None for x, _ in counts):
        draws = [_of_labels([(x or 0, of) for x, of in counts])]
    drawn = draws[1:] or draws  # the model's own numbers only where nothing else was drawn
    posterior = unpooled(*drawn) if drawn and (weighed is not None or counted_in) else None
    by_jobs = posterior.estimates() if posterior is not None and weighed is not None else [None] * len(groups)
    named = [n for n, values in enumerate(groups) if values and NOT_WRITTEN not in values]
    behind = [
        labels.jobs[values] if weighed is not None else of for values, (_, of) in zip(groups, counts, strict=True)
    ]
    drawn_together = [n for n in named if behind[n]]
    for_groups: dict[int, Estimate] = {}
    pull = None
    if drawn and sum(n >= FEWEST_POOLED for n in map(behind.__getitem__, named)) >= LEAST_GROUPS:
        together = pooled(*(each.only(drawn_together) for each in drawn))
        pull, for_groups = together.pull_jobs, dict(zip(drawn_together, together.of_groups.estimates(), strict=True))
    name = name_of(target)
    shares = {}
    for n, (values, (x, of)) in enumerate(zip(groups, counts, strict=True)):
        per_1000 = None
        if posterior is not None and values in counted_in:
            per_1000 = of_cause(*counted_in[values], posterior.values[n], posterior.shares)
        by_count = None if x is None or not of else jeffreys(x, of)
        jobs = labels.jobs[values]
        shares[values] = Share(values, name, jobs, x, of, by_count, by_jobs[n], for_groups.get(n), per_1000)
    told = None
    if draws and labels.by in (("month",), ("year",)):
        told = trend(name, [groups[n][0] for n in named], *(each.only(named) for each in draws))
    return _Found(name, shares, pull, told)


def _of_labels(counts: Sequence[tuple[int, int]]) -> OverShares:
    """Log likelihoods of counts; of very many jobs a part stands for all, since their own share stands alone anyway."""
    parts = [min(1.0, MOST_POOLED / max(of, 1)) for _, of in counts]
    return of_counts(*zip(*((x * part, of * part) for (x, of), part in zip(counts, parts, strict=True)), strict=True))


def _by_group(weighed: Weighed, number: int, draw: int, labels: Labels) -> OverShares:
    """Log likelihoods of groups as they are shown; of those without a job that was weighed all shares are alike."""
    found = weighed.likelihoods(number, draw)
    place = {values: n for n, values in enumerate(labels.groups)}
    values = np.zeros((len(place), len(found.log_odds)))
    values[0] = found.values[0]
    for raw, own in zip(weighed.values, found.values[1:], strict=True):
        if raw and (group := shown(raw, labels.by)) in place:
            values[place[group]] += own
    return OverShares(found.log_odds, values)
