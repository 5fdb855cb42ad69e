"""Both engines against brute force, on awkward networks and awkward evidence, and the laws every engine obeys."""

from functools import cache
from itertools import pairwise
from math import inf, log, log2

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from nets import (
    EVIDENCE,
    NETS,
    Draw,
    coupled_sides,
    draw_grouping,
    flat,
    hidden_between,
    independent_sides,
    leaves_of,
    likelihoods_only,
    make_node,
    permuted,
    random_net,
    rules,
    seen_state,
    size,
)
from oracle import Oracle

from faultnet.cpt import Floats, Table
from faultnet.engine.evidence import Change, Likelihood, Step
from faultnet.engine.information import entropy_bits
from faultnet.engine.joint import Belief, JointEngine, compile_joint
from faultnet.engine.junction import JunctionBelief, JunctionEngine, compile_junction
from faultnet.errors import ContradictoryEvidence
from faultnet.network import Network

every_net = pytest.mark.parametrize("net", NETS)
every_engine = pytest.mark.parametrize("kind", ["table", "tree"])
every_evidence = pytest.mark.parametrize("evidence", EVIDENCE)


def assert_close(expected: Floats, actual: Floats, asked: str = "") -> None:
    np.testing.assert_allclose(actual, expected, rtol=0, atol=1e-10, err_msg=asked)


@cache
def engine_for(net: str) -> JointEngine:
    """One engine for all tests of a net, so that a wrong cached table would show."""
    return compile_joint(*NETS[net]())


@cache
def tree_for(net: str) -> JunctionEngine:
    """The junction tree of a net, one for all tests as well."""
    return compile_junction(*NETS[net]())


def steps_for(net: str, evidence: str, seed: int = 0) -> list[Step]:
    network, targets = NETS[net]()
    rng = np.random.default_rng([list(NETS).index(net), list(EVIDENCE).index(evidence), seed])
    return EVIDENCE[evidence](rng, network, targets)


def possible_steps(net: str, evidence: str) -> list[Step]:
    """Steps of this kind that the net does not hold impossible."""
    for seed in range(20):
        steps = steps_for(net, evidence, seed)
        if Oracle(*NETS[net](), steps).log_evidence > -inf:
            return steps
    raise AssertionError(f"no possible evidence of kind {evidence} for {net}")


def check_posteriors(belief: Belief | JunctionBelief, oracle: Oracle, rng: np.random.Generator) -> None:
    assert pytest.approx(oracle.log_evidence, abs=1e-10) == belief.log_evidence
    nodes = [node.id for node in oracle.network]
    for node in nodes:
        assert_close(oracle.joint([node]), belief.marginal(node), node)
    assert_close(oracle.joint(oracle.targets).reshape(-1), belief.targets)
    for _ in range(3):
        some = [str(node) for node in rng.permutation(nodes)[:3]]
        assert_close(oracle.joint(some), belief.joint(some), str(some))


def check_gains(belief: Belief | JunctionBelief, oracle: Oracle, rng: np.random.Generator) -> None:
    leaves = leaves_of(oracle.network, oracle.targets)
    for asked in [(leaf,) for leaf in leaves] + list(pairwise(leaves)):
        assert pytest.approx(oracle.gain_bits(asked), abs=1e-10) == belief.gain_bits(asked), asked
        about = draw_grouping(rng, oracle.network, oracle.hidden)
        assert pytest.approx(oracle.gain_bits(asked, about), abs=1e-10) == belief.gain_bits(asked, about), (
            asked,
            about,
        )


# -- brute force ---------------------------------------------------------------------------------------------------


@every_engine
@every_evidence
@every_net
def test_posteriors_joints_and_log_evidence_match_brute_force(net: str, evidence: str, kind: str) -> None:
    steps = possible_steps(net, evidence)
    oracle = Oracle(*NETS[net](), steps)
    engine = engine_for(net) if kind == "table" else tree_for(net)
    check_posteriors(engine.belief(steps), oracle, np.random.default_rng(1))


@every_engine
@every_evidence
@every_net
def test_gains_about_all_targets_and_about_groups_match_brute_force(net: str, evidence: str, kind: str) -> None:
    steps = possible_steps(net, evidence)
    oracle = Oracle(*NETS[net](), steps)
    engine = engine_for(net) if kind == "table" else tree_for(net)
    check_gains(engine.belief(steps), oracle, np.random.default_rng(2))


