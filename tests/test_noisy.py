"""Noisy-OR and noisy-MAX: published tables, the laws of the forms, and both engines on networks of them."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oracle import Oracle

from faultnet.cpt import Floats, Table
from faultnet.engine.evidence import Change, Likelihood, Step, finding
from faultnet.engine.joint import compile_joint
from faultnet.engine.junction import compile_junction
from faultnet.errors import ContradictoryEvidence
from faultnet.network import Network, Node
from faultnet.noisy import NoisyMax, noisy_or, without_leak

# Fever from a cold, flu and malaria: Russell & Norvig, AIMA 3rd ed., section 14.3, inhibitions .6, .2, .1 (value from
# memory, recomputed). Keys: cold, flu, malaria.
FEVER = {
    (0, 0, 0): 0.0,
    (0, 0, 1): 0.9,
    (0, 1, 0): 0.8,
    (0, 1, 1): 0.98,
    (1, 0, 0): 0.4,
    (1, 0, 1): 0.94,
    (1, 1, 0): 0.88,
    (1, 1, 1): 0.988,
}


def test_the_fever_table() -> None:
    fever = noisy_or([[0, 0.4], [0, 0.8], [0, 0.9]], leak=0.0)
    for causes, expected in FEVER.items():
        assert pytest.approx(expected, abs=1e-12) == fever.expand()[(*causes, 1)]


def test_the_leak_works_beside_the_causes_and_an_elicited_one_is_taken_out_again() -> None:
    """P = 1 - (1 - leak) x product of inhibitions, and link 1 - (1 - p) / (1 - leak) (Henrion 1989; Diez 1993)."""
    leak = 0.1
    leaky = noisy_or([[0, 0.4], [0, 0.8], [0, 0.9]], leak).expand()
    for causes, without in FEVER.items():
        assert pytest.approx(1 - (1 - leak) * (1 - without), abs=1e-12) == leaky[(*causes, 1)]
    elicited = [[0, 1 - (1 - leak) * (1 - p)] for p in (0.4, 0.8, 0.9)]
    np.testing.assert_allclose(noisy_or(elicited, leak, elicited_with_leak=True).expand(), leaky, atol=1e-12)
    with pytest.raises(ValueError, match="below the leak"):
        noisy_or([[0, 0.05]], leak, elicited_with_leak=True)


def random_effects(rng: np.random.Generator, n_rows: int, n_states: int) -> Floats:
    effects = rng.dirichlet(np.ones(n_states), n_rows)
    effects[0] = np.eye(n_states)[0]  # a cause that is absent has no effect
    return effects


def test_elicited_with_the_leak_or_without_is_the_same_noisy_max() -> None:
    rng = np.random.default_rng(5)
    leak = np.array([0.7, 0.2, 0.1])
    own = random_effects(rng, 3, 3)
    with_leak = NoisyMax((own,), leak, (0, 1, 2)).expand()
    np.testing.assert_allclose(without_leak(with_leak, leak, (0, 1, 2)), own, atol=1e-12)


@given(seed=st.integers(0, 2**32 - 1), n_states=st.integers(2, 4), n_causes=st.integers(1, 3))
def test_a_noisy_max_is_the_strongest_of_independent_effects(seed: int, n_states: int, n_causes: int) -> None:
    rng = np.random.default_rng(seed)
    order = tuple(int(k) for k in rng.permutation(n_states))
    effects = [rng.dirichlet(np.ones(n_states), rng.integers(1, 4)) for _ in range(n_causes)]
    leak = rng.dirichlet(np.ones(n_states))
    expanded = NoisyMax(tuple(effects), leak, order).expand()
    rank = {state: place for place, state in enumerate(order)}
    for causes in product(*(range(len(effect)) for effect in effects)):
        expected = np.zeros(n_states)
        for shown in product(range(n_states), repeat=n_causes + 1):
            chance = leak[shown[-1]]
            for effect, cause, state in zip(effects, causes, shown, strict=False):
                chance *= effect[cause, state]
            expected[max(shown, key=lambda state: rank[state])] += chance
        np.testing.assert_allclose(expanded[causes], expected, atol=1e-12)


def test_more_causes_never_make_a_noisy_or_less_likely() -> None:
    rng = np.random.default_rng(1)
    table = noisy_or([[0, p] for p in rng.random(4)], 0.03).expand()[..., 1]
    for axis in range(4):
        assert np.all(np.diff(table, axis=axis) >= 0)


def noisy_net(seed: int) -> tuple[Network, tuple[str, ...]]:
    """Causes, a noisy node between that is itself a cause, and noisy leaves over both."""
    rng = np.random.default_rng(seed)
    nodes = []
    sizes: dict[str, int] = {}

    def add(name: str, parents: tuple[str, ...], n_states: int, cpt: NoisyMax | Table) -> None:
        nodes.append(Node(name, tuple(f"s{k}" for k in range(n_states)), parents, cpt))
        sizes[name] = n_states

    def noisy(parents: tuple[str, ...], n_states: int) -> NoisyMax:
        effects = tuple(random_effects(rng, sizes[p], n_states) for p in parents)
        leak = rng.dirichlet(np.ones(n_states))
        order = rng.permutation(n_states) if rng.random() < 0.5 else np.arange(n_states)
        return NoisyMax(effects, leak, tuple(int(k) for k in order))

    for name in ("a", "b", "c"):
        n = int(rng.integers(2, 4))
        add(name, (), n, Table.full(rng.dirichlet(np.ones(n))))
    add("between", ("a", "b"), 3, noisy(("a", "b"), 3))
    for name in ("x", "y", "z"):
        parents = tuple(str(p) for p in rng.permutation(["a", "b", "c", "between"])[: rng.integers(1, 5)])
        n = int(rng.integers(2, 4))
        add(name, parents, n, noisy(parents, n))
    add("below", ("between",), 2, Table.full(rng.dirichlet(np.ones(2), 3)))
    return Network.of(nodes), ("a", "b", "c")


@settings(max_examples=150)
@given(seed=st.integers(0, 2**32 - 1))
def test_both_engines_agree_with_brute_force_on_noisy_networks(seed: int) -> None:
    network, targets = noisy_net(seed)
    rng = np.random.default_rng(seed)
    steps: list[Step] = [finding(network, "x", "s0"), finding(network, "y", "s1")]
    steps.append(Likelihood(("z",), rng.random(len(network["z"].states))))
    if seed % 2:
        steps.insert(2, Change("a", rng.dirichlet(np.ones(len(network["a"].states)), len(network["a"].states))))
    oracle = Oracle(network, targets, steps)
    for compiled in (compile_joint(network, targets), compile_junction(network, targets)):
        belief = compiled.belief(steps)
        assert pytest.approx(oracle.log_evidence, abs=1e-10) == belief.log_evidence
        for node in network:
            np.testing.assert_allclose(belief.marginal(node.id), oracle.joint([node.id]), atol=1e-10)
        assert pytest.approx(oracle.gain_bits(("z",)), abs=1e-10) == belief.gain_bits(("z",))


def test_a_finding_that_no_cause_can_give_is_contradictory() -> None:
    network = Network.of(
        [
            Node("a", ("no", "yes"), (), Table.full([0.5, 0.5])),
            Node("x", ("no", "yes"), ("a",), noisy_or([[0, 0]], 0.0)),
        ]
    )
    for compiled in (compile_joint(network, ("a",)), compile_junction(network, ("a",))):
        with pytest.raises(ContradictoryEvidence):
            compiled.belief([finding(network, "x", "yes")])


def test_twenty_causes_are_never_written_out() -> None:
    names = [f"c{k}" for k in range(20)]
    causes = [Node(name, ("no", "yes"), (), Table.full([0.9, 0.1])) for name in names]
    leaf = Node("x", ("no", "yes"), tuple(names), noisy_or([[0, 0.5]] * 20, 0.01))
    network = Network.of([*causes, leaf])
    belief = compile_junction(network).belief([finding(network, "x", "yes")])
    silent = 0.99 * 0.95**20  # P(no effect at all): each cause is absent or fails to show
    assert pytest.approx(np.log(1 - silent), abs=1e-12) == belief.log_evidence
    one = 0.1 * (1 - 0.99 * 0.5 * 0.95**19) / (1 - silent)
    assert pytest.approx(one, abs=1e-12) == belief.marginal("c7")[1]
    with pytest.raises(ValueError, match="too many combinations"):
        leaf.cpt.expand()
