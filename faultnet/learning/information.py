"""How much the jobs say of each number: the information in them, and the strength that a number has with it.

The scores of single jobs (how the log likelihood of each grows with the numbers) are multiplied with themselves and
summed, which estimates the observed information (Berndt, Hall, Hall & Hausman 1974); what is hidden in a job counts for
less there, as it should (Louis 1982). With the prior it gives the covariance of all numbers together, on the scale on
which their prior's mode is its mean (MacKay 1998). A number's strength is then that of the Dirichlet which spreads as
far: without jobs its own, with jobs that say all, its own and their number.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.sparse as sparse

from faultnet.cpt import Floats, Ints
from faultnet.learning.cause_scores import CauseScores
from faultnet.learning.expect import History
from faultnet.learning.hidden import RootPrior
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Point
from faultnet.learning.spread import Spreader

MOST_PATTERNS = 20_000
"""Of more patterns a sample stands for all."""

_AT_ONCE = 500
_RIDGE = 1e-9


@dataclass(frozen=True, eq=False)
class Information:
    """What jobs and prior say of all numbers together at their best.

    covariance: of the logarithms of chances, laid out as the frame's, then of those of the odds:
    ``(n_chances + n_modes,)`` squared.
    """

    aim: Aim
    point: Point
    covariance: Floats

    @cached_property
    def strengths(self) -> Floats:
        """The strength of every block of the frame, in jobs: ``(n_blocks,)``."""
        frame, chances = self.aim.frame, self.point.chances
        found = []
        for block in frame.blocks:
            place = frame.place[block.id]
            found.append(_strength(chances[place], self.covariance[place, place], block.strength_jobs))
        return np.array(found)

    def of_shares(self) -> tuple[float, float]:
        """The strengths of the shares and of the chance of a second fault, in jobs."""
        causes, n = self.aim.causes, len(self.point.chances)
        shares, second, by_odds, by_second = causes.slopes(self.point)
        own = self.covariance[n:, n:]
        spread = np.diag(by_odds.T @ own @ by_odds)
        of_second = np.array([by_second @ own @ by_second])
        return (
            _ratio(shares * (1 - shares), spread, causes.stated.shares_jobs),
            _ratio(np.array([second * (1 - second)]), of_second, causes.stated.second_jobs),
        )


def _strength(chances: Floats, covariance: Floats, stated: float) -> float:
    """The strength of a Dirichlet that spreads as far: covariance is of the logarithms, up to a common constant."""
    slope = np.diag(chances) - np.outer(chances, chances)
    return _ratio(chances * (1 - chances), np.diag(slope @ covariance @ slope), stated)


def _ratio(binomial: Floats, spread: Floats, stated: float) -> float:
    total = float(spread.sum())
    return float(binomial.sum()) / total if total > 0 else stated


def information(aim: Aim, point: Point, seed: int = 0) -> Information:
    """What jobs and prior say of all numbers together at a point."""
    n_chances, n_modes = len(point.chances), len(point.odds)
    total = np.zeros((n_chances + n_modes,) * 2)
    _add_prior(aim, point, total)
    for scores, jobs in scores_of(aim, point, seed):
        total += (scores * jobs[:, None]).T @ scores
    total[np.diag_indices_from(total)] += _RIDGE
    for block in aim.frame.blocks:  # a common constant of a block's logarithms says nothing
        place = aim.frame.place[block.id]
        total[place, place] += 1.0
    return Information(aim, point, np.linalg.inv(total).astype(float))


def _add_prior(aim: Aim, point: Point, total: Floats) -> None:
    """The information of the prior, and of counts that needed no inference."""
    frame = aim.frame
    counted = frame.totals(aim.apart)
    for number, block in enumerate(frame.blocks):
        place = frame.place[block.id]
        own = point.chances[place]
        total[place, place] += (block.strength_jobs + counted[number]) * (np.diag(own) - np.outer(own, own))
    if isinstance(aim.history.hidden, RootPrior):
        n = len(point.chances)
        total[n:, n:] += aim.causes.prior_information(point)


def scores_of(aim: Aim, point: Point, seed: int = 0) -> Iterator[tuple[Floats, Floats]]:
    """Scores of patterns, ``(n_some, n_chances + n_modes)``, and how many jobs each stands for, some at a time."""
    history = aim.history
    chosen, times = _sample(history, seed)
    spreader = Spreader(history, point)
    by_column = _column_scores(aim, point, spreader)
    causes = CauseScores(aim, point, spreader.values) if isinstance(history.hidden, RootPrior) else None
    for first in range(0, len(chosen), _AT_ONCE):
        part = chosen[first : first + _AT_ONCE]
        entries, shares = spreader.of(part)
        scores = np.zeros((len(part), len(point.chances) + len(point.odds)))
        scores[:, : len(point.chances)] = (entries @ by_column).toarray()
        if causes is not None:
            causes.add(part, shares, scores)
        yield scores, times * history.program.jobs[part]


def _sample(history: History, seed: int) -> tuple[Ints, float]:
    n = history.program.n_patterns
    if n <= MOST_PATTERNS:
        return np.arange(n), 1.0
    rng = np.random.default_rng(seed)
    return np.sort(rng.choice(n, MOST_PATTERNS, replace=False)), n / MOST_PATTERNS


def _column_scores(aim: Aim, point: Point, spreader: Spreader) -> sparse.csr_matrix:
    """How the logarithm of every entry of the columns grows with those of the chances: ``(n_columns, n_chances)``."""
    history, frame = aim.history, aim.frame
    rows: list[Ints] = []
    places: list[Ints] = []
    grows: list[Floats] = []

    def add(row: Ints, place: Ints, by: Floats) -> None:
        rows.append(row.reshape(-1))
        places.append(place.reshape(-1))
        grows.append(by.reshape(-1))

    for seen, columns, start in zip(history.program.seen, spreader.values.seen, history.sight_start, strict=False):
        at = start + np.arange(columns.size).reshape(columns.shape)
        for node, row_of, share, states in seen.posteriors(columns, spreader.values.node_rows, spreader.values.blank):
            leaf = history.layout.nodes[node]
            if leaf not in aim.plain_leaves:
                continue
            first, own = frame.rows_place(leaf).start, spreader.values.node_rows[node]
            width = own.shape[1]
            place = first + row_of[None, :, None] * width + np.arange(width)
            by = share[..., None] * (states - own[row_of][None])
            add(np.broadcast_to(at[..., None], by.shape), np.broadcast_to(place, by.shape), by)
    for number, act in enumerate(history.program.acts):
        if act.repair:
            size = history.layout.engine.axes.target_sizes[act.component]
            start = int(history.column_start[number])
            for before, after in np.ndindex(size, size):
                kind, first = ("success", after == 0) if before else ("arrives_faulty", after > 0)
                if before and after not in (0, before):
                    continue
                place = frame.place[f"{kind}.{act.repair}"]
                by = np.array([first, not first]) - point.chances[place]
                add(np.full(2, start + before * size + after), np.arange(place.start, place.stop), by)
    n = len(point.chances)
    if not rows:
        return sparse.csr_matrix((spreader.n_columns, n))
    flat = np.concatenate(grows), (np.concatenate(rows), np.concatenate(places))
    return sparse.csr_matrix(flat, (spreader.n_columns, n))
