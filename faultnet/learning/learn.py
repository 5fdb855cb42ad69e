"""Learning as a whole: from a model and its patterns to what changes, with how sure that is and what stays unknown."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from faultnet.case import Case
from faultnet.errors import TooLittleData
from faultnet.learning.blanks import half_of_blanks_normal, looked_at
from faultnet.learning.climb import Climb, climb
from faultnet.learning.conflict import surprise
from faultnet.learning.groups import pooled_shares
from faultnet.learning.information import information
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Point
from faultnet.learning.prepare import aim_at
from faultnet.learning.row_draws import rows_count_for
from faultnet.model import Model
from faultnet.model.chances import LEAST_JOBS, SECOND_FAULT, SHARES, Chances, chances_of, shift, with_chances
from faultnet.model.pooled import Pooled
from faultnet.patterns import Patterns
from faultnet.patterns.split import split

if TYPE_CHECKING:
    import pandas as pd

MOST_PATTERNS = 20_000
"""Of more patterns a sample is learned from: memory and time grow with them, and what is left to learn does not."""

FEWEST_JOBS = 30
"""Fewer jobs than this in all, and nothing is learned."""

N_STARTS = 1
_OTHER_STARTS_JOBS = 4.0
_SAME = 0.02
"""Numbers of other starts that differ by more than this, as chances, are not told by the data."""


@dataclass(frozen=True)
class Change:
    """A number before and after. blanks: the same, had half of what nobody wrote down been normal, if that was tried.

    other_starts: where climbs from elsewhere ended. surprise: how unlikely the jobs' own counts were by the number
    before, as the chance of counts at least that odd; None without enough jobs.
    """

    before: Chances
    after: Chances
    blanks: Chances | None
    other_starts: tuple[Chances, ...]
    surprise: float | None

    @property
    def told_jobs(self) -> float:
        """How many jobs that tell all it would take to be as sure: of so many jobs behind it, most leave it open."""
        return max(0.0, self.after.strength_jobs - self.before.strength_jobs)

    @property
    def is_told(self) -> bool:
        """Whether it rests on the jobs more than on the file, and climbs from elsewhere agree on it."""
        same = all(shift(self.after, other) <= _SAME for other in self.other_starts)
        return same and self.told_jobs >= self.before.strength_jobs

    @property
    def turns(self) -> bool:
        """Whether its largest change turns round once half of the blanks count as normal."""
        if self.blanks is None:
            return False
        shifts = np.array(self.after.means) - self.before.means
        largest = int(np.argmax(np.abs(shifts)))
        there = self.blanks.means[largest] - self.before.means[largest]
        return bool(shifts[largest] * there < 0)

    @property
    def why_not(self) -> str:
        """Why it is not called learned: `few`, `untold`, `blanks`, or "" where it is."""
        if self.after.jobs < LEAST_JOBS:
            return "few"
        return "untold" if not self.is_told else "blanks" if self.turns else ""


@dataclass(frozen=True)
class Learned:
    """What past jobs change of a model. n_jobs: learned from; n_past: in the patterns, more where only a sample was
    learned from; left_out: why jobs are not, with how many.

    log_score_before, log_score_after: log likelihood of a job given its complaint, on average, in nats. steps: how
    often expected counts were worked out; converged: whether climbing ended by itself. root_odds: the prior odds that
    the learned shares stand for. pooled: shares by the column that the jobs were counted by; None where they were not,
    or too few groups say how much they differ. rows_factor: on how many jobs the table rows count for.
    written: of results that are usually looked at, how often a normal one is written down, and how often another.
    """

    model: Model
    changes: tuple[Change, ...]
    n_jobs: int
    n_past: int
    left_out: tuple[tuple[str, int], ...]
    log_score_before: float
    log_score_after: float
    steps: int
    converged: bool
    root_odds: tuple[float, ...] = ()
    pooled: Pooled | None = None
    rows_factor: float = 1.0
    written: Mapping[str, tuple[float, float]] = field(default_factory=dict)

    @cached_property
    def chances(self) -> tuple[Chances, ...]:
        """All numbers as learned."""
        return tuple(change.after for change in self.changes)

    def to_frame(self) -> "pd.DataFrame":
        """Every chance before and after with its 90 % interval, a row each; text and numbers only."""
        import pandas as pd

        rows = [
            {
                "number": change.after.id,
                "state": state,
                "before": change.before.means[n],
                "after": change.after.means[n],
                "low": change.after.interval(n)[0],
                "high": change.after.interval(n)[1],
                "jobs": change.after.jobs,
                "strength_jobs": change.after.strength_jobs,
                "why_not": change.why_not,
            }
            for change in self.changes
            for n, state in enumerate(change.after.states)
        ]
        return pd.DataFrame(rows)

    def as_version(self, version: str) -> Model:
        """The model with the learned numbers."""
        numbers = with_chances(self.model, self.chances, version)
        return replace(numbers, root_odds=self.root_odds or None, pooled=self.pooled)


Told = Callable[[str, int], object]


def learn(
    model: Model,
    patterns: Patterns,
    *,
    usual: Case | None = None,
    strength: float | None = 1.0,
    n_starts: int = N_STARTS,
    with_blanks: bool = True,
    seed: int = 0,
    told: Told = lambda _what, _n: None,
) -> Learned:
    """What past jobs change of a model's numbers; of patterns counted by a column, its shares by values as well.

    usual: the shop's meters. strength: a factor on how many jobs the model's own numbers count for; None: shares for
    what the model says, and table rows for as much as the jobs say. n_starts: climbs from other numbers, drawn with
    this seed; with_blanks: learn once more with half of the blanks taken for normal. told: called with what is being
    done and how often.

    TooLittleData: fewer than 30 jobs ended. UsageProblem: the model is too large.
    """
    if patterns.n_jobs < FEWEST_JOBS:
        raise TooLittleData(
            f"{patterns.n_jobs} jobs with {model.id} have ended; at least {FEWEST_JOBS} are needed to learn from. "
            "Take in past jobs with `faultnet history import`."
        )
    n_past = patterns.n_jobs
    if len(patterns) > MOST_PATTERNS:
        patterns = patterns.thinned(MOST_PATTERNS / len(patterns), seed)
    groups = split(patterns) if patterns.by else None
    patterns = patterns if groups is None else groups.patterns
    weighed = with_strength(model, 1.0 if strength is None else strength)
    told("preparing", 0)
    usual_leaves = () if model.is_imported else looked_at(model, patterns)
    whole = aim_at(weighed, patterns, usual, usual_leaves=usual_leaves)
    own = whole.frame.own
    near = climb(_focused(whole, own), own, tolerance=1e-6, told=lambda n, _: told("learning", n)).point
    aim = _focused(whole, near)  # what matters at the numbers of the file may not be what matters here
    rows_factor = 1.0
    if strength is None and not model.is_imported:
        rows_factor = rows_count_for(aim, near, seed)
        weighed = with_strength(model, rows_factor, kinds=("row",))
        whole, aim = whole.by(weighed), aim.by(weighed)
    best = climb(aim, near, told=lambda n, _: told("learning", n))
    rng = np.random.default_rng(seed)
    others = [_from_elsewhere(aim, rng, told) for _ in range(n_starts)]
    top = max([best, *others], key=lambda each: each.value)
    blanks = None
    if with_blanks:
        filled = half_of_blanks_normal(weighed, patterns)
        as_filled = aim_at(weighed, filled, usual, times=0.5)
        start = as_filled.frame.of(top.point)
        there = _focused(as_filled, start)
        blanks = _numbers(there, climb(there, start, tolerance=1e-6, told=lambda n, _: told("blanks", n)))
    before = {each.id: each for each in chances_of(weighed)}
    told("information", 0)
    known = information(aim, top.point, seed)
    strengths = known.strengths, known.of_shares() if len(top.point.odds) else (0.0, 0.0)
    after = {each.id: each for each in aim.chances_at(top.point, top.expected, strengths)}
    ends = [_numbers(aim, each) for each in others]
    changes = tuple(
        Change(
            before[each.id],
            each,
            None if blanks is None else blanks[each.id],
            tuple(end[each.id] for end in ends),
            surprise(before[each.id], each),
        )
        for each in after.values()
    )
    as_written = whole.frame.with_written_of(top.point)
    at_start = whole.history.expect(as_written)
    learned = Learned(
        model=model,
        changes=tuple(sorted(changes, key=lambda change: [*before].index(change.before.id))),
        n_jobs=patterns.n_jobs,
        n_past=n_past,
        left_out=tuple((left.why, left.jobs) for left in patterns.left_out),
        log_score_before=aim.log_likelihood(as_written, at_start) / patterns.counts_for,
        log_score_after=aim.log_likelihood(top.point, top.expected) / patterns.counts_for,
        steps=top.steps,
        converged=top.converged,
        root_odds=tuple(top.point.odds.tolist()),
        rows_factor=rows_factor,
        written=aim.written(top.point),
    )
    if groups is None or model.is_imported:
        return learned
    told("groups", 0)
    by_id = {each.id: each for each in learned.chances}
    of_shop = by_id[SHARES], by_id[SECOND_FAULT]
    return replace(learned, pooled=pooled_shares(aim, top.point, of_shop, groups, seed))


def with_strength(model: Model, factor: float, kinds: Collection[str] = ()) -> Model:
    """The model with the strengths of these kinds of numbers, or of all, times a factor."""
    if factor == 1 or model.is_imported:  # imported numbers count for nothing beside jobs
        return model
    own = (each for each in chances_of(model) if not kinds or each.kind in kinds)
    changed = [replace(each, strength_jobs=factor * each.strength_jobs) for each in own]
    odds = tuple(model.compiled.odds[mode] for mode in model.modes)
    return replace(with_chances(model, changed, model.version), root_odds=odds)


def _focused(aim: Aim, point: Point) -> Aim:
    """The same, over what matters at a point."""
    return replace(aim, history=aim.history.focused(point))


def _from_elsewhere(aim: Aim, rng: np.random.Generator, told: Told) -> Climb:
    """A climb from numbers drawn as if those of the model counted for a few jobs only."""
    frame = aim.frame
    own = frame.own.chances
    drawn = rng.standard_gamma(np.maximum(own * _OTHER_STARTS_JOBS, 1e-3)) + 1e-3 * (own > 0)
    odds = frame.own.odds * np.exp(rng.normal(0, 0.5, len(frame.own.odds)))
    start = Point(odds, frame.scaled(np.where(own > 0, drawn, 0.0)))
    return climb(aim, start, tolerance=1e-7, told=lambda n, _: told("other starts", n))


def _numbers(aim: Aim, ended: Climb) -> dict[str, Chances]:
    return {each.id: each for each in aim.chances_at(ended.point, ended.expected)}
