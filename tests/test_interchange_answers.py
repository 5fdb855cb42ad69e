"""Networks from elsewhere answer as published, and as two other libraries do, whatever node the evidence is about."""

import json
import re
from math import exp
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bridges import import_pgmpy, import_pyagrum, to_pgmpy
from networks import COMPONENTS, import_file, import_published, plain_network, text
from oracle import Oracle

from faultnet import Case, diagnose, parse_events, rank_tests
from faultnet.case.steps import case_steps
from faultnet.cpt import Floats
from faultnet.engine.evidence import Likelihood
from faultnet.engine.interface import Belief, compile_engine
from faultnet.errors import ContradictoryEvidence
from faultnet.interchange.against import Evidence, draw_evidence, likelihoods
from faultnet.interchange.export import save_network
from faultnet.interchange.kinds import Told
from faultnet.interchange.model_file import Imported
from faultnet.model import Model
from faultnet.network import Network
from faultnet.telling.answer_json import answer_json

Published = dict[str, tuple[Imported, Model]]
every_network = pytest.mark.parametrize("name", COMPONENTS)
N_CASES = 12


@pytest.fixture(scope="module")
def published(tmp_path_factory: pytest.TempPathFactory) -> Published:
    folder = tmp_path_factory.mktemp("published")
    return {name: import_published(name, folder) for name in COMPONENTS}


def cases(network: Network, n: int = N_CASES) -> list[Evidence]:
    """Random evidence on any nodes, possible together; half of the cases with something seen unclearly."""
    rng = np.random.default_rng(11)
    return [draw_evidence(network, rng) for _ in range(n)]


def with_plain_states(written: str) -> str:
    """The text with states that pyAgrum's reader does not take (`<5`, `Asy/Patch`) under other names."""
    listed = {s.strip() for states in re.findall(r"discrete[^{]*\{([^}]*)\}", written) for s in states.split(",")}
    for number, state in enumerate(sorted(s for s in listed if not re.fullmatch(r"[A-Za-z]\w*", s))):
        written = re.sub(rf"(?<=[ (]){re.escape(state)}(?=[,) ])", f"state{number}", written)
    return written


def unseen(network: Network, evidence: Evidence, most: int = 12) -> list[str]:
    left = [node.id for node in network if node.id not in {**evidence.findings, **evidence.soft}]
    return [str(node) for node in np.random.default_rng(5).permutation(left)[:most]]


# -- second opinions -----------------------------------------------------------------------------------------------


@every_network
def test_posteriors_under_evidence_on_any_nodes_agree_with_pgmpy(name: str, published: Published) -> None:
    network, engine = published[name][1].compiled.network, published[name][1].compiled.engine
    _, cpd, elimination = import_pgmpy()
    theirs = to_pgmpy(network)
    for evidence in cases(network):
        belief = engine.belief(likelihoods(network, evidence))
        for node in unseen(network, evidence):
            virtual = [
                cpd(n, len(v), [[x] for x in v], state_names={n: list(network[n].states)})
                for n, v in evidence.soft.items()
            ]
            # A fresh object for each query: evidence given to one stays in it.
            answer = elimination(theirs).query([node], dict(evidence.findings), virtual or None, show_progress=False)
            order = [answer.state_names[node].index(state) for state in network[node].states]
            np.testing.assert_allclose(belief.marginal(node), answer.values[order], rtol=0, atol=1e-10, err_msg=node)


