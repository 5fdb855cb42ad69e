"""Drawing sets from a network: every node after its parents (forward sampling)."""

from collections.abc import Collection, Mapping

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.network import Network

States = Mapping[str, Ints]
"""Of each node the number of its state in every set drawn: ``(n,)``."""

_AT_ONCE = 50_000


def drawn_states(chances: Floats, n: int, rng: np.random.Generator) -> Ints:
    """A state for each of n rows of chances, ``(n, n_states)`` or one row for all: ``(n,)``."""
    ends = np.cumsum(chances, axis=1)
    picked: Ints = (rng.random(n)[:, None] * ends[:, -1:] > ends[:, :-1]).sum(axis=1).astype(np.intp)
    return picked


def forward(network: Network, nodes: Collection[str], n: int, rng: np.random.Generator) -> dict[str, Ints]:
    """States of these nodes in n sets; their ancestors must be among them."""
    states: dict[str, Ints] = {}
    for node in network:
        if node.id in nodes:
            states[node.id] = drawn_states(node.cpt.chances([states[p] for p in node.parents]), n, rng)
    return states


def ancestors(network: Network, nodes: Collection[str]) -> set[str]:
    """These nodes and all that they come from."""
    wanted = set(nodes)
    for node in reversed(network.nodes):
        if node.id in wanted:
            wanted.update(node.parents)
    return wanted


def sets_with(
    network: Network, hidden: Collection[str], seen: tuple[str, str], n: int, rng: np.random.Generator
) -> dict[str, Ints]:
    """Hidden nodes of n sets of which one finding is known: drawn, and kept where it came up (rejection).

    ValueError: it hardly ever comes up.
    """
    node, state = seen
    wanted = network[node].states.index(state)
    nodes = ancestors(network, [*hidden, node])
    kept: list[dict[str, Ints]] = []
    count = 0
    for _ in range(1000):
        states = forward(network, nodes, _AT_ONCE, rng)
        here = states[node] == wanted
        kept.append({name: states[name][here] for name in hidden})
        count += int(here.sum())
        if count >= n:
            return {name: np.concatenate([each[name] for each in kept])[:n] for name in hidden}
    raise ValueError(f"{node}={state} hardly ever comes up in this model")
