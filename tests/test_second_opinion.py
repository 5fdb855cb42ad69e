"""Posteriors of the awkward networks against two independent libraries.

Evidence is handed over as part of the network: each likelihood becomes a two-state node below what it is about, each
reading of a leaf a copy of the leaf. So one route serves hard, soft, repeated and many-node evidence.
"""

import socket
from collections.abc import Sequence
from math import inf, log

import numpy as np
import pytest
from bridges import import_pgmpy, import_pyagrum, to_pgmpy, to_pyagrum
from nets import EVIDENCE, NETS, leaves_of, likelihoods_only, random_net
from oracle import Oracle

from faultnet.cpt import Table
from faultnet.engine.evidence import Likelihood
from faultnet.engine.joint import compile_joint
from faultnet.network import Network, Node

every_net = pytest.mark.parametrize("net", NETS)
some_evidence = pytest.mark.parametrize("evidence", ["nothing", "hard", "soft", "several_nodes", "repeated"])


def with_evidence(network: Network, targets: Sequence[str], steps: Sequence[Likelihood]) -> tuple[Network, float]:
    """The network with a node `seen_i` for each likelihood, true when it was seen, and the logarithm of the scale."""
    leaves = leaves_of(network, targets)
    nodes, log_scale = list(network), 0.0
    for number, step in enumerate(steps):
        names = []
        for place, name in enumerate(step.nodes):
            if name in leaves:
                leaf = network[name]
                nodes.append(Node(f"{name}_{number}_{place}", leaf.states, leaf.parents, leaf.cpt))
            names.append(nodes[-1].id if name in leaves else name)
        p = step.table / step.table.max()
        log_scale += log(step.table.max())
        nodes.append(Node(f"seen_{number}", ("false", "true"), tuple(names), Table.full(np.stack([1 - p, p], axis=-1))))
    return Network.of(nodes), log_scale


def possible_likelihoods(net: str, evidence: str) -> list[Likelihood]:
    network, targets = NETS[net]()
    for seed in range(20):
        steps = likelihoods_only(EVIDENCE[evidence](np.random.default_rng([7, seed]), network, targets))
        if Oracle(network, targets, steps).log_evidence > -inf:
            return steps
    raise AssertionError(f"no possible evidence of kind {evidence} for {net}")


@some_evidence
@every_net
def test_posteriors_agree_with_pgmpy(net: str, evidence: str) -> None:
    network, targets = NETS[net]()
    steps = possible_likelihoods(net, evidence)
    belief = compile_joint(network, targets).belief(steps)
    extended, log_scale = with_evidence(network, targets, steps)
    model = to_pgmpy(extended)
    _, _, elimination = import_pgmpy()
    seen = {f"seen_{number}": "true" for number in range(len(steps))}
    for node in network:
        # A fresh object for each query: evidence given to one stays in it.
        answer = elimination(model).query([node.id], evidence=seen, show_progress=False)
        assert list(node.states) == answer.state_names[node.id]
        np.testing.assert_allclose(belief.marginal(node.id), answer.values, rtol=0, atol=1e-10, err_msg=node.id)
    if seen:
        joint = elimination(model).query(list(seen), show_progress=False).get_value(**seen)
        assert pytest.approx(belief.log_evidence, abs=1e-9) == log(joint) + log_scale


@some_evidence
@every_net
def test_posteriors_agree_with_pyagrum(net: str, evidence: str) -> None:
    check_against_pyagrum(*NETS[net](), possible_likelihoods(net, evidence))


@pytest.mark.parametrize("seed", range(25))
def test_random_networks_agree_with_pyagrum(seed: int) -> None:
    network, targets = random_net(seed)
    steps = likelihoods_only(EVIDENCE["soft"](np.random.default_rng(seed), network, targets))
    check_against_pyagrum(network, targets, steps)


def check_against_pyagrum(network: Network, targets: tuple[str, ...], steps: Sequence[Likelihood]) -> None:
    belief = compile_joint(network, targets).belief(steps)
    extended, log_scale = with_evidence(network, targets, steps)
    inference = import_pyagrum().LazyPropagation(to_pyagrum(extended))
    inference.setEvidence({f"seen_{number}": "true" for number in range(len(steps))})
    inference.makeInference()
    for node in network:
        theirs = inference.posterior(node.id).toarray().reshape(-1)  # a single state comes back with three axes
        np.testing.assert_allclose(belief.marginal(node.id), theirs, rtol=0, atol=1e-10, err_msg=node.id)
    if steps:
        assert pytest.approx(belief.log_evidence, abs=1e-9) == log(inference.evidenceProbability()) + log_scale


def test_no_library_can_reach_outside_during_the_tests() -> None:
    outside = ("192.0.2.1", 80)  # an address reserved for documentation (RFC 5737)
    with socket.socket() as one, pytest.raises(RuntimeError, match=r"192\.0\.2\.1"):
        one.connect(outside)
    with pytest.raises(RuntimeError, match="example"):
        socket.getaddrinfo("example.invalid", 80)
    with socket.socket() as server, socket.socket() as client:
        server.bind(("127.0.0.1", 0))
        server.listen()
        client.connect(server.getsockname())
