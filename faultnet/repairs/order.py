"""Repairs alone, in the order of least expected cost: exact, for many beliefs at once.

What counts of a belief is which components are faulty: a *set of faults*, by bits. After some repairs have failed, the
chance that the set still does not work is one number for each set of repairs, whatever their order, so the best order
is found over sets of repairs (Held & Karp 1962) instead of over orders.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from math import inf

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.engine.products import product

MOST_COMPONENTS = 12
MOST_REPAIRS = 10

STOP = -1
"""The first step where stopping costs least."""


@dataclass(frozen=True)
class Option:
    """A repair in numbers. fixes: components, by bits; success: of mending each of them.

    cost: of doing it on a set put together, with the expected harm; harm: the chance that it ends the job; comeback:
    expected cost of a comeback once it cured.
    """

    fixes: int
    success: float
    cost: float
    harm: float = 0.0
    comeback: float = 0.0


@dataclass(frozen=True, eq=False)
class LeastCosts:
    """What repairs alone cost at least, for each belief ``(n_beliefs,)``.

    first: the step to begin with, an option by number or `STOP`. by_first: the least cost of beginning with each option
    ``(n_beliefs, n_options)``. stopping: of stopping at once.
    """

    least: Floats
    first: Ints
    by_first: Floats
    stopping: Floats

    def with_dearer_firsts(self, more: Floats) -> Floats:
        """The least costs where each first step costs this much more, ``(n_beliefs, n_options)``: ``(n_beliefs,)``."""
        least: Floats = np.minimum((self.by_first + more).min(axis=1, initial=inf), self.stopping)
        return least


def least_costs(
    faults: Floats, options: Sequence[Option], stop: float, first_costs: Floats | None = None
) -> LeastCosts:
    """The least expected costs by repairs alone, each made at most once.

    faults: P(set of faults) of each belief, up to a factor, ``(n_beliefs, 2**n_components)``; costs keep that factor.
    stop: cost of ending with a set that does not work. first_costs: what each option costs as the first step, from how
    the set stands, ``(n_beliefs, n_options)`` or one row for all.
    """
    n_options = len(options)
    if n_options > MOST_REPAIRS or faults.shape[1] > 2**MOST_COMPONENTS:
        raise ValueError(f"at most {MOST_REPAIRS} repairs of {MOST_COMPONENTS} components")
    whole = faults.sum(axis=1)
    dark = whole - product(faults, mended_chances(options, faults.shape[1]).T).T  # a row for each set of repairs made
    costs, survives, comebacks = (
        np.array([(o.cost, 1 - o.harm, o.comeback) for o in options]).reshape(-1, 3, 1).swapaxes(0, 1)
    )
    least = stop * dark
    for made, left, then in _by_number_made(n_options):
        later = (dark[made][:, None] - dark[then]) * comebacks[left] + least[then]
        least[made] = np.minimum(least[made], (dark[made][:, None] * costs[left] + survives[left] * later).min(axis=1))
    first_costs = costs[:, 0] if first_costs is None else first_costs
    alone = 1 << np.arange(n_options)
    by_first = whole * np.atleast_2d(first_costs).T + survives * ((whole - dark[alone]) * comebacks + least[alone])
    stopping, by_first = stop * dark[0], by_first.T
    best = by_first.min(axis=1, initial=inf)
    first = np.where(best < stopping, by_first.argmin(axis=1) if n_options else STOP, STOP)
    return LeastCosts(np.minimum(best, stopping), first, by_first, stopping)


@cache
def _by_number_made(n_options: int) -> tuple[tuple[Ints, Ints, Ints], ...]:
    """Sets of as many repairs made, from all but one down to one: ``(n_sets,)``.

    With each, the repairs left and the sets they lead to, both ``(n_sets, n_left)``.
    """
    levels = []
    for n_made in range(n_options - 1, 0, -1):
        made = [s for s in range(2**n_options) if s.bit_count() == n_made]
        left = np.array([[n for n in range(n_options) if not s >> n & 1] for s in made])
        levels.append((np.array(made), left, np.array(made)[:, None] | 1 << left))
    return tuple(levels)


def after_failure(faults: Floats, option: Option) -> Floats:
    """What is left of P(set of faults) ``(n, 2**n_components)`` where this repair was made in vain."""
    left = faults.copy()
    for component in range((faults.shape[1] - 1).bit_length()):
        if option.fixes >> component & 1:
            ok_or_not = left.reshape(len(left), -1, 2, 1 << component)
            ok_or_not[:, :, 0] += option.success * ok_or_not[:, :, 1]
            ok_or_not[:, :, 1] *= 1 - option.success
    left[:, 0] = 0.0
    return left


def mended_chances(options: Sequence[Option], n_sets: int) -> Floats:
    """P(all of a set of faults are mended | set of repairs made): ``(2**n_options, n_sets of faults)``, read-only."""
    return _mended_chances(tuple(options), n_sets)


@lru_cache(maxsize=16)
def _mended_chances(options: tuple[Option, ...], n_sets: int) -> Floats:
    made, faulty = np.arange(2 ** len(options))[:, None], np.arange(n_sets)[None]
    chances = np.ones((2 ** len(options), n_sets))
    for component in range(max(n_sets - 1, 1).bit_length()):
        not_mended = np.ones((2 ** len(options), 1))
        for number, option in enumerate(options):
            if option.fixes >> component & 1:
                not_mended = np.where(made >> number & 1, not_mended * (1 - option.success), not_mended)
        chances = np.where(faulty >> component & 1, chances * (1 - not_mended), chances)
    chances.setflags(write=False)
    return chances
