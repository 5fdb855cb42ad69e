"""How the log likelihood of a job grows with odds, links and conditions, by the outlines it spreads over."""

from collections.abc import Sequence
from functools import cache

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.learning.expect import Values
from faultnet.learning.maximise import Aim
from faultnet.learning.point import Point
from faultnet.learning.spread import outline_roots, outline_standings


class RootScores:
    """Scores of root states and of standings at a point, and what is expected of sets with a complaint.

    Columns: of the odds, then those of links and conditions where the frame has them.
    """

    def __init__(self, aim: Aim, point: Point) -> None:
        self.aim, self.point = aim, point
        self.layout, self.given_of = aim.history.layout, aim.history.given_of
        self.priors = aim.history.hidden.prior(point, aim.history.givens)
        self.names = [*aim.frame.conditions(point)]
        self.blocks = self._blocks()
        self.of_given = cache(self._of_given)
        self.expected = cache(self._expected)

    def _blocks(self) -> list[slice]:
        """Where links and conditions stand among the scores of a root state, after the odds."""
        frame, model = self.aim.frame, self.aim.model
        ids = [f"collateral.{link.cause}.{link.effect}" for link in model.collateral]
        return [frame.place[id_] for id_ in (*ids, *(f"condition.{name}" for name in self.names))]

    @property
    def n_scores(self) -> int:
        """Odds, then all chances of links and conditions."""
        return len(self.point.odds) + sum(int(block.stop - block.start) for block in self.blocks)

    def _of_given(self, given: int) -> Floats:
        """Of every root state with what is given, coupled conditions averaged over: ``(n_roots, n_scores)``.

        Free sides are left at 0: they are known by the standing.
        """
        causes = self.aim.causes
        roots, hidden = causes.hidden.roots, causes.hidden
        by_world = causes.world_scores(self.point)
        weights = hidden.weights(self.point, [self.aim.history.givens[given]])[0][:, None] * hidden.table(self.point)
        n_coupled = self.layout.n_coupled
        split = weights.reshape(n_coupled, -1, self.layout.n_joint)
        total = split.sum(axis=1)
        scores = np.zeros((self.layout.n_roots, self.n_scores))
        n_modes, n_links = len(self.point.odds), len(self.aim.model.collateral)

        def averaged(values: Floats) -> Floats:
            summed_up = np.einsum("crx,crx->cx", split, values.reshape(split.shape))
            mean: Floats = np.divide(summed_up, total, out=np.zeros_like(total), where=total > 0)
            return mean.reshape(-1)

        for mode in range(n_modes):
            scores[:, mode] = averaged(by_world[0][mode])
        at = n_modes
        for link in range(n_links):
            chance = self.aim.frame.links(self.point)[link]
            follows, exposed = averaged(by_world[1][link][0]), averaged(by_world[1][link][1])
            scores[:, at], scores[:, at + 1] = follows - chance * exposed, chance * exposed - follows
            at += 2
        for name, block in zip(self.names, self.blocks[n_links:], strict=True):
            size = block.stop - block.start
            if name in roots.conditions:
                for state in range(size):
                    has = (roots.state_of[name] == state).astype(float)[:, None]
                    scores[:, at + state] = averaged(np.broadcast_to(has, weights.shape))
            at += size
        return scores

    def of_standings(self, group: int) -> Floats:
        """Of every standing in a group, the states of the free sides that it tells of: ``(n_standings, n_scores)``."""
        scores = np.zeros((self.layout.n_standings, self.n_scores))
        at = len(self.point.odds) + 2 * len(self.aim.model.collateral)
        for name, block in zip(self.names, self.blocks[len(self.aim.model.collateral) :], strict=True):
            if name in self.aim.history.told_free[group]:
                scores[np.arange(len(scores)), at + self.layout.state_of[name]] = 1.0
            at += block.stop - block.start
        return scores

    def _expected(self, kind: int, group: int) -> Floats:
        """What is expected of sets brought in like this, with what is given: ``(n_scores,)``."""
        given = int(self.given_of[group])
        prior, told = self.priors[given], self.aim.told.columns[kind]
        every = self.layout.standing_chances(self.aim.sides(self.point))
        by_root = (every @ told) * prior
        total = by_root.sum()
        by_standing = every * (told @ prior) / total
        scores: Floats = by_root @ self.of_given(given) / total + by_standing @ self.of_standings(group)
        return scores


class CauseScores:
    """Scores of patterns, less what is expected of sets with their complaint; columns as of `RootScores`."""

    def __init__(self, aim: Aim, point: Point, values: Values) -> None:
        self.history, self.values = aim.history, values
        self.roots = RootScores(aim, point)
        self.kind_of = aim.told.kind_of
        self._of_shape = cache(self._shape_scores)

    def add(self, patterns: Ints, shares: Sequence[Floats], scores: Floats) -> None:
        """Add the scores of some patterns, each spread over its outlines like this.

        scores: as `information` lays them out, ``(n_patterns, n_chances + n_modes)``.
        """
        program = self.history.program
        n_chances = len(self.roots.point.chances)
        for number, (pattern, share) in enumerate(zip(patterns, shares, strict=True)):
            shape = int(program.shape_of[pattern])
            own = share @ self._of_shape(shape)
            kind = int(self.kind_of[pattern])
            if kind >= 0:
                own = own - self.roots.expected(kind, program.shapes[shape].group)
            at = len(self.roots.point.odds)
            scores[number, n_chances:] += own[:at]
            for block in self.roots.blocks:
                size = block.stop - block.start
                scores[number, block] += own[at : at + size]
                at += size

    def _shape_scores(self, shape: int) -> Floats:
        """Of every outline of a shape: ``(n_outlines, n_scores)``."""
        history, values = self.history, self.values
        group = history.program.shapes[shape].group
        given = int(history.given_of[group])
        by_root = outline_roots(history, values, shape)
        scores: Floats = by_root @ self.roots.of_given(given)
        by_standing = self.roots.of_standings(group)
        if sides := np.flatnonzero(by_standing.any(axis=0)).tolist():
            spread = outline_standings(history, values, shape)
            scores[:, sides] += spread @ by_standing[:, sides]
        return scores
