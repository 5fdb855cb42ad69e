"""A pattern of evidence: what several past jobs say alike."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from faultnet.case import Case
from faultnet.case.sequence import Item
from faultnet.case.steps import item_steps, known_before
from faultnet.cpt import Floats, Ints
from faultnet.engine.evidence import Step
from faultnet.model import Model
from faultnet.readings import Nominal


@dataclass(frozen=True)
class Pattern:
    """What some jobs say alike, about the set as it came in.

    items: what was seen, changed and repaired, in an order that jobs saying the same share; given: conditions that are
    known. nominal: None where nothing is known or no reading needs it. is_told: whether the items say what the set was
    brought in for, in place of the usual complaint. outcome, verification: how the jobs ended.
    came_back: of a set that was fixed `same` or `other`, `no`, or `open` while the watch goes on; "" of others.
    by: the values of the columns that the jobs were counted by.
    """

    items: tuple[Item, ...]
    given: Mapping[str, str] = field(default_factory=dict)
    nominal: Nominal | None = None
    is_told: bool = False
    outcome: str = ""
    verification: str = ""
    came_back: str = ""
    by: tuple[str, ...] = ()

    def steps(self, model: Model, usual: Case | None = None) -> list[Step]:
        """The steps that an engine takes over it, what is known before them first. usual: the shop's meters."""
        case = replace(usual or Case(), nominal=self.nominal)
        before = known_before(model, self.given, with_complaint=not self.is_told)
        return [*before, *(step for item in self.items for step in item_steps(model, case, item))]


@dataclass(frozen=True)
class Apart:
    """A finding, or the state of a condition, that says nothing of what is hidden in its jobs: only its count matters.

    given: the states of what it hangs on, all of them known. jobs: what they count for.
    """

    node: str
    state: str
    given: tuple[tuple[str, str], ...]
    jobs: float


@dataclass(frozen=True)
class LeftOut:
    """Jobs that are not in the patterns, and why."""

    why: str
    jobs: int


@dataclass(frozen=True, eq=False)
class Patterns(Sequence[Pattern]):
    """A history as patterns of evidence, the most frequent first.

    n_jobs: in all patterns. jobs: how many say each, older ones counting for less if asked, ``(n_patterns,)``. keys: of
    each pattern the numbers of its items (in `vocabulary`), given conditions, nominal and ending; a pattern is put
    together when it is asked for. apart: what left the keys. by: the columns counted by. a_decade: volts were rounded
    to this many preferred numbers a decade, 0: not at all.
    """

    model: str
    n_jobs: int
    jobs: Ints | Floats
    keys: tuple["Key", ...]
    vocabulary: "Vocabulary"
    apart: tuple[Apart, ...]
    left_out: tuple[LeftOut, ...]
    by: tuple[str, ...]
    a_decade: int

    @classmethod
    def of(cls, model: str, counted: Iterable[tuple[Pattern, float]], by: tuple[str, ...] = ()) -> "Patterns":
        """Patterns with what they count for, as they come. model: its id; by: the columns counted by."""
        items: dict[Item, int] = {}
        given: dict[tuple[tuple[str, str], ...], int] = {}
        nominals: dict[Nominal | None, int] = {None: 0}
        keys, jobs = [], []
        for each, n_jobs in counted:
            numbers = tuple(items.setdefault(item, len(items)) for item in each.items)
            known = given.setdefault(tuple(sorted(each.given.items())), len(given))
            nominal = nominals.setdefault(each.nominal, len(nominals))
            ending = (each.outcome, each.verification, each.came_back, *each.by)
            keys.append((numbers, known, nominal, each.is_told, ending))
            jobs.append(n_jobs)
        vocabulary = Vocabulary(tuple(items), tuple(dict(each) for each in given), tuple(nominals))
        return cls(model, round(sum(jobs)), np.array(jobs), tuple(keys), vocabulary, (), (), by, 0)

    def thinned(self, share: float, seed: int = 0) -> "Patterns":
        """About this share of the jobs, drawn at random. What left the keys stays whole."""
        rng, whole = np.random.default_rng(seed), np.ceil(self.jobs).astype(np.intp)
        drawn = rng.binomial(whole, share)
        kept = np.flatnonzero(drawn)
        jobs = self.jobs * (drawn / np.maximum(whole, 1))
        keys = tuple(self.keys[n] for n in kept.tolist())
        return replace(self, n_jobs=int(drawn.sum()), jobs=jobs[kept], keys=keys)

    def __len__(self) -> int:
        return len(self.keys)

    def __getitem__(self, number: int) -> Pattern:  # type: ignore[override]
        """The pattern of this number."""
        return self.vocabulary.pattern(self.keys[number])

    @cached_property
    def counts_for(self) -> float:
        """What all jobs count for together: their number, unless older ones count for less."""
        return float(np.sum(self.jobs))


Key = tuple[tuple[int, ...], int, int, bool, tuple[str, ...]]
"""Numbers of the items, of the given conditions and of the nominal; is_told; `ENDING` and what was counted by."""

ENDING = ("outcome", "verification", "came_back")
"""What stands of a job's end in a key."""


@dataclass(frozen=True, eq=False)
class Vocabulary:
    """What the numbers in keys stand for."""

    items: Sequence[Item]
    given: Sequence[Mapping[str, str]]
    nominals: Sequence[Nominal | None]

    def pattern(self, key: Key) -> Pattern:
        """The pattern of a key."""
        items, given, nominal, is_told, ending = key
        listed = tuple(self.items[number] for number in items)
        outcome, verification, came_back, *by = ending
        known = self.given[given], self.nominals[nominal], is_told
        return Pattern(listed, *known, outcome, verification, came_back, tuple(by))
