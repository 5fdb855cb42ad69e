"""Noisy-OR and noisy-MAX: many causes, each with an effect of its own; what is seen is the strongest of them.

Pearl 1988, section 4.3.2 (noisy-OR); Henrion 1989 (leak); Diez 1993 (noisy-MAX). The table over all causes is written
out only for a few; beyond that the cumulative form is used, in which the causes stand apart (Diez & Galan 2003).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import prod

import numpy as np
import numpy.typing as npt

from faultnet.cpt import ROW_SUM_TOLERANCE, Floats, Ints, chances_by_row

MOST_ROWS_WRITTEN_OUT = 2**16


@dataclass(frozen=True, eq=False)
class NoisyMax:
    """P(node | causes), the node being the strongest of the causes' effects and of a leak.

    effects[i]: ``(n_states of cause i, n_states)``, the effect of that cause alone, without the leak. leak:
    ``(n_states,)``, the effect of all that is not in the network. order: the node's states from weakest to strongest.
    """

    effects: tuple[Floats, ...]
    leak: Floats
    order: tuple[int, ...]

    def __post_init__(self) -> None:
        if sorted(self.order) != list(range(len(self.leak))):
            raise ValueError("order must name every state once")
        for table in (*self.effects, self.leak[None]):
            if table.ndim != 2 or table.shape[1] != len(self.leak):
                raise ValueError("each cause needs a row of effects for each of its states")
            if not np.all(table >= 0) or np.any(np.abs(table.sum(axis=1) - 1) > ROW_SUM_TOLERANCE):
                raise ValueError("effects must be probabilities that sum to 1")

    @property
    def n_states(self) -> int:
        return len(self.leak)

    @property
    def parent_sizes(self) -> tuple[int, ...]:
        return tuple(len(effect) for effect in self.effects)

    @cached_property
    def cumulative(self) -> tuple[Floats, ...]:
        """For each cause P(its effect is at most the k-th weakest | its state): ``(n_states of cause, n_states)``."""
        return tuple(np.cumsum(effect[:, list(self.order)], axis=1) for effect in self.effects)

    @cached_property
    def cumulative_leak(self) -> Floats:
        """P(the leak's effect is at most the k-th weakest): ``(n_states,)``."""
        return np.cumsum(self.leak[list(self.order)])

    def weights(self, likelihood: Floats) -> Floats:
        """How P(seen | causes) is a sum over k of weights[k] x P(all effects at most the k-th weakest), leak included.

        likelihood: ``(n_states,)``. A finding of the weakest state needs k = 0 alone, so its causes stay apart.
        """
        ordered = likelihood[list(self.order)]
        weights: Floats = (ordered - np.append(ordered[1:], 0.0)) * self.cumulative_leak
        return weights

    def expand(self) -> Floats:
        """Every combination written out: ``(*parent_sizes, n_states)``. ValueError for too many."""
        if not self.is_written_out:
            raise ValueError(f"{len(self.effects)} causes have too many combinations to write out")
        at_most: Floats = self.cumulative_leak
        for axis, table in enumerate(self.cumulative):
            shape = [1] * len(self.effects) + [self.n_states]
            shape[axis] = len(table)
            at_most = at_most * table.reshape(shape)
        return self.from_at_most(at_most)

    @property
    def is_written_out(self) -> bool:
        """Whether the causes are so few that `rows` may hold every combination of them."""
        return prod(self.parent_sizes) <= MOST_ROWS_WRITTEN_OUT

    def chances(self, states: Sequence[Ints]) -> Floats:
        """P(node | causes in these states), an array of states for each of any number of causes: ``(n, n_states)``."""
        if self.is_written_out:
            return chances_by_row(self.rows, self.row_of, states)
        return self.from_at_most(self.at_most(states))

    def at_most(self, states: Sequence[Ints]) -> Floats:
        """P(the strongest effect is at most the k-th weakest state | causes in these states): ``(n, n_states)``."""
        total: Floats = self.cumulative_leak[None]
        for table, own in zip(self.cumulative, states, strict=True):
            total = total * table[own]
        return total

    def from_at_most(self, at_most: Floats) -> Floats:
        """P(state) from P(at most the k-th weakest), along the last axis."""
        chances = np.empty_like(at_most)
        chances[..., list(self.order)] = np.diff(at_most, axis=-1, prepend=0.0)
        return chances

    @cached_property
    def rows(self) -> Floats:
        """One row for each combination of causes: ``(n_combinations, n_states)``."""
        return self.expand().reshape(-1, self.n_states)

    @cached_property
    def row_of(self) -> Ints:
        """The number of each combination: ``(*parent_sizes,)``."""
        return np.arange(prod(self.parent_sizes), dtype=np.intp).reshape(self.parent_sizes)


def noisy_or(
    links: Sequence[npt.ArrayLike], leak: float, *, absent: int = 0, elicited_with_leak: bool = False
) -> NoisyMax:
    """The noisy-OR of causes with any states: links[i][s] is P(present | only cause i, in state s).

    leak: P(present | no cause). elicited_with_leak: the links were asked with the rest of the world going on, so they
    contain the leak; each then counts as 1 - (1 - p) / (1 - leak) (Henrion 1989). absent: number of the absent state.
    ValueError when such a link lies below the leak.
    """
    tables = []
    for number, link in enumerate(links):
        present = np.atleast_1d(np.asarray(link, dtype=float))
        if elicited_with_leak:
            active = present > 0
            if np.any(active & (present < leak)):
                raise ValueError(f"link {number} lies below the leak, though it is said to contain it")
            present = np.where(active, 1 - (1 - present) / (1 - leak), 0.0)
        tables.append(_two_states(present, absent))
    return NoisyMax(tuple(tables), _two_states(np.array([leak]), absent)[0], (absent, 1 - absent))


def _two_states(present: Floats, absent: int) -> Floats:
    table = np.empty((len(present), 2))
    table[:, absent], table[:, 1 - absent] = 1 - present, present
    return table


def without_leak(elicited: Floats, leak: Floats, order: Sequence[int], *, lift: bool = False) -> Floats:
    """A cause's own effects from effects elicited with the leak at work: cumulative divided by cumulative (Diez 1993).

    elicited: ``(n_states of cause, n_states)``. ValueError when they lie below the leak; with `lift` they count as the
    leak's there.
    """
    ranked = list(order)
    own = np.cumsum(elicited[:, ranked], axis=1) / np.cumsum(leak[ranked])
    if lift:
        own = np.maximum.accumulate(np.minimum(own, 1.0), axis=1)
    effects = np.diff(own, axis=1, prepend=0.0)
    if np.any(effects < -ROW_SUM_TOLERANCE):
        raise ValueError("these effects lie below the leak, though they are said to contain it")
    result = np.empty_like(effects)
    result[:, ranked] = np.maximum(effects, 0)
    return result
