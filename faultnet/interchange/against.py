"""A second opinion: our posteriors against those of pgmpy's variable elimination, over random cases of evidence.

What pgmpy makes easy to get wrong is kept out of the way: evidence stays in an inference object, so each question gets
a fresh one; one variable is asked at a time; evidence is given by name; and no variable gets two soft findings, of
which the second would replace the first.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from faultnet.cpt import Floats
from faultnet.engine.evidence import Likelihood, finding
from faultnet.interchange.pgmpy_network import load_pgmpy, to_pgmpy
from faultnet.model.compiled import Compiled
from faultnet.network import Network

CLOSE_ENOUGH = 1e-8
MOST_FINDINGS = 6
MOST_ASKED = 12
"""Nodes asked about in a case, drawn anew for each."""


@dataclass(frozen=True)
class Evidence:
    """What one case knows: findings by node, and for some nodes the likelihood of each state."""

    findings: dict[str, str]
    soft: dict[str, tuple[float, ...]]


@dataclass(frozen=True)
class Difference:
    """Where the two differ most in one posterior."""

    evidence: Evidence
    node: str
    state: str
    ours: float
    theirs: float

    @property
    def size(self) -> float:
        return abs(self.ours - self.theirs)


@dataclass(frozen=True)
class SecondOpinion:
    """How far two engines are apart: the greatest absolute difference of any probability."""

    cases: int
    posteriors: int
    seed: int
    worst: Difference

    @property
    def agrees(self) -> bool:
        return self.worst.size < CLOSE_ENOUGH


def compare_with_pgmpy(compiled: Compiled, n_cases: int, seed: int) -> SecondOpinion:
    """Compare the posteriors of nodes nobody looked at, in random cases. ValueError for fewer than one case."""
    if n_cases < 1:
        raise ValueError("at least one case is needed")
    network, rng = compiled.network, np.random.default_rng(seed)
    theirs = to_pgmpy(network)
    differences: list[Difference] = []
    for _ in range(n_cases):
        evidence = draw_evidence(network, rng)
        belief = compiled.engine.belief(likelihoods(network, evidence))
        left = [node.id for node in network if node.id not in evidence.findings and node.id not in evidence.soft]
        for asked in rng.permutation(left)[:MOST_ASKED].tolist():
            answer = ask_pgmpy(theirs, network, evidence, asked)
            differences.append(_difference(network, evidence, asked, belief.marginal(asked), answer))
    return SecondOpinion(n_cases, len(differences), seed, max(differences, key=lambda d: d.size))


def draw_evidence(network: Network, rng: np.random.Generator) -> Evidence:
    """Findings about some nodes from one joint state drawn from the network, so that they are possible together.

    In every other case also a soft finding about a further node, where one is left besides a node to ask about.
    """
    state: dict[str, int] = {}
    for node in network:
        row = node.cpt.rows[node.cpt.row_of[tuple(state[parent] for parent in node.parents)]]
        state[node.id] = int(rng.choice(len(row), p=row / row.sum()))
    order = rng.permutation([node.id for node in network]).tolist()
    n_hard = int(rng.integers(0, min(MOST_FINDINGS, len(order) - 1) + 1))
    hard = {node: network[node].states[state[node]] for node in order[:n_hard]}
    left = order[n_hard:]
    if len(left) < 2 or rng.random() < 0.5:
        return Evidence(hard, {})
    likelihood = rng.uniform(0.05, 1.0, len(network[left[0]].states))
    return Evidence(hard, {left[0]: tuple(likelihood.tolist())})


def likelihoods(network: Network, evidence: Evidence) -> list[Likelihood]:
    """The evidence for our engines."""
    hard = [finding(network, node, state) for node, state in evidence.findings.items()]
    return [*hard, *(Likelihood((node,), np.array(values)) for node, values in evidence.soft.items())]


def ask_pgmpy(theirs: Any, network: Network, evidence: Evidence, asked: str) -> Floats:
    """P(state of the node | evidence) by variable elimination, from an inference object of its own: ``(n_states,)``."""
    pgmpy = load_pgmpy()
    cpd = pgmpy.factors.discrete.TabularCPD
    virtual = [
        cpd(node, len(values), [[v] for v in values], state_names={node: list(network[node].states)})
        for node, values in evidence.soft.items()
    ]
    inference = pgmpy.inference.VariableElimination(theirs)
    answer = inference.query([asked], dict(evidence.findings), virtual or None, show_progress=False)
    order = [answer.state_names[asked].index(state) for state in network[asked].states]
    chances: Floats = np.asarray(answer.values, dtype=float)[order]
    return chances


def _difference(network: Network, evidence: Evidence, node: str, ours: Floats, theirs: Floats) -> Difference:
    """Where two distributions differ most; a probability that is no number differs by infinity."""
    apart = np.where(np.isfinite(theirs), np.abs(ours - theirs), np.inf)
    most = int(np.argmax(apart))
    value = float(theirs[most]) if np.isfinite(theirs[most]) else float("inf")
    return Difference(evidence, node, network[node].states[most], float(ours[most]), value)
