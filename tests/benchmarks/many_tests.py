"""How long "what now?" takes on a wide network: 40 components, 80 noisy-OR tests with one to four causes each.

    python tests/benchmarks/many_tests.py [--repeats 20] [--growth]

The question: 10 or 40 tests seen, 5 or 20 of them abnormal; the posterior of every component, and of every open test
its outcome probabilities and its gain about the joint state of all components, which is its gain about its own causes.
The evidence is new each time, so faultnet's plan (moral graph, cliques, messages) is made afresh within the time shown.

pyAgrum answers it from the same tables by LazyPropagation, three ways, each as its documentation describes:

    all at once      every test with its causes a joint target of one inference: its fastest, and wide
    test by test     one inference for each test with its causes as the joint target
    each outcome     every outcome of every open test entered in turn, posteriors of all components asked each time

`--growth` prints how faultnet's time grows with tests, components, findings and treewidth.
"""

import argparse
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version
from pathlib import Path
from platform import python_version
from statistics import median
from typing import Any

import numpy as np

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2]), str(HERE.parents[1])]

from bridges import import_pyagrum, to_pyagrum  # noqa: E402

from faultnet.cpt import Floats, Table  # noqa: E402
from faultnet.engine.evidence import findings  # noqa: E402
from faultnet.engine.information import mutual_information_bits  # noqa: E402
from faultnet.engine.junction import JunctionEngine, compile_junction  # noqa: E402
from faultnet.network import Network, Node  # noqa: E402
from faultnet.noisy import noisy_or  # noqa: E402

OK, BAD = "normal", "abnormal"
MOST_SECONDS = 60.0
"""A way stops repeating when it has taken this long."""


@dataclass(frozen=True)
class Answer:
    """marginals: P(bad) of each component; outcomes: P(abnormal) of each open test; gains: bits, of each open test."""

    marginals: Floats
    outcomes: Floats
    gains: Floats

    def distance(self, other: "Answer") -> float:
        mine, theirs = (np.concatenate([a.marginals, a.outcomes, a.gains]) for a in (self, other))
        return float(np.abs(mine - theirs).max())


def two_layers(n_components: int, n_tests: int, seed: int) -> Network:
    """Components that are bad with 1 to 10 %, and tests with one to four causes each and a small leak (invented)."""
    rng = np.random.default_rng(seed)
    nodes = []
    for number in range(n_components):
        share = rng.uniform(0.01, 0.10)
        nodes.append(Node(f"c{number}", ("ok", "bad"), (), Table(np.array([[1 - share, share]]), np.array(0))))
    for number in range(n_tests):
        causes = rng.choice(n_components, size=rng.integers(1, 5), replace=False)
        links = [[0.0, rng.uniform(0.5, 0.98)] for _ in causes]
        cpt = noisy_or(links, rng.uniform(0.005, 0.05))
        nodes.append(Node(f"t{number}", (OK, BAD), tuple(f"c{cause}" for cause in causes), cpt))
    return Network.of(nodes)


def seen_of(network: Network, n_seen: int, n_abnormal: int, seed: int) -> dict[str, str]:
    """Findings drawn from a set with so many faults that this many tests are abnormal."""
    rng = np.random.default_rng(seed)
    shown: dict[str, str] = {}
    more = 1.0
    while sum(state == BAD for state in shown.values()) < n_abnormal:
        more += 0.5
        bad = {n.id: int(rng.random() < more * n.cpt.rows[0, 1]) for n in network if not n.parents}
        shown = {}
        for node in rng.permutation([n.id for n in network if n.parents]).tolist():
            cpt = network[node].cpt
            row = cpt.rows[cpt.row_of[tuple(bad[cause] for cause in network[node].parents)]]
            shown[node] = BAD if rng.random() < row[1] else OK
    abnormal = [node for node, state in shown.items() if state == BAD][:n_abnormal]
    normal = [node for node, state in shown.items() if state == OK][: n_seen - len(abnormal)]
    return {node: shown[node] for node in (*abnormal, *normal)}