@every_network
def test_posteriors_agree_with_pyagrum_that_reads_the_file_itself(
    name: str, published: Published, tmp_path: Path
) -> None:
    """It keeps table entries in single precision, so more than 1e-6 cannot be asked of it."""
    imported, model = published[name]
    pyagrum = import_pyagrum()
    file = tmp_path / f"{name}.bif"
    file.write_text(with_plain_states(text(name)), encoding="utf-8")
    net = pyagrum.loadBN(str(file))
    own = {id_: node for node, id_ in imported.names.nodes.items()}
    place = {  # for each of our states its place in the file, which is its place there
        id_: [list(imported.verified.network[node].states).index(state) for state in imported.states(node)]
        for id_, node in own.items()
    }
    for evidence in cases(model.compiled.network):
        belief = model.compiled.engine.belief(likelihoods(model.compiled.network, evidence))
        inference = pyagrum.LazyPropagation(net)
        told: dict[str, Any] = {}
        for node, state in evidence.findings.items():
            told[own[node]] = place[node][model.compiled.network[node].states.index(state)]
        for node, values in evidence.soft.items():
            told[own[node]] = [values[place[node].index(n)] for n in range(len(values))]
        inference.setEvidence(told)
        inference.makeInference()
        for node in unseen(model.compiled.network, evidence):
            answer = inference.posterior(own[node]).toarray()[place[node]]
            np.testing.assert_allclose(belief.marginal(node), answer, rtol=0, atol=1e-6, err_msg=node)


ASIA = [
    # Lauritzen & Spiegelhalter 1988, J. R. Statist. Soc. B 50(2), 157-224, the example of section 2. Without evidence:
    # as a public unit test of dlib's Bayesian networks has them (King 2007, 1e-5). The P(smoke) below are quoted with
    # it in public tests; other values with evidence were derived by enumeration and by pyAgrum, which agreed to 2e-8.
    ({}, {"tub": 0.0104, "lung": 0.055, "bronc": 0.45, "either": 0.064828, "xray": 0.11029004, "dysp": 0.4359706}),
    ({"smoke": "yes"}, {"dysp": 0.552808}),
    (
        {"asia": "yes", "dysp": "yes"},
        {"smoke": 0.62591986, "tub": 0.08775096, "lung": 0.09952515, "bronc": 0.81140207, "either": 0.18229985},
    ),
    (
        {"dysp": "yes"},
        {"smoke": 0.63399688, "tub": 0.01884531, "lung": 0.10275922, "bronc": 0.83396734, "xray": 0.16209833},
    ),
    (
        {"xray": "yes"},
        {"tub": 0.09241088, "lung": 0.48871140, "bronc": 0.50632616, "either": 0.57603969, "dysp": 0.64076597},
    ),
    (
        {"asia": "yes", "dysp": "yes", "xray": "yes"},
        {"tub": 0.39171172, "lung": 0.44427051, "bronc": 0.62882178, "either": 0.81376870, "smoke": 0.70202512},
    ),
    ({"asia": "yes", "xray": "no", "dysp": "yes"}, {"tub": 0.00224870, "lung": 0.00255042, "bronc": 0.86276077}),
]


@pytest.mark.parametrize(("seen", "expected"), ASIA)
def test_asia_answers_as_published(seen: dict[str, str], expected: dict[str, float], published: Published) -> None:
    model = published["asia"][1]
    case = Case(parse_events(model, [f"{node}={state}" for node, state in seen.items()]))
    belief = model.compiled.engine.belief(likelihoods(model.compiled.network, Evidence(seen, {})))
    for node, chance in expected.items():
        yes = model.visible[node].states.index("yes")
        assert pytest.approx(chance, abs=1e-7) == belief.marginal(node)[yes], node
    diagnosis = diagnose(model, case)
    for component in set(expected) & set(model.components):
        assert pytest.approx(expected[component], abs=1e-7) == diagnosis.faulty(component)
    assert pytest.approx(belief.log_evidence, abs=1e-12) == diagnosis.log_evidence


def test_asia_with_soft_evidence_and_the_chance_of_its_findings(published: Published) -> None:
    """Derived by enumeration and by pyAgrum, which reads numbers in single precision (same origin as above)."""
    model = published["asia"][1]
    soft = diagnose(model, Case(parse_events(model, ["xray=yes:0.8,no:0.2"])))
    assert pytest.approx(0.030788879, abs=1e-8) == soft.faulty("tub")
    assert pytest.approx(0.162825806, abs=1e-8) == soft.faulty("lung")
    assert pytest.approx(0.464003351, abs=1e-8) == soft.faulty("bronc")
    hard = diagnose(model, Case(parse_events(model, ["asia=yes", "dysp=yes", "xray=yes"])))
    assert pytest.approx(9.882267541731788e-4, rel=1e-7) == exp(hard.log_evidence)


