"""What sets with the complaint are like at some numbers: jobs are only ever of such sets.

What is given of a set beforehand (its age, a surge) is often noted only where it is worth noting. So every job is taken
given that as well: it says what such sets have, not how many of them there are.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.learning.expect import History
from faultnet.learning.layout import Layout
from faultnet.learning.point import Point


@dataclass(frozen=True, eq=False)
class Told:
    """How sets were brought in.

    columns: P(what was told, and what is given of free sides | world), one of each kind, ``(n_standings, n_roots)``.
    jobs: how many were brought in with each, by what else is given, ``(n_kinds, n_given)``. kind_of: the kind of each
    pattern, -1 where nothing was told, ``(n_patterns,)``.
    """

    layout: Layout
    columns: tuple[Floats, ...]
    jobs: Floats
    kind_of: Ints

    def chosen(self, priors: Floats, sides: Mapping[str, Floats]) -> list["Chosen"]:
        """The sets of each kind. priors: of root states, ``(n_given, n_roots)``; sides: shares of free sides."""
        chances = self.layout.standing_chances(sides)
        return [Chosen.of(column, jobs, priors, chances) for column, jobs in zip(self.columns, self.jobs, strict=True)]


@dataclass(frozen=True, eq=False)
class Chosen:
    """Sets with a complaint. log_chance: of what all these jobs were brought in with, summed, in nats.

    given_root: P(complaint | root state), ``(n_roots,)``; ratio: jobs over the chance of their complaint,
    ``(n_given,)``; standings: expected jobs in each, ``(n_standings,)``.
    """

    log_chance: float
    given_root: Floats
    ratio: Floats
    standings: Floats

    @classmethod
    def of(cls, column: Floats, jobs: Floats, priors: Floats, chances: Floats) -> "Chosen":
        """From the chance of the complaint in each world."""
        given_root = chances @ column
        chance = priors @ given_root
        has = jobs > 0
        ratio = np.divide(jobs, chance, out=np.zeros_like(chance), where=has)
        log_chance = float(jobs[has] @ np.log(chance[has]))
        return cls(log_chance, given_root, ratio, chances * (column @ (ratio @ priors)))


def told_of(history: History) -> Told:
    """How the sets of a history were brought in."""
    program, layout = history.program, history.layout
    free_given = [group.given_of(layout.free) for group in program.groups]
    node_rows, blank = history.node_rows(history.frame.own), history.frame.blank(history.frame.own)
    numbers: dict[tuple[int, tuple[tuple[str, str], ...]], int] = {}
    columns: list[Floats] = []
    jobs: list[Floats] = []
    kind_of = []
    for act, group, n_jobs in zip(program.told.tolist(), program.group_of.tolist(), program.jobs, strict=True):
        kind = act, free_given[group]
        if act >= 0 and kind not in numbers:
            numbers[kind] = len(columns)
            made = program.acts[act]
            seen = program.seen[made.sight]
            column = seen.columns(node_rows, blank)[made.place][seen.sight.row_of]
            columns.append(column * layout.fits(dict(kind[1]))[:, None])
            jobs.append(np.zeros(len(history.givens)))
        kind_of.append(numbers.get(kind, -1))
        if act >= 0:
            jobs[numbers[kind]][history.given_of[group]] += n_jobs
    by_given = np.array(jobs).reshape(len(columns), len(history.givens))
    return Told(layout, tuple(columns), by_given, np.array(kind_of, dtype=np.intp))


def confirmed_column(history: History, point: Point, states: Mapping[str, str]) -> Floats:
    """P(these findings | root state) at some numbers, free sides summed out: ``(n_roots,)``."""
    layout, node_rows = history.layout, history.node_rows(point)
    column: Floats = np.ones((layout.n_standings, layout.n_roots))
    for node, state in states.items():
        number = layout.number_of[node]
        seen = node_rows[number][:, layout.engine.network[node].states.index(state)]
        column = column * seen[layout.row_of[number]]
    conditions = history.frame.conditions(point)
    by_root: Floats = layout.standing_chances({name: conditions[name] for name in layout.free}) @ column
    return by_root
