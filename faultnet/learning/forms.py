"""What patterns of a shape are weighed over: the few outlines that worlds can leave in their acts.

An *outline* says of every act which row of its sight holds, or between which states a component changed. Worlds with
the same outline weigh the same whatever was seen, so only their prior together matters.
"""

from collections.abc import Collection, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import accumulate
from os import cpu_count

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats, Ints
from faultnet.learning.classes import Classes, classes_of
from faultnet.learning.program import Program

RARE, RARE_OF_MANY, MANY = 1e-9, 1e-8, 5_000
"""Root states, and ways through repairs, less likely than this before anything was seen are left out; of many patterns
a little more. On a shop's 2,000 jobs that loses 6e-5 nats of a job, or 4e-4, on average."""

_Part = tuple[tuple[tuple[str, str], ...], frozenset[str], frozenset[int]]
"""What is given of free sides, the free sides that matter, the components that change: groups that share classes."""

_Ints32 = npt.NDArray[np.int32]
_Ints64 = npt.NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class _Form:
    """The outlines of shapes that differ only in what is given. rows: ``(n_outlines, n_acts)``.

    outline_of, class_of: the class of every member and the outline it is in, ``(n_members,)``.
    """

    rows: _Ints32
    outline_of: _Ints32
    class_of: _Ints32

    def only(self, kept: Ints) -> "_Form":
        """The form with these outlines alone, in this order."""
        number = np.full(len(self.rows), -1, dtype=np.int32)
        number[kept] = np.arange(len(kept))
        members = number[self.outline_of] >= 0
        return _Form(self.rows[kept], number[self.outline_of[members]], self.class_of[members])


@dataclass(frozen=True, eq=False)
class Forms:
    """The classes of every group, and the form of every shape."""

    program: Program
    classes: tuple[Classes, ...]
    listed: tuple[_Form, ...]
    form_of: _Ints64

    @cached_property
    def _class_starts(self) -> Ints:
        """Where the classes of each group begin: ``(n_groups + 1,)``."""
        return np.array([0, *accumulate(c.n_classes for c in self.classes)], dtype=np.int64)

    def classes_in(self, group: int) -> slice:
        """Where the classes of a group stand."""
        return slice(int(self._class_starts[group]), int(self._class_starts[group + 1]))

    @cached_property
    def outline_start(self) -> _Ints64:
        """Where the outlines of each shape begin: ``(n_shapes + 1,)``."""
        return np.array([0, *accumulate(len(self.listed[form].rows) for form in self.form_of)], dtype=np.int64)

    @cached_property
    def most_outlines(self) -> int:
        """Outlines of the largest form."""
        return max(len(form.rows) for form in self.listed)

    @cached_property
    def for_patterns(self) -> tuple[_Ints64, _Ints64, _Ints32]:
        """Where the outlines of each shape begin, where their rows do, the rows."""
        starts = np.array([0, *accumulate(form.rows.size for form in self.listed)], dtype=np.int64)
        rows = np.concatenate([form.rows.reshape(-1) for form in self.listed])
        return self.outline_start, starts[self.form_of], rows

    def focused(self, shares: Floats, least: float) -> "Forms":
        """The forms with only the outlines that some pattern gives at least this share.

        shares: the largest of every outline of every shape.
        """
        most = [np.zeros(len(form.rows)) for form in self.listed]
        for form, first, last in zip(self.form_of, self.outline_start[:-1], self.outline_start[1:], strict=True):
            most[form] = np.maximum(most[form], shares[first:last])
        listed = [form.only(_heaviest(share, least)) for form, share in zip(self.listed, most, strict=True)]
        return replace(self, listed=tuple(listed))._without_idle_classes()

    def _without_idle_classes(self) -> "Forms":
        """The same without the classes that are in no outline."""
        used = {id(classes): np.zeros(classes.n_classes, dtype=bool) for classes in self.classes}
        of_form = {int(form): self.classes[s.group] for form, s in zip(self.form_of, self.program.shapes, strict=True)}
        for number, form in enumerate(self.listed):
            used[id(of_form[number])][form.class_of] = True
        fewer = {id(classes): classes.only(used[id(classes)]) for classes in self.classes}
        numbers = {key: (np.cumsum(each) - 1).astype(np.int32) for key, each in used.items()}
        listed = [
            replace(form, class_of=numbers[id(of_form[number])][form.class_of])
            for number, form in enumerate(self.listed)
        ]
        return replace(self, classes=tuple(fewer[id(classes)] for classes in self.classes), listed=tuple(listed))

    @cached_property
    def _members(self) -> tuple[_Ints64, _Ints32, _Ints32]:
        starts = np.array([0, *accumulate(len(form.class_of) for form in self.listed)], dtype=np.int64)
        outline_of, class_of = (
            np.concatenate([getattr(form, name) for form in self.listed]) for name in ("outline_of", "class_of")
        )
        return starts, outline_of, class_of

    @cached_property
    def _shapes(self) -> tuple[_Ints64, _Ints64, _Ints64]:
        groups = np.array([shape.group for shape in self.program.shapes], dtype=np.int64)
        return self.form_of, self.outline_start[:-1], self._class_starts[groups]

    def part_chances(self, chances: Floats) -> list[Floats]:
        """The chance of the standings of each part of the classes of each group. chances: of standings, by group."""
        made: dict[int, Floats] = {}
        for classes, own in zip(self.classes, chances, strict=True):
            if id(classes) not in made:
                made[id(classes)] = classes.part_chances(own)
        return [made[id(classes)] for classes in self.classes]

    def class_masses(self, parts: Sequence[Floats], priors: Floats, given_of: Ints) -> Floats:
        """The prior of all classes of all groups."""
        each = zip(self.classes, parts, given_of, strict=True)
        return np.concatenate([classes.masses(own, priors[given]) for classes, own, given in each])

    def outline_masses(self, by_class: Floats) -> Floats:
        """The prior of all outlines of all shapes."""
        from faultnet.learning.kernels import weigh

        masses: Floats = np.zeros(self.outline_start[-1])
        weigh(masses, self._members, self._shapes, by_class)
        return masses

    def class_ratios(self, by_outline: Floats) -> Floats:
        """Of every class the sum over the outlines that it is a member of."""
        from faultnet.learning.kernels import weigh_back

        by_class: Floats = np.zeros(self._class_starts[-1])
        weigh_back(by_outline, self._members, self._shapes, by_class)
        return by_class