def test_gains_in_asia_are_the_mutual_information_of_its_nodes(published: Published) -> None:
    """Derived by brute force; lung with xray and with dysp also by pyAgrum's information theory."""
    model = published["asia"][1]
    prior = model.compiled.engine.prior

    def bits(shown: str, about: str) -> float:
        return prior.gain_bits((shown,), {about: (0, 1)})

    assert pytest.approx(0.18480724, abs=1e-8) == bits("xray", "lung")
    assert pytest.approx(0.02538249, abs=1e-8) == bits("dysp", "lung")
    assert pytest.approx(0.36156092, abs=1e-8) == bits("dysp", "bronc")
    assert pytest.approx(0.06665371, abs=1e-8) == bits("smoke", "bronc")  # of a hidden node that is looked at
    assert pytest.approx(0.0, abs=1e-12) == bits("smoke", "tub")


# -- brute force ---------------------------------------------------------------------------------------------------


def small() -> Network:
    """Components with parents, an observation with a child, a node by itself, one with a single state, zeros."""
    return plain_network(
        ("season", ("dry", "wet"), (), [0.7, 0.3]),
        ("pump", ("ok", "worn", "dead"), ("season",), [[0.8, 0.15, 0.05], [0.6, 0.3, 0.1]]),
        ("seal", ("ok", "leaks"), ("pump",), [[0.95, 0.05], [0.7, 0.3], [0.5, 0.5]]),
        ("noise", ("none", "some"), ("pump",), [[0.9, 0.1], [0.3, 0.7], [1, 0]]),
        ("puddle", ("no", "yes"), ("seal", "season"), [[[1, 0], [0.8, 0.2]], [[0.2, 0.8], [0, 1]]]),
        ("report", ("calm", "loud"), ("noise",), [[0.9, 0.1], [0.2, 0.8]]),
        ("lone", ("ok", "off"), (), [0.9, 0.1]),
        ("fixed", ("always",), ("noise",), [[1], [1]]),
    )


@pytest.mark.parametrize("kind", ["table", "tree"])
@pytest.mark.parametrize("targets", [("season", "lone"), ("pump", "seal"), ("seal", "report"), ("puddle",)])
def test_both_engines_agree_with_brute_force_on_evidence_about_any_nodes(kind: str, targets: tuple[str, ...]) -> None:
    network = small()
    engine = compile_engine(network, targets, kind)
    for evidence in cases(network, 25):
        steps = likelihoods(network, evidence)
        oracle, belief = Oracle(network, targets, steps), engine.belief(steps)
        assert pytest.approx(oracle.log_evidence, abs=1e-10) == belief.log_evidence
        check(oracle, belief, network, targets)


def check(oracle: Oracle, belief: Belief, network: Network, targets: tuple[str, ...]) -> None:
    for node in network:
        np.testing.assert_allclose(belief.marginal(node.id), oracle.joint([node.id]), rtol=0, atol=1e-10)
        if node.id not in targets:
            assert pytest.approx(oracle.gain_bits([node.id]), abs=1e-10) == belief.gain_bits([node.id])
            expected = oracle.joint([node.id, *targets]).reshape(len(node.states), -1)
            np.testing.assert_allclose(belief.outcomes([node.id]), expected, rtol=0, atol=1e-10)
    np.testing.assert_allclose(belief.targets, oracle.joint(targets).reshape(-1), rtol=0, atol=1e-10)


@pytest.mark.parametrize("kind", ["table", "tree"])
def test_a_likelihood_over_hidden_nodes_together_agrees_with_brute_force(kind: str) -> None:
    network, targets = small(), ("pump",)
    table: Floats = np.random.default_rng(2).uniform(0, 1, (2, 3, 2))
    steps = [Likelihood(("season", "pump", "noise"), table), Likelihood(("puddle",), np.array([0.3, 0.9]))]
    check(Oracle(network, targets, steps), compile_engine(network, targets, kind).belief(steps), network, targets)


