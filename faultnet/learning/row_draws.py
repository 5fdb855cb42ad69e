"""How many jobs table rows should count for, by how far the jobs of all rows are from them.

Rows, what happened in each job, and the strength of the rows are drawn in turn (data augmentation, Tanner & Wong 1987);
everything else stays where the climb ended.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Point
from faultnet.learning.pooling import FACTORS, each_job, factor_chances
from faultnet.model.chances import Chances

MOST_JOBS = 3_000
"""Of more jobs a sample says it."""

_SWEEPS, _BURN_IN = 60, 20
_LEAST = 1e-6


def rows_count_for(aim: Aim, point: Point, seed: int = 0) -> float:
    """What to multiply the strengths of table rows with; 1 where no row is learned."""
    drawing = _Drawing(aim, seed)
    if not drawing.blocks:
        return 1.0
    chances, factor, logs = point.chances, 1.0, []
    for sweep in range(_SWEEPS):
        counts = drawing.counts(Point(point.odds, chances))
        posterior = factor_chances(drawing.tables(counts))
        factor = float(drawing.rng.choice(FACTORS, p=posterior))
        chances = drawing.rows(chances, counts, factor)
        if sweep >= _BURN_IN:
            logs.append(float(posterior @ np.log(FACTORS)))
    return float(np.exp(np.mean(logs)))


@dataclass(frozen=True, eq=False)
class _Drawing:
    aim: Aim
    seed: int

    @cached_property
    def rng(self) -> np.random.Generator:
        return np.random.default_rng(self.seed)

    @cached_property
    def blocks(self) -> tuple[Chances, ...]:
        """The rows that are drawn: of tables that are learned."""
        plain = self.aim.plain_leaves
        return tuple(b for b in self.aim.frame.blocks if b.kind == "row" and b.id.split(".")[1] in plain)

    @cached_property
    def _jobs(self) -> Ints:
        """The pattern of every job; a sample where there are too many."""
        return each_job(self.aim.history.program.jobs, MOST_JOBS, self.rng)

    def counts(self, point: Point) -> Floats:
        """What happened in every job, drawn, as counts laid out as the frame's chances."""
        from faultnet.learning.kernels import draw_ways

        history, pattern = self.aim.history, self._jobs
        program, forms, values = history.program, history.forms, history.values(point)
        by_column = np.zeros_like(values.columns)
        about = program.start, program.act_of, program.shape_of, history.column_start
        draw_ways(
            pattern, about, forms.for_patterns, values.masses, values.columns, self.rng.random(len(pattern)), by_column,
            np.empty(forms.most_outlines),
        )  # fmt: skip
        counts = np.zeros(len(point.chances))
        for leaf, rows in history.rows_counted(values, by_column).items():
            if leaf in self.aim.plain_leaves:
                counts[self.aim.frame.rows_place(leaf)] += rows.reshape(-1)
        return counts

    def tables(self, counts: Floats) -> list[tuple[Floats, Floats]]:
        """Counts and stated counts of the rows with jobs behind them, by how many states they have."""
        frame = self.aim.frame
        by_size: dict[int, list[tuple[Floats, Floats]]] = {}
        for block in self.blocks:
            place = frame.place[block.id]
            if counts[place].sum() > 0 and block.strength_jobs > 0:
                by_size.setdefault(len(block.means), []).append((counts[place], frame.added[place]))
        return [(np.stack([c for c, _ in rows]), np.stack([a for _, a in rows])) for rows in by_size.values()]

    def rows(self, chances: Floats, counts: Floats, factor: float) -> Floats:
        """Rows drawn by these counts; chances of everything else stay."""
        changed = chances.copy()
        for block in self.blocks:
            place = self.aim.frame.place[block.id]
            added = factor * self.aim.frame.added[place] + counts[place]
            drawn = self.rng.standard_gamma(np.maximum(added, _LEAST)) * (added > 0)
            drawn = np.maximum(drawn, _LEAST * drawn.sum()) * (added > 0)
            if drawn.sum() > 0:
                changed[place] = drawn / drawn.sum()
        return changed