def _heaviest(shares: Floats, least: float) -> Ints:
    """Numbers of the outlines with at least this share, the heaviest first, so that the light ones are told early."""
    order = np.argsort(-shares, kind="stable")
    return order[shares[order] >= least]


def forms_of(
    program: Program, prior: Floats, chances: Floats, matrices: Sequence[Floats], free: Collection[str]
) -> Forms:
    """The forms of a program's shapes.

    prior: of root states, ``(n_roots,)``, and chances of standings in each group, at the numbers that say what is too
    rare; matrices of the changes.
    """
    rare = RARE_OF_MANY if program.n_patterns > MANY else RARE
    kept = np.flatnonzero(prior > rare * prior.sum())
    looked_at = sorted({node for seen in program.seen for node in seen.sight.nodes})
    doubtful = sorted({node for seen in program.seen if seen.sight.with_healthy for node in seen.sight.nodes})
    parts = [(group.given_of(free), group.sides, group.changed) for group in program.groups]
    group_of = dict(zip(parts, program.groups, strict=True))
    numbers: dict[tuple[_Part, tuple[int, ...]], int] = {}
    form_of = [numbers.setdefault((parts[s.group], s.kinds), len(numbers)) for s in program.shapes]
    with ThreadPoolExecutor(n_threads := cpu_count() or 1) as pool:
        made = pool.map(lambda part: classes_of(program.layout, group_of[part], looked_at, doubtful, kept), group_of)
        by_part = dict(zip(group_of, made, strict=True))
        masses = {
            part: by_part[part].masses(by_part[part].part_chances(own), prior)
            for part, own in zip(parts, chances, strict=True)
        }
        wanted = [*numbers]

        def outlined(first: int) -> list[_Form]:
            outliner = _Outliner(program, matrices, rare)
            return [outliner.form(kinds, by_part[part], masses[part]) for part, kinds in wanted[first::n_threads]]

        listed: list[_Form] = [None] * len(wanted)  # type: ignore[list-item]
        for first, some in enumerate(pool.map(outlined, range(n_threads))):
            listed[first::n_threads] = some
    return Forms(program, tuple(by_part[part] for part in parts), tuple(listed), np.array(form_of, dtype=np.int64))


class _Outliner:
    """Finds the outlines of shapes, in arrays that are used again."""

    def __init__(self, program: Program, matrices: Sequence[Floats], rare: float) -> None:
        self.program, self.matrices, self.rare = program, matrices, rare
        layout = program.layout
        self.row_of = np.stack([seen.sight.row_of for seen in program.seen])
        self.lay = layout.strides, np.array(layout.engine.axes.target_sizes, dtype=np.int64)
        self._make_room(1 << 12, 1 << 16)

    def _make_room(self, n_outlines: int, n_members: int) -> None:
        most_acts = max(len(shape.kinds) for shape in self.program.shapes)
        outline_of, class_of = np.empty(n_members, np.int32), np.empty(n_members, np.int32)
        rows = np.empty((n_outlines, most_acts), np.int32)
        self.room = rows, outline_of, class_of, np.empty(4 * n_outlines, np.int64)

    def form(self, of_acts: tuple[int, ...], classes: Classes, masses: Floats) -> _Form:
        from faultnet.learning.kernels import outlines

        acts = [self.program.acts[-1 - kind] if kind < 0 else None for kind in of_acts]
        changes = [n for n, act in enumerate(acts) if act is not None]
        kinds = np.array([-1 - changes.index(n) if k < 0 else k // 2 for n, k in enumerate(of_acts)], dtype=np.int64)
        is_sure = np.array([kind >= 0 and kind % 2 == 1 for kind in of_acts])
        never, changed = 0, 0
        for act, sure in zip(acts, is_sure, strict=True):
            changed |= 0 if act is None else 1 << act.component
            never |= ~changed if sure else 0
        size = max(self.program.layout.engine.axes.target_sizes)
        matrices = np.zeros((max(1, len(changes)), size, size))
        for number, n in enumerate(changes):
            own = self.matrices[-1 - of_acts[n]]
            matrices[number, : len(own), : len(own)] = own
        components = np.array([act.component for act in acts if act is not None] or [0], dtype=np.int64)
        world = classes.standing.astype(np.int64), classes.root.astype(np.int64)
        faulty = self.program.layout.faulty[classes.root]
        while True:
            n_outlines, n_members = outlines(
                kinds, is_sure, self.row_of, (components, matrices), world, masses, faulty, never,
                self.rare * masses.sum(), self.lay, self.room,
            )  # fmt: skip
            if n_outlines >= 0:
                rows, outline_of, class_of, _ = self.room
                n = len(kinds)
                return _Form(rows[:n_outlines, :n].copy(), outline_of[:n_members].copy(), class_of[:n_members].copy())
            self._make_room(4 * len(self.room[0]), 4 * len(self.room[1]))
