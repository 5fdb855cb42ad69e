"""The expected counts of a history at some numbers (the E-step)."""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import accumulate, pairwise
from os import cpu_count

import numpy as np

from faultnet.case.steps import replaced
from faultnet.cpt import Floats, Ints, Table
from faultnet.learning.forms import Forms, forms_of
from faultnet.learning.hidden import Hidden
from faultnet.learning.layout import Layout, summed
from faultnet.learning.point import Frame, Point, joined
from faultnet.learning.program import Program
from faultnet.learning.sights import Blank
from faultnet.model.graph import observation_cpt

PARALLEL_FROM = 2_000
"""Below this many patterns, starting threads costs more than it saves."""

LEAST_SHARE = 1e-7
"""Outlines that no pattern gives a larger share than this do not matter."""


@dataclass(frozen=True, eq=False)
class Expected:
    """What a history adds up to at some numbers.

    log_evidence: of each pattern in nats, the complaint included, ``(n_patterns,)``; -inf where it is impossible.
    roots: expected jobs in each root state at intake, by what is given, ``(n_given, n_roots)``. sides: of every free
    side, expected jobs in each state, of the jobs that tell of it. rows: of leaves, ``(n_rows, n_states)``. changes: of
    repairs, by repair and component, ``(n_states before, n_states after)``. blanks: of usual leaves, what is in
    their rows though nobody wrote it down, ``(n_rows, n_states)``.
    """

    log_evidence: Floats
    roots: Floats
    sides: Mapping[str, Floats]
    rows: Mapping[str, Floats]
    changes: Mapping[tuple[str, str], Floats]
    blanks: Mapping[str, Floats]


@dataclass(frozen=True, eq=False)
class Values:
    """What is multiplied at some numbers: chances of standings by group, their sums by part of each group's classes,
    priors of root states, of classes and of outlines, rows of nodes, how often states are not written down, columns of
    acts by sight, then of changes."""

    chances: Floats
    parts: Sequence[Floats]
    priors: Floats
    masses: Floats
    node_rows: Sequence[Floats]
    blank: Blank
    seen: Sequence[Floats]
    columns: Floats