@every_engine
@every_evidence
@every_net
def test_gains_of_looking_at_hidden_nodes_match_brute_force(net: str, evidence: str, kind: str) -> None:
    """In an imported network a test may show a node that others hang on, after evidence about any of them."""
    network, targets = NETS[net]()
    steps = possible_steps(net, evidence)
    oracle = Oracle(network, targets, steps)
    belief = (engine_for(net) if kind == "table" else tree_for(net)).belief(steps)
    shown = [node for node in oracle.hidden if node not in targets]
    rng = np.random.default_rng(3)
    for asked in [(node,) for node in shown] + list(pairwise([*shown, *leaves_of(network, targets)])):
        assert pytest.approx(oracle.gain_bits(asked), abs=1e-10) == belief.gain_bits(asked), asked
        about = draw_grouping(rng, network, [node for node in oracle.hidden if node not in asked] or oracle.hidden)
        assert pytest.approx(oracle.gain_bits(asked, about), abs=1e-10) == belief.gain_bits(asked, about), asked
        assert_close(oracle.joint([*asked, *targets]).reshape(-1), belief.outcomes(asked).reshape(-1), str(asked))


@every_engine
@settings(max_examples=400)
@given(seed=st.integers(0, 2**32 - 1), evidence=st.sampled_from(sorted(EVIDENCE)))
def test_random_networks_match_brute_force(kind: str, seed: int, evidence: str) -> None:
    network, targets = random_net(seed)
    rng = np.random.default_rng(seed)
    steps = EVIDENCE[evidence](rng, network, targets)
    engine = compile_joint(network, targets) if kind == "table" else compile_junction(network, targets)
    oracle = Oracle(network, targets, steps)
    if oracle.log_evidence == -inf:
        with pytest.raises(ContradictoryEvidence):
            engine.belief(steps)
        return
    belief = engine.belief(steps)
    check_posteriors(belief, oracle, rng)
    check_gains(belief, oracle, rng)


@every_engine
@settings(max_examples=60)
@given(seed=st.integers(0, 2**32 - 1), kinds=st.lists(st.sampled_from(sorted(EVIDENCE)), min_size=2, max_size=3))
def test_mixed_evidence_on_the_net_with_every_kind_of_side_matches_brute_force(
    kind: str, seed: int, kinds: list[str]
) -> None:
    engine = engine_for("coupled_sides") if kind == "table" else tree_for("coupled_sides")
    network, targets = coupled_sides()
    rng = np.random.default_rng(seed)
    # The first steps of each kind only: every change multiplies the worlds to add up.
    steps = [step for name in kinds for step in EVIDENCE[name](rng, network, targets)[:4]]
    oracle = Oracle(network, targets, steps)
    if oracle.log_evidence == -inf:
        with pytest.raises(ContradictoryEvidence):
            engine.belief(steps)
        return
    belief = engine.belief(steps)
    check_posteriors(belief, oracle, rng)
    check_gains(belief, oracle, rng)


# -- what is asked about -------------------------------------------------------------------------------------------


def test_without_targets_every_random_node_with_children_is_one() -> None:
    assert {"a", "b", "c"} == set(compile_joint(rules()[0]).axes.targets)
    assert {"a", "b", "between"} == set(compile_joint(hidden_between()[0]).axes.targets)


def test_the_choice_of_targets_does_not_move_a_marginal() -> None:
    network, _ = independent_sides()
    steps = steps_for("independent_sides", "soft")
    wide, narrow = compile_joint(network).belief(steps), compile_joint(network, ("a",)).belief(steps)
    assert pytest.approx(wide.log_evidence, abs=1e-12) == narrow.log_evidence
    for node in network:
        assert_close(wide.marginal(node.id), narrow.marginal(node.id))


def test_a_belief_is_not_changed_by_what_is_derived_from_it() -> None:
    network, targets = coupled_sides()
    belief = compile_joint(network, targets).belief(steps_for("coupled_sides", "soft"))
    before = belief.weight.copy()
    for step in steps_for("coupled_sides", "changed"):
        belief.observe(step) if isinstance(step, Likelihood) else belief.change(step)
    belief.gain_bits(("one", "two"))
    np.testing.assert_array_equal(before, belief.weight)


def test_a_change_may_lead_to_a_state_that_was_impossible_before() -> None:
    """Also where a side with one state hangs below the changed target: its chance there is 1, not 0/0."""
    draw = Draw(12)
    draw.add(make_node("a", (), Table.full([1.0, 0.0])))
    draw.table("side", 1, "a")
    draw.table("reading", 2, "side", "a")
    network = draw.network()
    wear = Change("a", np.array([[0.4, 0.6], [0.0, 1.0]]))
    steps: list[Step] = [wear, seen_state(network, "reading", 1), wear]
    oracle = Oracle(network, ("a",), steps)
    check_posteriors(compile_joint(network, ("a",)).belief(steps), oracle, np.random.default_rng(3))


