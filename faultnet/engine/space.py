"""Which joint states of some variables are possible, when many of them follow from others by rule."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import prod

import numpy as np

from faultnet.cpt import Ints

MOST_ENUMERATED = 2**18
"""Joint states of the roots behind some variables that are enumerated to find their possible states exactly."""


SPARSE_FROM = 64
"""Where only one entry in so many occurs, sorting is quicker than marking them."""


@dataclass(frozen=True, eq=False)
class Rules:
    """A variable that follows from its parents: state_of ``(*parent sizes,)``."""

    parents: tuple[str, ...]
    state_of: Ints


@dataclass(frozen=True, eq=False)
class Space:
    """Variables with their sizes, and the rules among them."""

    sizes: Mapping[str, int]
    rules: Mapping[str, Rules]
    _counts: dict[frozenset[str], int] = field(default_factory=dict)

    def count(self, variables: Iterable[str]) -> int:
        """How many joint states of the variables are possible (an upper bound where that is too long to find out)."""
        key = frozenset(variables)
        if key not in self._counts:
            free = self.roots(key)
            if prod(self.sizes[v] for v in free) > MOST_ENUMERATED:
                self._counts[key] = prod(self.sizes[v] for v in self._free_within(key))
            elif set(free) == key:
                self._counts[key] = prod(self.sizes[v] for v in key)
            else:
                self._counts[key] = len(np.unique(self._codes(sorted(key), free)))
        return self._counts[key]

    def states(self, variables: tuple[str, ...]) -> Ints:
        """The possible joint states, in ascending order: ``(n_states, n_variables)``.

        Where the roots behind the variables are too many, states that only a variable outside forbids may be left in.
        """
        free = self.roots(frozenset(variables))
        if prod(self.sizes[v] for v in free) > MOST_ENUMERATED:
            free = self._free_within(frozenset(variables))
        sizes = [self.sizes[v] for v in variables]
        codes = np.arange(prod(sizes)) if set(free) == set(variables) else np.unique(self._codes(list(variables), free))
        return np.stack(np.unravel_index(codes, sizes), axis=1).astype(np.intp)

    def entries(self, scope: Sequence[str]) -> int:
        """Entries of a table over the scope, possible or not."""
        return prod(self.sizes[v] for v in scope)

    def roots(self, variables: Iterable[str]) -> list[str]:
        """The variables without a rule that these follow from."""
        found: set[str] = set()
        left = list(variables)
        while left:
            variable = left.pop()
            if variable in self.rules:
                left.extend(self.rules[variable].parents)
            else:
                found.add(variable)
        return sorted(found)

    def _free_within(self, variables: frozenset[str]) -> list[str]:
        """The variables that no rule fixes from others among them."""
        return sorted(v for v in variables if v not in self.rules or not set(self.rules[v].parents) <= variables)

    def _codes(self, variables: list[str], free: list[str]) -> Ints:
        """For every joint state of the free variables the number of the joint state of the others."""
        sizes = [self.sizes[v] for v in free]
        grids = np.unravel_index(np.arange(prod(sizes)), sizes) if free else ()
        known: dict[str, Ints] = dict(zip(free, grids, strict=True))
        codes: Ints = np.zeros(prod(sizes), dtype=np.intp)
        for variable in variables:
            codes = codes * self.sizes[variable] + self.state(variable, known)
        return codes

    def state(self, variable: str, known: dict[str, Ints]) -> Ints:
        """States of a variable where those of the roots behind it are known; what is found on the way is added."""
        if variable not in known:
            rule = self.rules[variable]
            index: Ints = np.zeros((), dtype=np.intp)
            for parent, size in zip(rule.parents, rule.state_of.shape, strict=True):
                index = index * size + self.state(parent, known)
            known[variable] = rule.state_of.reshape(-1)[index]
        return known[variable]


def numbered(entry: Ints, size: int) -> tuple[Ints, Ints]:
    """Which entries of a table of this size occur, in ascending order, and for each given one its number among them."""
    if size > SPARSE_FROM + SPARSE_FROM * len(entry):
        present, number = np.unique(entry, return_inverse=True)
        return present, number.reshape(-1)
    occurs = np.zeros(size, dtype=np.bool_)
    occurs[entry] = True
    return np.flatnonzero(occurs), (np.cumsum(occurs) - 1)[entry]
