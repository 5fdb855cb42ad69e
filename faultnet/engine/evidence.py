"""What an engine is told: likelihoods of what was seen, and changes made to the set in between."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from faultnet.cpt import Floats
from faultnet.network import Network


@dataclass(frozen=True, eq=False)
class Likelihood:
    """P(what was seen | states of `nodes`), up to a factor: ``(*sizes of nodes,)``.

    One node and a single 1 is a finding; other numbers make it soft (virtual evidence, Pearl 1988); several nodes carry
    what couples them, such as two readings that share an unknown nominal.

    `showing` is the chance that the symptom showed at the time. While it does not show, leaves behave as if every
    target were in its first state, so the weight left over goes to that row.
    """

    nodes: tuple[str, ...]
    table: Floats
    showing: float = 1.0

    def __post_init__(self) -> None:
        if self.table.ndim != len(self.nodes):
            raise ValueError(f"a likelihood over {self.nodes} needs {len(self.nodes)} axes, not {self.table.ndim}")
        if not np.all(np.isfinite(self.table)) or np.any(self.table < 0):
            raise ValueError(f"the likelihood of {self.nodes} must be finite and not negative")
        if not 0 <= self.showing <= 1:
            raise ValueError("showing is a probability")


@dataclass(frozen=True, eq=False)
class Change:
    """The set was changed: `node` moves from state i to state j with probability ``matrix[i, j]``, all else stays."""

    node: str
    matrix: Floats

    def __post_init__(self) -> None:
        if self.matrix.ndim != 2 or self.matrix.shape[0] != self.matrix.shape[1]:
            raise ValueError(f"the change of {self.node} needs a square matrix, not {self.matrix.shape}")
        if not np.all(self.matrix >= 0) or not np.all(np.abs(self.matrix.sum(axis=1) - 1) <= 1e-9):
            raise ValueError(f"the change of {self.node} needs rows of probabilities that sum to 1")


Step = Likelihood | Change


def finding(network: Network, node: str, state: str) -> Likelihood:
    """The likelihood of seeing exactly this state."""
    states = network[node].states
    return Likelihood((node,), np.eye(len(states))[states.index(state)])


def soft_finding(network: Network, node: str, likelihoods: Mapping[str, float]) -> Likelihood:
    """The likelihood of each named state; a state that is not named gets 0. ValueError for an unknown state."""
    if strangers := set(likelihoods) - set(network[node].states):
        raise ValueError(f"{node} has no state {', '.join(sorted(strangers))}")
    return Likelihood((node,), np.array([float(likelihoods.get(state, 0.0)) for state in network[node].states]))


def findings(network: Network, states: Mapping[str, str]) -> list[Likelihood]:
    """One likelihood for each ``node: state``."""
    return [finding(network, node, state) for node, state in states.items()]


def likelihood_from_beliefs(prior: npt.ArrayLike, believed: Sequence[float]) -> Floats:
    """The likelihood that turns `prior` into `believed` (Jeffrey 1965): believed / prior, scaled to at most 1.

    Not the same as a likelihood of these numbers: "I now believe .8" already contains the prior, "four times as likely
    to see this when it is so" does not (Chan & Darwiche 2005).
    """
    before, after = np.asarray(prior, dtype=float), np.asarray(believed, dtype=float)
    if np.any((before == 0) & (after > 0)):
        raise ValueError("a state that was impossible before cannot be believed now")
    ratio = np.divide(after, before, out=np.zeros_like(after), where=before > 0)
    scaled: Floats = ratio / ratio.max()
    return scaled
