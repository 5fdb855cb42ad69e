"""Patterns of evidence as numbers that a compiled loop runs through.

Each pattern is a list of *acts*, in order: something seen, or a component changed. Acts that are the same in many
patterns stand here once. Patterns whose acts have the same kinds share a *shape*, whatever was seen.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from math import log

import numpy as np
import numpy.typing as npt

from faultnet.case import Case
from faultnet.case.events import RepairOutcome
from faultnet.case.sequence import Item, Together
from faultnet.case.steps import item_steps, known_before
from faultnet.cpt import Floats, Ints
from faultnet.engine.evidence import Change, Likelihood, Step
from faultnet.learning.layout import Layout
from faultnet.learning.sights import Seen, Sight
from faultnet.learning.verdicts import proof_of, works_seen
from faultnet.model.nodes import SET_WORKS
from faultnet.patterns import Patterns
from faultnet.patterns.pattern import Key


@dataclass(frozen=True, eq=False)
class Act:
    """Something seen, as number `place` of those in the sight `sight`; or a change of a component.

    is_sure: only the first row of the sight is possible. repair: which made the change, its chances are learned; ""
    where a test altered the component, by `matrix`. log_scale: what scaling the likelihood to at most 1 took, in nats.
    """

    sight: int = -1
    place: int = -1
    is_sure: bool = False
    component: int = -1
    repair: str = ""
    matrix: Floats | None = None
    log_scale: float = 0.0


@dataclass(frozen=True)
class Group:
    """Patterns with the same given conditions, in which the same free sides matter and the same components change."""

    given: tuple[tuple[str, str], ...]
    sides: frozenset[str]
    changed: frozenset[int]

    def given_of(self, names: Collection[str]) -> tuple[tuple[str, str], ...]:
        """What is given of these conditions."""
        return tuple(each for each in self.given if each[0] in names)


@dataclass(frozen=True)
class Shape:
    """What a pattern is weighed over. group: its number; kinds: of each act its sight, twice, plus 1 where it is sure;
    of a change ``-1 - number of the act``."""

    group: int
    kinds: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Program:
    """The acts, and each pattern as their numbers.

    seen: what was seen, by sight. act_of: numbers of the acts of all patterns, one after the other; start: where each
    begins, ``(n_patterns + 1,)``. shape_of: number of each pattern's shape; told: number of the act that says what each
    was brought in for, -1 where nothing does; jobs: how many say each, ``(n_patterns,)``.
    """

    layout: Layout
    seen: tuple[Seen, ...]
    acts: tuple[Act, ...]
    act_of: npt.NDArray[np.int32]
    start: npt.NDArray[np.int64]
    groups: tuple[Group, ...]
    shapes: tuple[Shape, ...]
    shape_of: npt.NDArray[np.int32]
    told: npt.NDArray[np.int32]
    jobs: Floats

    @property
    def n_patterns(self) -> int:
        return len(self.jobs)

    @cached_property
    def group_of(self) -> Ints:
        """The number of each pattern's group: ``(n_patterns,)``."""
        return np.array([shape.group for shape in self.shapes], dtype=np.intp)[self.shape_of]

    @cached_property
    def log_scale(self) -> Floats:
        """What scaling of likelihoods took from the log evidence of each pattern."""
        by_act = np.array([act.log_scale for act in self.acts])
        sums = np.concatenate([[0.0], np.cumsum(by_act[self.act_of])])
        scale: Floats = sums[self.start[1:]] - sums[self.start[:-1]]
        return scale