@dataclass(frozen=True)
class Question:
    network: Network
    seen: Mapping[str, str]

    @property
    def components(self) -> list[str]:
        return [node.id for node in self.network if not node.parents]

    @property
    def open_tests(self) -> list[str]:
        return [node.id for node in self.network if node.parents and node.id not in self.seen]

    def faultnet(self, engine: JunctionEngine) -> Answer:
        engine._plans.clear()  # so that the plan for this evidence is part of the time
        belief = engine.belief(findings(self.network, self.seen))
        marginals = np.array([table[1] for table in belief.joints([(c,) for c in self.components])])
        tests = [(test,) for test in self.open_tests]
        outcomes = np.array([table[1] for table in belief.joints(tests)])
        return Answer(marginals, outcomes, np.array(belief.gains_bits(tests)))

    # -- pyAgrum ---------------------------------------------------------------------------------------------------

    def all_at_once(self, net: Any) -> Answer:
        inference = self._inference(net)
        for test in self.open_tests:
            inference.addJointTarget({test, *self.network[test].parents})
        for component in self.components:
            inference.addTarget(component)
        inference.makeInference()
        tables = [self._joint(inference, test) for test in self.open_tests]
        marginals = np.array([inference.posterior(component).toarray()[1] for component in self.components])
        return self._answer(marginals, tables)

    def test_by_test(self, net: Any) -> Answer:
        inference = self._inference(net)
        for component in self.components:
            inference.addTarget(component)
        inference.makeInference()
        marginals = np.array([inference.posterior(component).toarray()[1] for component in self.components])
        tables = []
        for test in self.open_tests:
            single = self._inference(net)
            single.addJointTarget({test, *self.network[test].parents})
            single.makeInference()
            tables.append(self._joint(single, test))
        return self._answer(marginals, tables)

    def each_outcome(self, net: Any) -> Answer:
        """Posteriors after each outcome say nothing of joint states: marginals and outcome probabilities only."""
        inference = self._inference(net)
        inference.makeInference()
        marginals = np.array([inference.posterior(component).toarray()[1] for component in self.components])
        outcomes = np.array([inference.posterior(test).toarray()[1] for test in self.open_tests])
        for test in self.open_tests:
            for state in (OK, BAD):
                inference.setEvidence({**self.seen, test: state})
                inference.makeInference()
                for component in self.components:
                    inference.posterior(component)
        return Answer(marginals, outcomes, np.zeros(0))

    def _inference(self, net: Any) -> Any:
        inference = import_pyagrum().LazyPropagation(net)
        inference.setEvidence(dict(self.seen))
        return inference

    def _joint(self, inference: Any, test: str) -> Floats:
        """P(test, causes | seen): ``(2, n_causes' states)``."""
        table = inference.jointPosterior({test, *self.network[test].parents})
        names = list(reversed(table.names))
        array = np.moveaxis(table.toarray(), names.index(test), 0)
        return np.ascontiguousarray(array).reshape(2, -1)

    @staticmethod
    def _answer(marginals: Floats, tables: list[Floats]) -> Answer:
        outcomes = np.array([table[1].sum() for table in tables])
        return Answer(marginals, outcomes, np.array([mutual_information_bits(table) for table in tables]))


def timed(work: Callable[[], Answer], repeats: int) -> tuple[float, Answer]:
    """Median time in seconds, and the answer."""
    answer, taken = work(), []
    while len(taken) < repeats and sum(taken) < MOST_SECONDS:
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return median(taken), answer


def compare(n_seen: int, n_abnormal: int, repeats: int, seed: int) -> None:
    """Print one comparison."""
    network = two_layers(40, 80, seed)
    asked = Question(network, seen_of(network, n_seen, n_abnormal, seed))
    engine, net = compile_junction(network), to_pyagrum(network)
    mine, answer = timed(partial(asked.faultnet, engine), repeats)
    plan = engine.belief(findings(network, asked.seen)).plan
    abnormal = sum(state == BAD for state in asked.seen.values())
    print(f"\n{n_seen} seen, {abnormal} abnormal; faultnet's plan: {plan.describe()}")
    print(f"  {'faultnet':28} {1e3 * mine:10.2f} ms")
    for name, way in (
        ("pyAgrum, all at once", asked.all_at_once),
        ("pyAgrum, test by test", asked.test_by_test),
        ("pyAgrum, each outcome", asked.each_outcome),
    ):
        theirs, other = timed(partial(way, net), min(repeats, 5))
        alike = Answer(answer.marginals, answer.outcomes, answer.gains if len(other.gains) else other.gains)
        print(f"  {name:28} {1e3 * theirs:10.2f} ms  {theirs / mine:7.1f} x  differs by {other.distance(alike):.0e}")


def growth(repeats: int) -> None:
    """Print how the time grows with tests, components, findings and treewidth."""
    print("\ncomponents  tests  seen  abnormal  treewidth  states     ms")
    for n_components, n_tests, n_seen, n_abnormal in (
        *((40, tests, 10, 5) for tests in (20, 40, 80, 160, 320)),
        *((components, 80, 10, 5) for components in (10, 20, 40, 80, 160)),
        *((40, 80, seen, seen // 2) for seen in (5, 10, 20, 40, 60)),
        *((40, 160, 60, abnormal) for abnormal in (10, 20, 30, 40, 50)),
    ):
        network = two_layers(n_components, n_tests, 1)
        asked = Question(network, seen_of(network, n_seen, n_abnormal, 1))
        engine = compile_junction(network)
        taken, _ = timed(partial(asked.faultnet, engine), repeats)
        plan = engine.belief(findings(network, asked.seen)).plan
        abnormal = sum(state == BAD for state in asked.seen.values())
        numbers = (n_components, n_tests, n_seen, abnormal, plan.tree.treewidth, plan.entries)
        print("{:10}{:7}{:6}{:10}{:11}{:8}".format(*numbers) + f"{1e3 * taken:7.1f}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--repeats", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--growth", action="store_true")
    options = parser.parse_args()
    print(f"Python {python_version()}, numpy {np.__version__}, pyAgrum {version('pyagrum')}")
    for n_seen, n_abnormal in ((10, 5), (40, 20)):
        compare(n_seen, n_abnormal, options.repeats, options.seed)
    if options.growth:
        growth(options.repeats)


if __name__ == "__main__":
    main()
