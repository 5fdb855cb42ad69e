"""Many cases at once: numba, numpy and one case at a time give the same numbers; trees and plans keep their laws."""

from math import inf

import numpy as np
import pytest
from nets import NETS, random_net

from faultnet import load_model
from faultnet.cpt import Ints
from faultnet.engine.batch import conditional, rooted, run_batch
from faultnet.engine.cliques import clique_tree
from faultnet.engine.evidence import findings
from faultnet.engine.factors import FactorModel, without
from faultnet.engine.interface import compile_engine
from faultnet.engine.joint import JointEngine, compile_joint
from faultnet.engine.junction import JunctionEngine, compile_junction
from faultnet.engine.plan import Plan, make_plan
from faultnet.engine.propagate import Evidence, propagate
from faultnet.errors import ContradictoryEvidence
from faultnet.network import Network

MISSING = 0.6


def cases_of(network: Network, leaves: tuple[str, ...], n_cases: int, seed: int) -> dict[str, Ints]:
    """A state number for every leaf and case, -1 where it was not recorded."""
    rng = np.random.default_rng(seed)
    codes = {leaf: rng.integers(0, len(network[leaf].states), n_cases) for leaf in leaves}
    return {leaf: np.where(rng.random(n_cases) < MISSING, -1, code) for leaf, code in codes.items()}


def evidence_of(network: Network, codes: dict[str, Ints]) -> list[Evidence]:
    """What was seen of leaves, as likelihoods over their parents."""
    seen = []
    for leaf, code in codes.items():
        table = network[leaf].cpt.expand()
        seen.append(Evidence(network[leaf].parents, table.reshape(-1, table.shape[-1]).T.copy(), code))
    return seen


def backlight_plan() -> tuple[Network, FactorModel, Plan, tuple[str, ...]]:
    model = load_model("backlight")
    network = model.compiled.network
    factors = FactorModel(network, tuple(model.components))
    leaves = tuple(model.observations)
    kept = {*factors.targets, *(p for leaf in leaves for p in network[leaf].parents)}
    space, families = without(factors.space, factors.families, kept)
    scopes = [network[leaf].parents for leaf in leaves]
    return network, factors, make_plan(space, families, scopes, 2**20), leaves


def test_backlight_cases_agree_with_the_table_one_by_one() -> None:
    network, factors, plan, leaves = backlight_plan()
    n_cases = 60
    codes = cases_of(network, leaves, n_cases, 1)
    asked = [(component,) for component in factors.targets]
    by_numba = run_batch(plan, evidence_of(network, codes), asked, n_cases)
    by_numpy = run_batch(plan, evidence_of(network, codes), asked, n_cases, use_numba=False)
    engine = compile_joint(network, factors.targets)
    for case in range(n_cases):
        seen = {leaf: network[leaf].states[code[case]] for leaf, code in codes.items() if code[case] >= 0}
        belief = engine.belief(findings(network, seen))
        for answers in (by_numba, by_numpy):
            assert pytest.approx(belief.log_evidence, abs=1e-10) == answers.log_evidence[case]
            for number, component in enumerate(factors.targets):
                np.testing.assert_allclose(answers.joints[number][case], belief.marginal(component), atol=1e-10)


@pytest.mark.parametrize("net", NETS)
def test_batches_of_every_net_agree_with_singles(net: str) -> None:
    network, targets = NETS[net]()
    engine = compile_junction(network, targets)
    leaves = tuple(leaf for leaf in engine.model.leaves if network[leaf].parents)
    codes = cases_of(network, leaves, 20, 2)
    asked = [(target,) for target in targets]
    for use_numba in (True, False):
        answers = run_batch(engine.plan, evidence_of(network, codes), asked, 20, use_numba=use_numba)
        for case in range(20):
            seen = {leaf: network[leaf].states[code[case]] for leaf, code in codes.items() if code[case] >= 0}
            try:
                belief = engine.belief(findings(network, seen))
            except ContradictoryEvidence:
                assert answers.log_evidence[case] == -inf
                continue
            assert pytest.approx(belief.log_evidence, abs=1e-10) == answers.log_evidence[case]
            for number, target in enumerate(targets):
                np.testing.assert_allclose(answers.joints[number][case], belief.marginal(target), atol=1e-10)


def test_two_cores_answer_like_one(monkeypatch: pytest.MonkeyPatch) -> None:
    network, factors, plan, leaves = backlight_plan()
    codes = cases_of(network, leaves, 300, 3)
    asked = [factors.targets[:2]]
    serial = run_batch(plan, evidence_of(network, codes), asked, 300)
    monkeypatch.setattr("faultnet.engine.batch.PARALLEL_FROM_CASES", 1)
    parallel = run_batch(plan, evidence_of(network, codes), asked, 300)
    np.testing.assert_array_equal(serial.log_evidence, parallel.log_evidence)
    np.testing.assert_array_equal(serial.joints[0], parallel.joints[0])


@pytest.mark.parametrize("seed", range(40))
def test_every_scope_lies_in_a_clique_and_variables_stay_connected(seed: int) -> None:
    network, targets = random_net(seed)
    factors = FactorModel(network, targets)
    scopes = [f.scope for f in factors.families] + [network[leaf].parents for leaf in factors.leaves]
    tree = clique_tree(scopes, factors.space, tries=3)
    for scope in scopes:
        assert any(set(scope) <= set(clique) for clique in tree.cliques)
    for variable in factors.hidden:  # running intersection: the cliques with a variable form one subtree
        homes = [k for k, clique in enumerate(tree.cliques) if variable in clique]
        tops = [k for k in homes if tree.parent[k] not in homes]
        assert len(tops) == 1
    assert all(parent > k or parent == -1 for k, parent in enumerate(tree.parent))


@pytest.mark.parametrize("seed", range(20))
def test_possible_states_are_those_of_the_rules(seed: int) -> None:
    network, targets = random_net(seed)
    space = FactorModel(network, targets).space
    engine = compile_joint(network, targets)
    for variables in [tuple(sorted(space.sizes))[:3], targets]:
        listed = {tuple(int(s) for s in row) for row in space.states(variables)}
        assert space.count(variables) == len(listed)
        possible = np.argwhere(engine.prior.joint(variables) > 0)
        assert {tuple(int(s) for s in row) for row in possible} <= listed


def test_another_root_and_the_conditional_form_keep_the_distribution() -> None:
    network, factors, plan, leaves = backlight_plan()
    codes = cases_of(network, leaves, 5, 4)
    seen = evidence_of(network, codes)
    other = conditional(rooted(plan, [factors.targets[:1]]))
    np.testing.assert_allclose(
        propagate(plan, seen, 5).log_evidence, propagate(other, seen, 5).log_evidence, rtol=0, atol=1e-10
    )


def test_a_scope_that_no_clique_holds_is_refused() -> None:
    network, factors, plan, _ = backlight_plan()
    with pytest.raises(ValueError, match="no clique holds"):
        run_batch(plan, [], [factors.hidden], 1)
    with pytest.raises(ValueError, match=r"the clique of .* has .* states; at most 100 are allowed"):
        compile_junction(network, factors.targets, most_states=100)


def test_the_engine_is_chosen_by_size_and_can_be_forced() -> None:
    network, targets = NETS["tree"]()
    assert isinstance(compile_engine(network, targets), JointEngine)
    assert isinstance(compile_engine(network, targets, "tree"), JunctionEngine)
    with pytest.raises(ValueError, match="auto, table, tree"):
        compile_engine(network, targets, "other")
