"""The memory of the search: bounds of nodes in an open hash table of records, found by two words a node."""

from typing import Any

import numpy as np

from faultnet.plan.compiled import called, inner
from faultnet.plan.tables import Records

NODE = np.dtype([("first_word", "u8"), ("second_word", "u8"), ("lower", "f8"), ("upper", "f8"), ("best", "i8")])
"""A node: its words (the first 0: a free place), bounds in money times chance, the action behind the upper one."""

NOT_KNOWN = -1.0
"""The lower bound of a node that is in memory for its upper bound alone."""

_ONE = np.uint64(1)
_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_FIRST_MIX = np.uint64(0xBF58476D1CE4E5B9)
_SECOND_MIX = np.uint64(0x94D049BB133111EB)


def empty_memory(n_places: int) -> Records:
    """Room for nodes; the number of places is a power of two."""
    return np.zeros(n_places, dtype=NODE)


@inner(inline="always")
def _mixed(x: Any) -> Any:
    """Splitmix64 (Steele, Lea & Flood 2014)."""
    x = x + _GOLDEN
    x = (x ^ (x >> np.uint64(30))) * _FIRST_MIX
    x = (x ^ (x >> np.uint64(27))) * _SECOND_MIX
    return x ^ (x >> np.uint64(31))


@called()
def node_words(a: Any, b: Any, done: Any, bench: Any) -> Any:
    """The words of a node: of the outcomes seen, the repairs that failed and the bench."""
    at = np.uint64(done) * np.uint64(4096) + np.uint64(bench) + _ONE
    first = _mixed(a ^ _mixed(at))
    return (first if first != 0 else _ONE), _mixed(b + _mixed(at ^ _GOLDEN))


@called()
def seen_words(words: Any, row: Any, done: Any, a: Any, b: Any) -> Any:
    """The words after one more outcome, seen when these repairs were done; the order of outcomes does not matter."""
    when = np.uint64(done) * _GOLDEN
    return a ^ _mixed(words[0, row] + when), b ^ _mixed(words[1, row] + when)


@called()
def find(memory: Any, a: Any, b: Any) -> Any:
    """The place of a node in memory, or minus one less than the free place where it would go."""
    mask = len(memory) - 1
    place = np.int64(a & np.uint64(mask))
    while memory[place].first_word != 0:
        if memory[place].first_word == a and memory[place].second_word == b:
            return place
        place = (place + 1) & mask
    return -1 - place


@called()
def copy_nodes(old: Any, new: Any) -> None:
    """Copy every node into a larger memory."""
    for place in range(len(old)):
        if old[place].first_word != 0:
            new[-1 - find(new, old[place].first_word, old[place].second_word)] = old[place]