@dataclass(eq=False)
class _Acts:
    """Acts, each of them once."""

    layout: Layout
    listed: list[Act] = field(default_factory=list)
    seen: list[Seen] = field(default_factory=list)
    kinds: list[int] = field(default_factory=list)
    sides: list[frozenset[str]] = field(default_factory=list)
    _numbers: dict[object, int] = field(default_factory=dict)
    _sights: dict[tuple[tuple[int, ...], bool], int] = field(default_factory=dict)

    def of_steps(self, steps: Iterable[Step]) -> tuple[int, ...]:
        """Their numbers."""
        return tuple(self._looked(s) if isinstance(s, Likelihood) else self._altered(s) for s in steps)

    def of_blank(self, leaf: str) -> int:
        """The number of nothing written about a leaf."""
        if leaf not in self._numbers:
            sight = self._sight((self.layout.number_of[leaf],), with_healthy=False)
            seen = self.seen[sight]
            seen.blanks[len(seen.tables)] = leaf
            seen.tables.append(np.ones(len(self.layout.engine.network[leaf].states)))
            seen.showing.append(1.0)
            self._number(leaf, Act(sight, len(seen.tables) - 1), self.layout.touched([leaf]))
        return self._numbers[leaf]

    def of_repair(self, repair: str, component: str) -> int:
        """The number of what a repair does to a component."""
        number = self.layout.engine.axes.targets.index(component)
        return self._number((repair, component), Act(component=number, repair=repair))

    def _altered(self, step: Change) -> int:
        number = self.layout.engine.axes.targets.index(step.node)
        return self._number((step.node, step.matrix.tobytes()), Act(component=number, matrix=step.matrix))

    def _looked(self, looked: Likelihood) -> int:
        key = (looked.nodes, looked.showing, looked.table.tobytes())
        if key in self._numbers:
            return self._numbers[key]
        nodes = tuple(self.layout.number_of[node] for node in looked.nodes)
        sight = self._sight(nodes, with_healthy=looked.showing < 1)
        most = float(looked.table.max()) or 1.0
        seen = self.seen[sight]
        seen.tables.append(looked.table.reshape(-1) / most)
        seen.showing.append(looked.showing)
        is_sure = looked.nodes == (SET_WORKS,) and not looked.table[1:].any()
        act = Act(sight, len(seen.tables) - 1, is_sure=is_sure, log_scale=log(most))
        return self._number(key, act, self.layout.touched(looked.nodes))

    def _sight(self, nodes: tuple[int, ...], *, with_healthy: bool) -> int:
        if (nodes, with_healthy) not in self._sights:
            self._sights[nodes, with_healthy] = len(self.seen)
            self.seen.append(Seen(Sight(self.layout, nodes, with_healthy)))
        return self._sights[nodes, with_healthy]

    def _number(self, key: object, act: Act, sides: frozenset[str] = frozenset()) -> int:
        if key not in self._numbers:
            self._numbers[key] = number = len(self.listed)
            self.listed.append(act)
            self.kinds.append(2 * act.sight + act.is_sure if act.sight >= 0 else -1 - number)
            self.sides.append(sides)
        return self._numbers[key]


