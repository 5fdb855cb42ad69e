"""The numbers that are learned, as two arrays: odds of the failure modes, and all other chances one after the other."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from faultnet.case.normal import normal_states
from faultnet.cpt import Floats, Ints
from faultnet.model import Model
from faultnet.model.chances import SECOND_FAULT, SHARES, Chances, chances_of

LEAST = 1e-300

WRITTEN = ("written", "blank")
"""Whether a result is written down; that of a test nobody made is not."""

WHATS = NORMAL, OTHER = "normal", "other"
"""What a result is: as of a set that works, or another."""

_WRITTEN, _WRITTEN_JOBS = (0.7, 0.3), 10.0


@dataclass(frozen=True, eq=False)
class Point:
    """Values of all numbers. odds: ``(n_modes,)``; chances: ``(n_chances,)``, laid out as the frame says."""

    odds: Floats
    chances: Floats


@dataclass(frozen=True, eq=False)
class Frame:
    """Where each of a model's numbers stands. blocks: all but the shares and the chance of a second fault, which the
    odds stand for; last, of the leaves in `usual`, how often normal results are written down, and others."""

    model: Model
    blocks: tuple[Chances, ...]
    usual: tuple[str, ...] = ()

    @cached_property
    def starts(self) -> Ints:
        """Where each block begins: ``(n_blocks,)``."""
        return np.cumsum([0, *(len(block.means) for block in self.blocks[:-1])]).astype(np.intp)

    @cached_property
    def place(self) -> Mapping[str, slice]:
        """Where the chances of a block stand."""
        starts = self.starts.tolist()
        return {b.id: slice(s, s + len(b.means)) for b, s in zip(self.blocks, starts, strict=True)}

    @cached_property
    def block_of(self) -> Ints:
        """The number of the block of each chance: ``(n_chances,)``."""
        return np.repeat(np.arange(len(self.blocks)), [len(block.means) for block in self.blocks])

    @cached_property
    def own(self) -> Point:
        """The model's own numbers."""
        odds = () if self.model.is_imported else tuple(self.model.compiled.odds[mode] for mode in self.model.modes)
        return Point(np.array(odds, dtype=float), np.array([c for block in self.blocks for c in block.means]))

    @cached_property
    def added(self) -> Floats:
        """Strength times chance: the counts that each number starts with, ``(n_chances,)``."""
        return np.array([c * block.strength_jobs for block in self.blocks for c in block.means])

    def totals(self, values: Floats) -> Floats:
        """The sum of each block: ``(n_blocks,)``."""
        sums: Floats = np.add.reduceat(values, self.starts)
        return sums

    def scaled(self, values: Floats) -> Floats:
        """Every block scaled to sum to 1."""
        result: Floats = values / self.totals(values)[self.block_of]
        return result

    def conditions(self, point: Point) -> dict[str, Floats]:
        """Shares of the states of every condition."""
        return {name: point.chances[self.place[f"condition.{name}"]] for name in self.model.conditions}

    def links(self, point: Point) -> Floats:
        """The chance of every collateral link: ``(n_links,)``."""
        places = [self.place[f"collateral.{link.cause}.{link.effect}"].start for link in self.model.collateral]
        chances: Floats = point.chances[places] if places else np.empty(0)
        return chances

    def rows(self, point: Point, observation: str) -> Floats:
        """The written rows of an observation: ``(n_rows, n_states)``."""
        where = self.rows_place(observation)
        rows: Floats = point.chances[where].reshape(-1, len(self.model.visible[observation].states))
        return rows

    def rows_place(self, observation: str) -> slice:
        """Where all written rows of an observation stand."""
        tables = self.model.tables
        n_rows = len(self.model.observations[observation].written) if tables is None else len(tables[observation])
        first, last = (self.place[f"row.{observation}.{number}"] for number in (0, n_rows - 1))
        return slice(first.start, last.stop)

    def blank(self, point: Point) -> dict[str, Floats]:
        """P(nothing written | state) of the usual leaves: ``(n_states,)`` each."""
        found = {}
        for leaf in self.usual:
            normal, other = (1 - self.chance(point, written_id(leaf, what)) for what in (NORMAL, OTHER))
            found[leaf] = np.where(self.is_normal(leaf), normal, other)
        return found

    def is_normal(self, leaf: str) -> npt.NDArray[np.bool_]:
        """Whether each state of a leaf is what a set that works shows: ``(n_states,)``."""
        states = self.model.observations[leaf].states
        is_normal: npt.NDArray[np.bool_] = np.arange(len(states)) == states.index(self._normal[leaf])
        return is_normal

    @cached_property
    def _normal(self) -> Mapping[str, str]:
        return normal_states(self.model)

    def of(self, point: Point) -> Point:
        """The point of another frame of the same model, which may have more usual leaves."""
        return Point(point.odds, point.chances[: len(self.own.chances)])

    def with_written_of(self, point: Point) -> Point:
        """The model's own numbers, but results are written down as often as at this point."""
        n = len(self.own.chances) - len(self.usual) * len(WHATS) * len(WRITTEN)
        return Point(self.own.odds, np.concatenate([self.own.chances[:n], point.chances[n:]]))

    def chance(self, point: Point, id_: str) -> float:
        """The first chance of a block: that a repair succeeds, that a link follows."""
        return float(point.chances[self.place[id_].start])


def frame_of(model: Model, usual: Sequence[str] = ()) -> Frame:
    """The frame of a model. usual: leaves of which is learned how often they are written down."""
    own = [each for each in chances_of(model) if each.id not in (SHARES, SECOND_FAULT)]
    written = [Chances(written_id(leaf, what), WRITTEN, _WRITTEN, _WRITTEN_JOBS) for leaf in usual for what in WHATS]
    return Frame(model, (*own, *written), tuple(usual))


def written_id(leaf: str, what: str) -> str:
    """The id of how often a result is written down."""
    return f"written.{leaf}.{what}"


def logarithms(point: Point) -> Floats:
    """All values on the scale on which they are extrapolated and compared: ``(n_modes + n_chances,)``."""
    values: Floats = np.log(np.maximum(np.concatenate([point.odds, point.chances]), LEAST))
    return values


def from_logarithms(frame: Frame, values: Floats, like: Point) -> Point:
    """The point of such values; chances that are 0 stay 0."""
    n_modes = len(like.odds)
    chances = np.where(like.chances > 0, np.exp(np.clip(values[n_modes:], -600, 600)), 0.0)
    return Point(np.exp(np.clip(values[:n_modes], -600, 600)), frame.scaled(chances))


def joined(rows: Sequence[Floats]) -> Floats:
    """Arrays one after the other, flat."""
    return np.concatenate([each.reshape(-1) for each in rows]) if rows else np.empty(0)
