"""Rows of cells with counts, as a database groups them, folded into patterns of evidence.

Different rows may say the same: tests in another order, an entry that a later one replaced. How the events of a row fit
together is worked out once for each combination of their kinds, so that a row costs little more than looking up its
cells.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import cast

import numpy as np

from faultnet.case.events import Event, Finding, Reading
from faultnet.case.sequence import Item, Together
from faultnet.errors import UsageProblem
from faultnet.history.items import in_tested_order
from faultnet.jobs.closing import OUTCOMES, VERIFICATIONS
from faultnet.model import Model
from faultnet.patterns.apart import Blankets
from faultnet.patterns.arrange import said, touched_by
from faultnet.patterns.layout import Layout, kind, layout, without_apart
from faultnet.patterns.pattern import Apart, Key, LeftOut, Patterns, Vocabulary
from faultnet.patterns.row import FIXED, UNREADABLE, Cells
from faultnet.readings import Nominal

Row = Sequence[str | int | None]
"""Cells in the order of `FIXED`, the observations, `then` and the columns counted by; then the number of jobs."""

_Numbers = tuple[int, ...]

_ApartKey = tuple[str, str, tuple[tuple[str, str], ...]]
"""A node, its state, and what is given of those it hangs on."""


@dataclass(eq=False)
class Fold:
    """Folds rows of one model. nominals: what the numbers in the column `nominal` mean, by their text.

    half_life_months: rows have the month of intake behind the columns counted by, and jobs so much older than the last
    count for half; 0: all count the same, and rows have no month.
    """

    model: Model
    a_decade: int
    by: tuple[str, ...]
    nominals: Mapping[str, Nominal | None]
    half_life_months: float = 0.0
    _n_jobs: int = 0
    _last_month: int = 0
    _counts: dict[Key, float] = field(default_factory=dict)
    _apart: dict[_ApartKey, float] = field(default_factory=dict)
    _left_out: Counter[str] = field(default_factory=Counter)
    _read: dict[tuple[int, str], tuple[_Numbers, _Numbers]] = field(default_factory=dict)
    _events: list[Event] = field(default_factory=list)
    _number_of: dict[Event, int] = field(default_factory=dict)
    _kind_events: list[Event] = field(default_factory=list)
    _kinds: dict[Event, int] = field(default_factory=dict)
    _items: dict[Item, int] = field(default_factory=dict)
    _item_of: dict[int | _Numbers, int] = field(default_factory=dict)
    _known: dict[tuple[str, str, str], tuple[tuple[str, str], ...]] = field(default_factory=dict)
    _given: dict[tuple[tuple[str, str], ...], int] = field(default_factory=dict)
    _nominals: dict[Nominal | None, int] = field(default_factory=lambda: {None: 0})
    _full_layouts: dict[_Numbers, Layout] = field(default_factory=dict)
    _layouts: dict[tuple[_Numbers, tuple[str, ...]], Layout] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._cells = Cells(self.model, self.a_decade)
        compiled = self.model.compiled
        read = {seen.id: seen.reading.given for seen in self.model.visible.values() if seen.reading is not None}
        self._blankets = Blankets(compiled.network, compiled.engine.targets, read)
        self._names = (*self.model.visible, "then")
        self._place = {name: n for n, name in enumerate(self._names)}
        made = (self.model.revealed_by.get(name) for name in self._names)
        self._alters = tuple(() if test is None else test.alters for test in made)
        self._altering = frozenset(n for n, alters in enumerate(self._alters) if alters)
        self._told = self._place.get(self.model.complaint, -1)

    def add(self, rows: Iterable[Row]) -> None:
        """Count more rows."""
        for row in rows:
            n_jobs = int(row[-1] or 0)
            try:
                counts_for = n_jobs * self._weight(row) if self.half_life_months else n_jobs
                key = self._key(row, counts_for)
                self._counts[key] = self._counts.get(key, 0) + counts_for
                self._n_jobs += n_jobs
            except UsageProblem as error:
                self._left_out["; ".join(error.problems)] += n_jobs

    def _weight(self, row: Row) -> float:
        """What a job of this month counts for beside one of January 2000. UsageProblem: no month."""
        year, _, month = str(row[-2] or "").partition("-")
        if not (year.isdecimal() and month.isdecimal()):
            raise UsageProblem("no day of intake: how old the job is cannot be told")
        number = 12 * (int(year) - 2000) + int(month)
        self._last_month = max(self._last_month, number)
        return float(2.0 ** (number / self.half_life_months))

    def _times(self) -> float:
        """What brings a job of the last month to 1."""
        return float(2.0 ** (-self._last_month / self.half_life_months)) if self.half_life_months else 1

    def patterns(self) -> Patterns:
        """What was counted so far, in an order that does not hang on the order of the rows."""
        items = sorted(self._items, key=repr)
        rank = {self._items[item]: n for n, item in enumerate(items)}
        changes = frozenset(n for n, item in enumerate(items) if touched_by(self.model, item))
        given = [repr(each) for each in self._given]
        nominals = [*map(repr, self._nominals)]
        times = self._times()
        counted = [((_in_rank(key[0], rank, changes), *key[1:]), n * times) for key, n in self._counts.items()]
        counted.sort(key=lambda each: (-each[1], each[0][4], each[0][0], given[each[0][1]], nominals[each[0][2]]))
        return Patterns(
            model=self.model.id,
            n_jobs=self._n_jobs,
            jobs=np.array([n for _, n in counted], dtype=float if self.half_life_months else np.intp),
            keys=tuple(key for key, _ in counted),
            vocabulary=Vocabulary(tuple(items), tuple(dict(each) for each in self._given), tuple(self._nominals)),
            apart=tuple(Apart(*each, n * times) for each, n in sorted(self._apart.items())),
            left_out=tuple(LeftOut(why, n) for why, n in self._left_out.most_common()),
            by=self.by,
            a_decade=self.a_decade,
        )

    def _key(self, row: Row, counts_for: float) -> Key:
        outcome, verification, came_back, was_repaired, given, by_age, nominal, tests = map(_text, row[: len(FIXED)])
        _check_ending(outcome, verification)
        cells = row[len(FIXED) : len(FIXED) + len(self._names)]
        numbers, kinds = self._seen(cells, tests)
        known = self._known_conditions(given, by_age, was_repaired)
        names = tuple(name for name, _ in known)
        plan = self._layout(kinds, names)
        in_order = self._in_order(numbers, plan)
        n_nominal = self._nominal(nominal) if plan.has_readings else 0
        if plan.apart or plan.conditions:
            self._count_apart(numbers, dict(known), plan, counts_for)
            known = tuple(each for each in known if each[0] not in plan.conditions)
        by_cells = row[len(FIXED) + len(self._names) :][: len(self.by)]
        ending = (outcome, verification, came_back, *map(_text, by_cells))
        is_told = self._told >= 0 and bool(cells[self._told])
        return in_order, self._given.setdefault(known, len(self._given)), n_nominal, is_told, ending

    def _layout(self, kinds: _Numbers, given: tuple[str, ...]) -> Layout:
        """How the events of a row fit together."""
        if (kinds, given) not in self._layouts:
            if kinds not in self._full_layouts:
                self._full_layouts[kinds] = layout(self.model, [self._kind_events[n] for n in kinds])
            self._layouts[kinds, given] = without_apart(self._blankets, self._full_layouts[kinds], given)
        return self._layouts[kinds, given]

    # -- events --------------------------------------------------------------------------------------------------------

    def _seen(self, cells: Row, tests: str) -> tuple[_Numbers, _Numbers]:
        """The numbers of the events of a row in their order, and those of their kinds."""
        there = [n for n, text in enumerate(cells) if text]
        read = [self._read.get((n, cast(str, cells[n]))) or self._read_cell(n, cast(str, cells[n])) for n in there]
        if tests and not self._altering.isdisjoint(there):
            return self._as_tested(dict(zip(there, read, strict=True)), tests)
        numbers: _Numbers = ()  # the order says nothing
        kinds: _Numbers = ()
        for own in read:
            numbers += own[0]
            kinds += own[1]
        return numbers, kinds

    def _as_tested(self, read: Mapping[int, tuple[_Numbers, _Numbers]], tests: str) -> tuple[_Numbers, _Numbers]:
        """The same in the order of the tests; between two that alter the set it says nothing."""
        n_items = {self._names[n]: len(own[0]) for n, own in read.items()}
        places = [(self._place[name], nth) for name, nth in in_tested_order(tests.split(), n_items)]
        ordered = [each for _, run in groupby(places, lambda each: self._alters[each[0]]) for each in sorted(run)]
        return tuple(read[n][0][nth] for n, nth in ordered), tuple(read[n][1][nth] for n, nth in ordered)

    def _read_cell(self, place: int, text: str) -> tuple[_Numbers, _Numbers]:
        name = self._names[place]
        events = self._cells.then(text) if name == "then" else self._cells.seen(name, text)
        found = (
            tuple(self._number(event) for event in events),
            tuple(self._kind(event) for event in events),
        )
        self._read[place, text] = found
        return found

    def _number(self, event: Event) -> int:
        if event not in self._number_of:
            number = self._number_of[event] = len(self._events)
            self._events.append(event)
            if not isinstance(event, Reading):
                self._item_of[number] = self._item(event)
        return self._number_of[event]

    def _kind(self, event: Event) -> int:
        like = kind(event)
        if like not in self._kinds:
            self._kinds[like] = len(self._kind_events)
            self._kind_events.append(like)
        return self._kinds[like]

    def _item(self, item: Item) -> int:
        """The number of an item, one for all that say the same."""
        return self._items.setdefault(said(self.model, item), len(self._items))

    def _in_order(self, numbers: _Numbers, plan: Layout) -> _Numbers:
        """The numbers of the items of a row."""
        found: list[int] = []
        for part in plan.parts:
            here = [self._item_of[numbers[n]] for n in part.seen]
            for places in part.together:
                readings = tuple(numbers[n] for n in places)
                if readings not in self._item_of:
                    together = Together(tuple(cast(Reading, self._events[n]) for n in readings))
                    self._item_of[readings] = self._item(together)
                here.append(self._item_of[readings])
            here.sort()
            found += here
            if part.change is not None:
                change = part.change
                found.append(self._item_of[numbers[change]] if isinstance(change, int) else self._item(change))
        return tuple(found)

    # -- what is known, and what leaves the key ------------------------------------------------------------------------

    def _known_conditions(self, given: str, by_age: str, was_repaired: str) -> tuple[tuple[str, str], ...]:
        key = (given, by_age, was_repaired)
        if key not in self._known:
            self._known[key] = tuple(sorted(self._cells.given(*key).items()))
        return self._known[key]

    def _nominal(self, text: str) -> int:
        """The number of a nominal. UsageProblem: nobody can read what was noted of it."""
        if text.startswith(UNREADABLE):
            raise UsageProblem(text.removeprefix(UNREADABLE))
        return self._nominals.setdefault(self.nominals.get(text), len(self._nominals))

    def _count_apart(self, numbers: _Numbers, given: Mapping[str, str], plan: Layout, counts_for: float) -> None:
        found: list[_ApartKey] = [(name, given[name], ()) for name in plan.conditions]
        for place in plan.apart:
            event = self._events[numbers[place]]
            if isinstance(event, Finding):
                states = tuple((name, given[name]) for name in sorted(self._blankets.parents[event.observation]))
                found.append((event.observation, event.state, states))
        for each in found:
            self._apart[each] = self._apart.get(each, 0) + counts_for


def _check_ending(outcome: str, verification: str) -> None:
    """UsageProblem: a word that is none of ours."""
    if outcome not in OUTCOMES:
        raise UsageProblem(f"outcome: {outcome} is none of {', '.join(OUTCOMES)}")
    if verification and verification not in VERIFICATIONS:
        raise UsageProblem(f"verification: {verification} is none of {', '.join(VERIFICATIONS)}")


def _in_rank(numbers: _Numbers, rank: Mapping[int, int], changes: frozenset[int]) -> _Numbers:
    """The numbers by rank, those between two changes in its order."""
    found: list[int] = []
    start = 0
    for number in (rank[n] for n in numbers):
        if number in changes:
            found[start:] = sorted(found[start:])
            found.append(number)
            start = len(found)
        else:
            found.append(number)
    found[start:] = sorted(found[start:])
    return tuple(found)


def _text(cell: object) -> str:
    return "" if cell is None else str(cell)