@dataclass(eq=False)
class _Builder:
    """Puts patterns together of the acts of their items, each item worked out once."""

    layout: Layout
    patterns: Patterns
    usual: Case
    usual_leaves: tuple[str, ...]
    groups: dict[Group, int] = field(default_factory=dict)
    shapes: dict[Shape, int] = field(default_factory=dict)
    _items: dict[tuple[int, int, bool], tuple[int, ...]] = field(default_factory=dict)
    _repaired: dict[tuple[int, tuple[str, ...], bool], tuple[int, ...]] = field(default_factory=dict)
    _shape_numbers: dict[tuple[int, tuple[int, ...]], int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.acts = _Acts(self.layout)
        model, items = self.layout.model, self.patterns.vocabulary.items
        self.usually_told = self.acts.of_steps(known_before(model, {}, with_complaint=True))
        self.is_told = [getattr(item, "observation", "") == model.complaint != "" for item in items]
        self.is_doubtful = [_fails_at_times(item) for item in items]
        self.is_works = [isinstance(item, RepairOutcome) and item.works for item in items]
        self.tells_of = [frozenset(observed(item)) for item in items]

    def pattern(self, key: Key) -> tuple[list[int], int, int]:
        """Numbers of its acts, of its shape, and of the act that tells the complaint."""
        items, given, nominal, is_told, ending = key
        last = next((n for n in reversed(range(len(items))) if self.is_works[items[n]]), -1)
        acts: list[int] = [] if is_told else [*self.usually_told]
        told = -1 if is_told or not acts else acts[0]
        at_times = any(self.is_doubtful[item] for item in items)
        for place, item in enumerate(items):
            is_last = place == last
            own = self._of_repaired(item, ending, at_times) if is_last else self._of_item(item, nominal, at_times)
            if is_told and told < 0 and self.is_told[item]:
                told = own[0]
            acts += own
        if self.usual_leaves and not at_times:
            told_of = frozenset[str]().union(*(self.tells_of[item] for item in items))
            acts[:0] = [self.acts.of_blank(leaf) for leaf in self.usual_leaves if leaf not in told_of]
        return acts, self._shape(given, acts), told

    def _shape(self, given: int, acts: Sequence[int]) -> int:
        kinds = tuple([self.acts.kinds[act] for act in acts])
        if (given, kinds) not in self._shape_numbers:
            sides = frozenset[str]().union(*(self.acts.sides[act] for act in acts))
            changed = frozenset(c for act in acts if (c := self.acts.listed[act].component) >= 0)
            known = tuple(sorted(self.patterns.vocabulary.given[given].items()))
            group = self.groups.setdefault(Group(known, sides, changed), len(self.groups))
            self._shape_numbers[given, kinds] = self.shapes.setdefault(Shape(group, kinds), len(self.shapes))
        return self._shape_numbers[given, kinds]

    def _of_item(self, item: int, nominal: int, at_times: bool) -> tuple[int, ...]:
        key = item, nominal, at_times
        if key not in self._items:
            self._items[key] = self._worked_out(self.patterns.vocabulary.items[item], nominal, at_times)
        return self._items[key]

    def _worked_out(self, item: Item, nominal: int, at_times: bool) -> tuple[int, ...]:
        model = self.layout.model
        if isinstance(item, RepairOutcome):
            return (*self._changes(item), *self.acts.of_steps([works_seen(model, item, at_times=at_times)]))
        case = Case(
            nominal=self.patterns.vocabulary.nominals[nominal], meter=self.usual.meter, meters=self.usual.meters
        )
        return self.acts.of_steps(item_steps(model, case, item))

    def _of_repaired(self, item: int, ending: tuple[str, ...], at_times: bool) -> tuple[int, ...]:
        """The last repair after which the set worked, with what its job says beyond that."""
        key = item, ending[:3], at_times
        if key not in self._repaired:
            outcome = self.patterns.vocabulary.items[item]
            assert isinstance(outcome, RepairOutcome)
            proof = proof_of(self.layout.model, outcome, *ending[:2])
            seen = works_seen(self.layout.model, outcome, ending[2], at_times=at_times)
            self._repaired[key] = (
                *self.acts.of_steps([] if proof is None else [proof]),
                *self._changes(outcome),
                *self.acts.of_steps([seen]),
            )
        return self._repaired[key]

    def _changes(self, outcome: RepairOutcome) -> tuple[int, ...]:
        repairs = self.layout.model.repairs
        return tuple(self.acts.of_repair(made, part) for made in outcome.made for part in repairs[made].fixes)


def observed(item: Item) -> Iterator[str]:
    """The observations that an item tells of."""
    for each in item.readings if isinstance(item, Together) else (item,):
        if name := getattr(each, "observation", ""):
            yield name


def _fails_at_times(item: Item) -> bool:
    """Whether something was seen of which nobody knows whether the symptom showed."""
    seen = item.readings if isinstance(item, Together) else (item,)
    return any(getattr(each, "symptom", "showing") != "showing" for each in seen)


def program_of(
    layout: Layout,
    patterns: Patterns,
    usual: Case | None = None,
    times: float = 1.0,
    usual_leaves: tuple[str, ...] = (),
) -> Program:
    """The program of some patterns of the layout's model.

    usual: the shop's meters; times: what each job counts for. usual_leaves: of which nothing written says something.
    """
    builder = _Builder(layout, patterns, usual or Case(), usual_leaves)
    built = [builder.pattern(key) for key in patterns.keys]
    lengths = np.fromiter((len(acts) for acts, _, _ in built), dtype=np.int64, count=len(built))
    return Program(
        layout=layout,
        seen=tuple(builder.acts.seen),
        acts=tuple(builder.acts.listed),
        act_of=np.fromiter((act for acts, _, _ in built for act in acts), dtype=np.int32, count=int(lengths.sum())),
        start=np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64),
        groups=tuple(builder.groups),
        shapes=tuple(builder.shapes),
        shape_of=np.fromiter((shape for _, shape, _ in built), dtype=np.int32, count=len(built)),
        told=np.fromiter((told for _, _, told in built), dtype=np.int32, count=len(built)),
        jobs=times * patterns.jobs.astype(float),
    )