# -- refusals ------------------------------------------------------------------------------------------------------


def test_a_finding_of_probability_zero_is_contradictory() -> None:
    network, targets = rules()
    # `some` is 1 as soon as a or b is.
    steps = [seen_state(network, "a", 1), seen_state(network, "some", 0)]
    assert -inf == Oracle(network, targets, steps).log_evidence
    with pytest.raises(ContradictoryEvidence):
        compile_joint(network, targets).belief(steps)


@every_engine
@every_net
def test_evidence_that_no_state_explains_is_contradictory(net: str, kind: str) -> None:
    network, _ = NETS[net]()
    engine = engine_for(net) if kind == "table" else tree_for(net)
    with pytest.raises(ContradictoryEvidence):
        engine.belief([flat(network, network.nodes[-1].id, 0.0)])


def test_a_table_of_joint_states_larger_than_allowed_is_refused() -> None:
    network, targets = independent_sides()
    entries = 2 * 2 * 3 * 2 * 2  # a, b, policy, age, unused
    assert {"policy", "age", "unused"} == set(compile_joint(network, targets, most_entries=entries).axes.sides)
    with pytest.raises(ValueError, match=r"48 joint states .*at most 47"):
        compile_joint(network, targets, most_entries=entries - 1)


def test_a_network_too_large_for_the_default_is_refused_before_anything_is_allocated() -> None:
    draw = Draw(0)
    for number in range(60):
        draw.table(f"n{number}", 2, *([f"n{number - 1}"] if number else []))
    with pytest.raises(ValueError, match="too many for one table"):
        compile_joint(draw.network())


# -- laws ----------------------------------------------------------------------------------------------------------


@every_evidence
@every_net
def test_probabilities_sum_to_one(net: str, evidence: str) -> None:
    belief = engine_for(net).belief(possible_steps(net, evidence))
    assert pytest.approx(1, abs=1e-12) == belief.weight.sum()
    for node in NETS[net]()[0]:
        marginal = belief.marginal(node.id)
        assert pytest.approx(1, abs=1e-12) == marginal.sum()
        assert marginal.min() >= 0


@pytest.mark.parametrize("factor", [1e-200, 0.25, 3e7])
@every_net
def test_scaling_a_likelihood_moves_only_the_log_evidence(net: str, factor: float) -> None:
    steps = likelihoods_only(possible_steps(net, "several_nodes"))
    scaled = [*steps[:-1], Likelihood(steps[-1].nodes, steps[-1].table * factor)]
    plain, moved = engine_for(net).belief(steps), engine_for(net).belief(scaled)
    assert pytest.approx(plain.log_evidence + log(factor), abs=1e-10) == moved.log_evidence
    for node in NETS[net]()[0]:
        assert_close(plain.marginal(node.id), moved.marginal(node.id))


@every_net
def test_a_flat_likelihood_is_no_evidence(net: str) -> None:
    network, _ = NETS[net]()
    plain = engine_for(net).belief(possible_steps(net, "hard"))
    told = plain
    for node in network:
        told = told.observe(flat(network, node.id))
    assert pytest.approx(plain.log_evidence, abs=1e-12) == told.log_evidence
    for node in network:
        assert_close(plain.marginal(node.id), told.marginal(node.id))


@pytest.mark.parametrize("evidence", ["hard", "hard_leaves", "soft", "several_nodes", "repeated"])
@every_net
def test_the_order_of_readings_does_not_matter(net: str, evidence: str) -> None:
    steps = possible_steps(net, evidence)
    forwards, backwards = engine_for(net).belief(steps), engine_for(net).belief(steps[::-1])
    assert pytest.approx(forwards.log_evidence, abs=1e-10) == backwards.log_evidence
    for node in NETS[net]()[0]:
        assert_close(forwards.marginal(node.id), backwards.marginal(node.id))


@pytest.mark.parametrize("evidence", ["hard", "soft", "several_nodes", "repeated"])
@every_net
def test_permuting_states_and_parents_permutes_the_answer(net: str, evidence: str) -> None:
    network, targets = NETS[net]()
    steps = likelihoods_only(possible_steps(net, evidence))
    turned_steps = [Likelihood(seen.nodes, np.flip(seen.table)) for seen in steps]
    plain = engine_for(net).belief(steps)
    turned = compile_joint(permuted(network), targets).belief(turned_steps)
    assert pytest.approx(plain.log_evidence, abs=1e-10) == turned.log_evidence
    for node in network:
        assert_close(plain.marginal(node.id), turned.marginal(node.id)[::-1])
    for leaf in leaves_of(network, targets):
        assert pytest.approx(plain.gain_bits((leaf,)), abs=1e-10) == turned.gain_bits((leaf,))