# -- as a model ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def pump(tmp_path_factory: pytest.TempPathFactory) -> Model:
    folder = tmp_path_factory.mktemp("pump")
    save_network(small(), "pump", folder / "pump.bif", "bif")
    return import_file(folder / "pump.bif", folder / "pump.yaml")[1]


def test_an_imported_model_has_no_complaint_no_intervals_and_a_test_for_each_observation(pump: Model) -> None:
    assert list(pump.components) == ["lone", "season"]  # pgmpy writes nodes in alphabetical order
    assert list(pump.rails) == ["noise", "pump", "seal"]
    assert list(pump.observations) == list(pump.tests) == ["fixed", "puddle", "report"]
    diagnosis = diagnose(pump, Case())
    assert pytest.approx(0.0, abs=1e-12) == diagnosis.log_evidence  # nothing is taken for granted
    assert {("imported", None, None)} == {(f.source, f.low, f.high) for f in diagnosis.faults}
    assert diagnosis.interval_draws == 0
    assert {(1, 0)} == {(t.minutes, t.hazard) for t in pump.tests.values()}


def test_everything_told_of_an_imported_model_follows_from_its_tables(pump: Model) -> None:
    """Every answer of `diagnose` and `rank_tests` against brute force, with evidence on a rail and a component."""
    case = Case(parse_events(pump, ["noise=some:0.9,none:0.3", "season=wet", "pump=worn:1,ok:0.5"]))
    oracle = Oracle(pump.compiled.network, tuple(pump.components), case_steps(pump, case))
    diagnosis, ranking = diagnose(pump, case), rank_tests(pump, case)
    assert pytest.approx(oracle.joint(["lone"])[1]) == diagnosis.faulty("lone")
    assert pytest.approx(1.0) == diagnosis.faulty("season")
    assert all(e.probability > 0 for e in diagnosis.explanations)
    for test in ranking.tests:
        assert pytest.approx(oracle.gain_bits([test.test]), abs=1e-10) == test.gain_bits
        for outcome, chance in zip(test.outcomes, oracle.joint([test.test]), strict=True):
            assert pytest.approx(chance, abs=1e-10) == outcome.chance


def test_what_the_tables_hold_impossible_is_contradictory(pump: Model) -> None:
    with pytest.raises(ContradictoryEvidence, match="puddle"):
        diagnose(pump, Case(parse_events(pump, ["seal=ok", "season=dry", "puddle=yes", "report=calm"])))


def test_an_observation_with_children_is_a_test_that_tells_of_parts_below_and_above(tmp_path: Path) -> None:
    save_network(small(), "pump", tmp_path / "pump.bif", "bif")
    told = Told({"component": ["pump", "seal"], "observation": ["noise", "puddle"]}, {})
    _, model = import_file(tmp_path / "pump.bif", tmp_path / "pump.yaml", told)
    assert list(model.tests) == ["noise", "puddle"]
    assert "report" in model.rails
    case = Case(parse_events(model, ["report=loud"]))
    oracle = Oracle(model.compiled.network, ("pump", "seal"), case_steps(model, case))
    gains = {test.test: test.gain_bits for test in rank_tests(model, case).tests}
    assert pytest.approx(oracle.gain_bits(["noise"]), abs=1e-10) == gains["noise"] > 0.1
    assert pytest.approx(oracle.joint(["pump"])[0], abs=1e-10) == diagnose(model, case).of("pump")[0].probability


def test_faults_are_null_in_json_where_there_are_no_intervals(pump: Model) -> None:
    told = json.loads(json.dumps(answer_json(pump, Case(), diagnose(pump, Case()), rank_tests(pump, Case()))))
    assert {(None, None, "imported", 0)} == {(f["low"], f["high"], f["source"], f["jobs"]) for f in told["faults"]}
    assert "imported and used as they are" in told["disclaimer"]
