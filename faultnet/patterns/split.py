"""Patterns counted by columns, taken together: what the jobs say, and which of them have each value."""

from dataclasses import dataclass, replace

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.patterns.pattern import ENDING, Key, Patterns


@dataclass(frozen=True, eq=False)
class Split:
    """Patterns without the columns, and what each counts for with each of their values.

    values: of the columns together, in alphabetical order. pattern, value, jobs: of every pair that there is the number
    of the pattern, that of the value, and the jobs, ``(n_pairs,)`` each.
    """

    columns: tuple[str, ...]
    patterns: Patterns
    values: tuple[tuple[str, ...], ...]
    pattern: Ints
    value: Ints
    jobs: Floats

    def of(self, *value: str) -> tuple[Ints, Floats]:
        """The patterns of the jobs with a value, in ascending order, and what each counts for."""
        has = self.value == self.values.index(value)
        order = np.argsort(self.pattern[has], kind="stable")
        return self.pattern[has][order], self.jobs[has][order]


def split(patterns: Patterns) -> Split:
    """Patterns without the columns they were counted by; with none, all have the same value, which has no columns."""
    first = len(ENDING)
    numbers: dict[Key, int] = {}
    values = sorted({key[-1][first:] for key in patterns.keys})
    number_of = {each: number for number, each in enumerate(values)}
    pattern, value = [], []
    for items, given, nominal, is_told, ending in patterns.keys:
        pattern.append(numbers.setdefault((items, given, nominal, is_told, ending[:first]), len(numbers)))
        value.append(number_of[ending[first:]])
    totals = np.bincount(pattern, patterns.jobs, len(numbers))
    order = np.argsort(-totals, kind="stable")
    rank = np.empty(len(order), dtype=np.intp)
    rank[order] = np.arange(len(order))
    listed = [*numbers]
    together = replace(patterns, jobs=totals[order], keys=tuple(listed[n] for n in order), by=())
    return Split(
        columns=patterns.by,
        patterns=together,
        values=tuple(values),
        pattern=rank[np.array(pattern, dtype=np.intp)],
        value=np.array(value, dtype=np.intp),
        jobs=patterns.jobs.astype(float),
    )