@every_evidence
@every_net
def test_a_gain_is_between_zero_and_what_can_be_told(net: str, evidence: str) -> None:
    network, targets = NETS[net]()
    belief = engine_for(net).belief(possible_steps(net, evidence))
    leaves = leaves_of(network, targets)
    for leaf in leaves:
        gain = belief.gain_bits((leaf,))
        assert 0 <= gain <= min(belief.entropy_bits, log2(size(network, leaf))) + 1e-12
        # Telling groups apart is part of telling states apart.
        assert belief.gain_bits((leaf,), {targets[0]: range(size(network, targets[0]))}) <= gain + 1e-12
    for one, two in pairwise(leaves):
        assert belief.gain_bits((one, two)) >= max(belief.gain_bits((one,)), belief.gain_bits((two,))) - 1e-12


@every_net
def test_nothing_is_gained_about_targets_that_are_known(net: str) -> None:
    network, targets = NETS[net]()
    belief = engine_for(net).prior
    for target in targets:
        belief = belief.observe(seen_state(network, target, int(belief.marginal(target).argmax())))
    assert pytest.approx(0, abs=1e-12) == belief.entropy_bits
    for leaf in leaves_of(network, targets):
        assert pytest.approx(0, abs=1e-12) == belief.gain_bits((leaf,))


def gain(network: Network, targets: tuple[str, ...], leaf: str, about: str, known: tuple[str, ...] = ()) -> float:
    steps = [seen_state(network, node, 1) for node in known]
    return compile_joint(network, targets).belief(steps).gain_bits((leaf,), {about: range(size(network, about))})


def test_nothing_is_gained_across_a_separation() -> None:
    """d-separation (Pearl 1988): other parts, blocked chains, and colliders that nobody looked at."""
    network, targets = independent_sides()
    assert pytest.approx(0, abs=1e-12) == gain(network, targets, "one", "b")
    assert pytest.approx(0, abs=1e-12) == gain(network, targets, "four", "a")
    # Looking at the collider opens it: `two` hangs on policy and b, `one` on policy and a.
    assert gain(network, targets, "one", "b", known=("two",)) > 1e-6
    assert pytest.approx(0, abs=1e-12) == gain(network, targets, "one", "b", known=("two", "policy"))
    chain, asked = NETS["chain"]()
    assert gain(chain, asked, "d", "a") > 1e-6
    assert pytest.approx(0, abs=1e-12) == gain(chain, asked, "d", "a", known=("c",))


@pytest.mark.parametrize("evidence", ["nothing", "soft", "changed", "half_showing"])
@every_net
def test_the_expected_posterior_is_the_prior_and_the_expected_fall_of_entropy_is_the_gain(
    net: str, evidence: str
) -> None:
    network, targets = NETS[net]()
    belief = engine_for(net).belief(possible_steps(net, evidence))
    for leaf in leaves_of(network, targets):
        expected_posterior, expected_entropy = np.zeros_like(belief.targets), 0.0
        for state, chance in enumerate(belief.marginal(leaf)):
            if chance > 0:
                after = belief.observe(seen_state(network, leaf, state))
                assert pytest.approx(log(chance), abs=1e-10) == after.log_evidence - belief.log_evidence
                expected_posterior += chance * after.targets
                expected_entropy += chance * after.entropy_bits
        assert_close(belief.targets, expected_posterior)
        assert pytest.approx(belief.entropy_bits - expected_entropy, abs=1e-10) == belief.gain_bits((leaf,))


@every_net
def test_a_symptom_that_never_shows_tells_nothing_about_targets_without_sides_in_between(net: str) -> None:
    network, targets = NETS[net]()
    engine = engine_for(net)
    for leaf in leaves_of(network, targets):
        if engine.axes.sides_of(engine.axes.index[leaf]):
            continue  # through a coupled side it may tell something; brute force covers that
        quiet = engine.belief([Likelihood((leaf,), seen_state(network, leaf, 0).table, showing=0.0)])
        assert_close(engine.prior.targets, quiet.targets)


def test_entropy_of_the_targets_is_that_of_their_joint_distribution() -> None:
    network, targets = hidden_between()
    belief = compile_joint(network, targets).belief(steps_for("hidden_between", "soft"))
    assert (
        pytest.approx(
            entropy_bits(Oracle(network, targets, steps_for("hidden_between", "soft")).joint(targets)), abs=1e-10
        )
        == belief.entropy_bits
    )