@dataclass(frozen=True, eq=False)
class History:
    """A program made ready to be run at any numbers."""

    program: Program
    frame: Frame
    hidden: Hidden
    known_forms: Forms | None = None

    @property
    def layout(self) -> Layout:
        return self.program.layout

    def focused(self, point: Point) -> "History":
        """The same, weighed only over outlines that matter for some pattern at these numbers.

        What that leaves out shows in the log evidence.
        """
        from faultnet.learning.kernels import find_shares

        values, n = self.values(point), self.program.n_patterns
        shares = np.zeros_like(values.masses)
        about = (self.program.start, self.program.act_of, self.program.shape_of, self._places[1])

        def find(part: tuple[int, int]) -> Floats:
            own = shares if _n_threads(n) == 1 else np.zeros_like(shares)
            weights = np.empty(self.forms.most_outlines)
            find_shares(*part, about, self.forms.for_patterns, values.masses, values.columns, own, weights)
            return own

        with ThreadPoolExecutor(_n_threads(n)) as pool:
            found = list(pool.map(find, self._parts))
        return replace(self, known_forms=self.forms.focused(np.max(found, axis=0), LEAST_SHARE))

    @cached_property
    def _parts(self) -> list[tuple[int, int]]:
        """The patterns, in as many parts of equal work as there are threads."""
        n = self.program.n_patterns
        work = np.concatenate([[0], np.cumsum(np.diff(self.forms.outline_start)[self.program.shape_of])])
        bounds = np.searchsorted(work, np.linspace(0, work[-1], _n_threads(n) + 1)).tolist()
        return list(pairwise([0, *bounds[1:-1], n]))

    @cached_property
    def forms(self) -> Forms:
        """What patterns are weighed over."""
        if self.known_forms is not None:
            return self.known_forms
        free = set(self.layout.free)
        priors = self.hidden.prior(self.frame.own, ({},))[0]
        matrices = [self._matrix(self.frame.own, n) for n in range(len(self.program.acts))]
        return forms_of(self.program, priors, self._chances(self.frame.own, self.told_free), matrices, free)

    @cached_property
    def givens(self) -> tuple[Mapping[str, str], ...]:
        """What is given, without what leaves alone hang on: each has a prior of its own."""
        return tuple(dict(each) for each in dict.fromkeys(map(self._coupled_given, range(len(self.program.groups)))))

    def _coupled_given(self, group: int) -> tuple[tuple[str, str], ...]:
        return tuple(each for each in self.program.groups[group].given if each[0] not in self.layout.free)

    @cached_property
    def given_of(self) -> Ints:
        """The number of what is given in each group: ``(n_groups,)``."""
        numbers = {tuple(given.items()): n for n, given in enumerate(self.givens)}
        return np.array([numbers[self._coupled_given(n)] for n in range(len(self.program.groups))], dtype=np.intp)

    @cached_property
    def told_free(self) -> tuple[tuple[str, ...], ...]:
        """The free sides whose chances count in each group."""
        free = self.layout.free
        return tuple(tuple(n for n in free if n in g.sides or n in dict(g.given)) for g in self.program.groups)

    def jobs_without(self, condition: str) -> float:
        """How many jobs are not given the state of a condition."""
        is_open = np.array([condition not in dict(group.given) for group in self.program.groups])
        return float(self.program.jobs @ is_open[self.program.group_of])

    # -- at some numbers -------------------------------------------------------------------------------------------

    def node_rows(self, point: Point) -> list[Floats]:
        """The rows of every node that evidence can be about."""
        model, network, found = self.layout.model, self.layout.engine.network, []
        for node in self.layout.nodes:
            seen, cpt = model.observations.get(node), network[node].cpt
            if node not in self.layout.engine.leaves:
                found.append(np.eye(len(network[node].states)))
            elif seen is None or node == model.complaint or (model.is_imported and not isinstance(cpt, Table)):
                found.append(self.layout.engine.axes.rows(node))  # what is not learned stays as it is written
            elif seen.noisy is None:
                found.append(self.frame.rows(point, node))
            else:
                found.append(np.asarray(observation_cpt(model, seen, self.frame.rows(point, node)).rows))
        return found

    def _chances(self, point: Point, told: Sequence[tuple[str, ...]]) -> Floats:
        """The chance of each standing in each group, of the sides that it tells of: ``(n_groups, n_standings)``."""
        conditions = self.frame.conditions(point)
        by_names = {
            names: self.layout.standing_chances({name: conditions[name] for name in names}) for names in set(told)
        }
        return np.stack([by_names[names] for names in told])

    def _matrix(self, point: Point, number: int) -> Floats:
        """P(state after | before) of a change; empty of other acts."""
        act = self.program.acts[number]
        if not act.repair:
            return np.empty((0, 0)) if act.matrix is None else act.matrix
        success, arrives = (self.frame.chance(point, f"{kind}.{act.repair}") for kind in ("success", "arrives_faulty"))
        component = self.layout.engine.targets[act.component]
        return replaced(self.layout.model, act.repair, component, success=success, arrives_faulty=arrives)

    @property
    def sight_start(self) -> Ints:
        """Where the columns of each sight begin among all."""
        return self._places[0]

    @property
    def column_start(self) -> Ints:
        """Where the column of each act begins among all."""
        return self._places[1]

    @cached_property
    def most_rows(self) -> int:
        """Rows of the longest column."""
        changes = max(self.layout.engine.axes.target_sizes) ** 2
        return max([changes, *(seen.sight.n_rows for seen in self.program.seen)])

    @cached_property
    def _places(self) -> tuple[Ints, Ints]:
        """Where the columns of each sight begin among all, and where that of each act does."""
        sizes = [len(seen.tables) * seen.sight.n_rows for seen in self.program.seen]
        starts = np.array([0, *accumulate(sizes)], dtype=np.int64)
        at, next_change = [], int(starts[-1])
        for act in self.program.acts:
            if act.sight >= 0:
                at.append(int(starts[act.sight]) + act.place * self.program.seen[act.sight].sight.n_rows)
            else:
                at.append(next_change)
                next_change += self.layout.engine.axes.target_sizes[act.component] ** 2
        return starts, np.array(at, dtype=np.int64)

    def values(self, point: Point) -> Values:
        node_rows, blank = self.node_rows(point), self.frame.blank(point)
        seen = [each.columns(node_rows, blank) for each in self.program.seen]
        changes = [self._matrix(point, n) for n, act in enumerate(self.program.acts) if act.sight < 0]
        priors, chances = self.hidden.prior(point, self.givens), self._chances(point, self.told_free)
        parts = self.forms.part_chances(chances)
        by_class = self.forms.class_masses(parts, priors, self.given_of)
        columns = joined([*seen, *changes])
        return Values(chances, parts, priors, self.forms.outline_masses(by_class), node_rows, blank, seen, columns)

    def expect(self, point: Point) -> Expected:
        """The expected counts at these numbers."""
        from faultnet.learning.kernels import add_up

        values, program, forms = self.values(point), self.program, self.forms
        log_evidence = np.empty(program.n_patterns)
        about = (program.start, program.act_of, program.shape_of, self._places[1])

        def add(part: tuple[int, int]) -> tuple[Floats, Floats]:
            counts = np.zeros_like(values.masses), np.zeros_like(values.columns)
            add_up(
                *part, about, forms.for_patterns, values.masses, values.columns, program.jobs, log_evidence, counts,
                np.empty(forms.most_outlines),
            )  # fmt: skip
            return counts

        with ThreadPoolExecutor(len(self._parts)) as pool:
            done = list(pool.map(add, self._parts))
        by_outline, by_column = (np.sum(each, axis=0) for each in zip(*done, strict=True))
        roots, sides = self._hidden_counted(values, by_outline)
        return Expected(
            log_evidence=log_evidence + program.log_scale,
            roots=roots,
            sides=sides,
            rows=self.rows_counted(values, by_column),
            changes=self._changes_counted(by_column),
            blanks=self._blanks_counted(values, by_column),
        )

    def _hidden_counted(self, values: Values, by_outline: Floats) -> tuple[Floats, dict[str, Floats]]:
        """Counts of root states and of free sides, from those of outlines: within one they are as the prior says."""
        ratio = np.divide(by_outline, values.masses, out=np.zeros_like(by_outline), where=values.masses > 0)
        by_class = self.forms.class_ratios(ratio)
        roots = np.zeros_like(values.priors)
        by_standing: dict[tuple[str, ...], Floats] = {}
        for number, (classes, own) in enumerate(zip(self.forms.classes, values.parts, strict=True)):
            given = self.given_of[number]
            weight = by_class[self.forms.classes_in(number)][classes.label] * values.priors[given][classes.root_of]
            roots[given] += summed(classes.root_of, weight * own, roots.shape[1])
            if told := self.told_free[number]:
                own_counts = summed(classes.standing_of, weight[classes.part_of], self.layout.n_standings)
                total = by_standing.setdefault(told, np.zeros(self.layout.n_standings))
                total += own_counts * values.chances[number]
        sides = {name: np.zeros(len(self.layout.model.states_of(name))) for name in self.layout.free}
        for told, counts in by_standing.items():
            for name in told:
                sides[name] += summed(self.layout.state_of[name], counts, len(sides[name]))
        return roots, sides

    def rows_counted(self, values: Values, by_column: Floats) -> dict[str, Floats]:
        """Counts of the states of every leaf in each of its rows, from those of columns."""
        totals = [np.zeros_like(rows) for rows in values.node_rows]
        for seen, columns, start in zip(self.program.seen, values.seen, self._places[0], strict=False):
            counts = by_column[start : start + columns.size].reshape(columns.shape)
            seen.add_counts(counts, columns, values.node_rows, values.blank, totals)
        leaves = self.layout.engine.leaves
        return {node: total for node, total in zip(self.layout.nodes, totals, strict=True) if node in leaves}

    def _blanks_counted(self, values: Values, by_column: Floats) -> dict[str, Floats]:
        """Counts of the states that nobody wrote down in each row, by leaf."""
        found: dict[str, Floats] = {}
        for seen, columns, start in zip(self.program.seen, values.seen, self._places[0], strict=False):
            counts = by_column[start : start + columns.size].reshape(columns.shape)
            found |= seen.of_blanks(counts, columns, values.node_rows, values.blank)
        return found

    def _changes_counted(self, by_column: Floats) -> dict[tuple[str, str], Floats]:
        counted = {}
        for act, start in zip(self.program.acts, self._places[1], strict=True):
            if act.repair:
                size = self.layout.engine.axes.target_sizes[act.component]
                component = self.layout.engine.targets[act.component]
                counted[act.repair, component] = by_column[start : start + size * size].reshape(size, size)
        return counted


def _n_threads(n_patterns: int) -> int:
    return max(1, cpu_count() or 1) if n_patterns >= PARALLEL_FROM else 1
