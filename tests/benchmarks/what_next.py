"""How long "what now?" takes: the posterior of all components and both gains of every open test, in three libraries.

    python tests/benchmarks/what_next.py [--repeats 200]

The question: the `backlight` model, four findings; marginals of all components, and for every open test the mutual
information of its outcome with the joint state of all components, and with which components need work. Conditions and
rails are summed out. Every way below gives the same numbers (the last column says how closely) and does its work afresh
in each repetition. What can be prepared before anything is found (compiling, converting) is not timed, but for what the
first call of faultnet still has to lay out; its median and the ratios are of later calls.

The other libraries may use any posterior their inference gives, and numpy after that, by two routes:

    for each test    the joint posterior of all components and the test, for each test
    once, our gains  one joint posterior of the components and of the conditions that findings touch; the gains from it
                     are computed by faultnet itself, so this times its inference from findings alone

and on three networks, the last two of which faultnet's own tables help to make:

    as it is
    trimmed          background conditions summed into the components' priors, observations nobody asks for dropped
    flat             and without rails: every observation directly below the components and conditions it depends on

A library's fastest way on the network as it is, by each route, is what a person would meet who uses it for this job.
"""

import argparse
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version
from itertools import chain
from pathlib import Path
from platform import python_version
from statistics import median
from typing import Any

import numpy as np

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2]), str(HERE.parents[1])]

from bridges import import_pgmpy, import_pyagrum, to_pgmpy, to_pyagrum  # noqa: E402

from faultnet.cpt import Floats, Table  # noqa: E402
from faultnet.engine.columns import make_outcome_column  # noqa: E402
from faultnet.engine.evidence import findings  # noqa: E402
from faultnet.engine.information import entropy_bits, mutual_information_bits  # noqa: E402
from faultnet.engine.joint import Belief  # noqa: E402
from faultnet.files import load_model  # noqa: E402
from faultnet.network import Network, Node  # noqa: E402

FINDINGS = {"sound": "present", "flashlight": "image_seen", "startup_flash": "none", "loaded_voltage": "off_level"}
CLOSE = {"pyagrum": 1e-7, "pgmpy": 1e-9}
MOST_SECONDS = 60.0
"""A way stops repeating when it has taken this long."""


@dataclass(frozen=True)
class Answer:
    """marginals: P(state), all components in a row; gains: ``(n_tests, 2)``, about all components and about repairs."""

    marginals: Floats
    gains: Floats

    def distance(self, other: "Answer") -> float:
        apart = [np.abs(self.marginals - other.marginals).max(), np.abs(self.gains - other.gains).max()]
        return float(max(apart))


class Question:
    """The model, the findings, the open tests, and how answers are put together."""

    def __init__(self) -> None:
        self.model = load_model("backlight", use_cache=False)
        self.compiled = self.model.compiled
        self.engine = self.compiled.engine
        self.components = list(self.model.components)
        self.sizes = self.engine.axes.target_sizes
        self.tests = [test.reveals[0] for test in self.model.tests.values() if not set(test.reveals) <= set(FINDINGS)]
        assert all(len(test.reveals) == 1 for test in self.model.tests.values())
        steps = findings(self.compiled.network, FINDINGS)
        axes = self.engine.axes
        touched = frozenset[int]().union(*(axes.sides_of(self.engine.likelihood_column(step)) for step in steps))
        self.conditions = [side for number, side in enumerate(axes.sides) if number in touched]
        self.pattern = np.zeros(self.sizes, dtype=np.intp)
        for axis, size in enumerate(self.sizes):
            needs_work = (np.arange(size) > 0).reshape([-1 if each == axis else 1 for each in range(len(self.sizes))])
            self.pattern = self.pattern * 2 + needs_work
        self.pattern = self.pattern.reshape(-1)

    def ask(self, belief: Belief) -> Answer:
        """The answer by the engine under test."""
        needs_work = self.compiled.needs_work
        marginals = np.concatenate([belief.marginal(component) for component in self.components])
        gains = [(belief.gain_bits((test,)), belief.gain_bits((test,), needs_work)) for test in self.tests]
        return Answer(marginals, np.array(gains))

    def faultnet(self) -> Answer:
        return self.ask(self.engine.belief(findings(self.compiled.network, FINDINGS)))

    def from_shared(self, posterior: Floats) -> Answer:
        """From P(touched conditions, components | findings), axes in our order."""
        axes = self.engine.axes
        sides = [len(axes.network[side].states) if side in self.conditions else 1 for side in axes.sides]
        return self.ask(Belief(self.engine, np.ascontiguousarray(posterior).reshape(*sides, axes.n_joint), 0.0))

    def from_each(self, posteriors: Sequence[Floats]) -> Answer:
        """From P(test, components | findings) for every test, axes in our order."""
        gains: list[tuple[float, float]] = []
        joint = posteriors[0].sum(axis=0)
        entropy = entropy_bits(joint)
        for posterior in posteriors:
            table = np.ascontiguousarray(posterior).reshape(len(posterior), -1)
            about_all = entropy_bits(table.sum(axis=1)) + entropy - entropy_bits(table)
            by_pattern = np.array([np.bincount(self.pattern, row) for row in table])
            gains.append((about_all, mutual_information_bits(by_pattern)))
        axes = range(len(self.sizes))
        marginals = [joint.sum(axis=tuple(other for other in axes if other != axis)) for axis in axes]
        return Answer(np.concatenate(marginals), np.array(gains))

    # -- networks ------------------------------------------------------------------------------------------------

    def networks(self) -> dict[str, Network]:
        """The network as it is and two simpler ones that give the same answers."""
        whole = self.compiled.network
        wanted = {*FINDINGS, *self.tests}
        observed = [node for node in whole if node.id in wanted]
        others = set(self.engine.axes.leaves) | {self.engine.axes.sides[side] for side in self.engine.coupled}
        trimmed = [node for node in whole if node.id not in others and node.id not in self.components]
        parents = {parent for node in map(self._flat, observed) for parent in node.parents}
        conditions = [whole[side] for side in self.engine.axes.sides if side in parents]
        flat = [*conditions, *map(self._flat, observed)]
        return {
            "as it is": whole,
            "trimmed": Network.of([*self._priors(), *trimmed, *observed]),
            "flat": Network.of([*self._priors(), *flat]),
        }

    def _priors(self) -> list[Node]:
        """The components with background conditions summed out: each given the earlier ones it hangs together with."""
        prior = self.engine.base(frozenset()).reshape(self.sizes)
        network = self.compiled.network
        together = [component for component in self.components if network[component].parents]
        nodes: list[Node] = []
        for component in self.components:
            parents = tuple(together[: together.index(component)]) if component in together else ()
            kept = [self.components.index(each) for each in (*parents, component)]
            table = prior.sum(axis=tuple(axis for axis in range(prior.ndim) if axis not in kept))
            table = table.transpose(np.argsort(np.argsort(kept)))
            table = table / table.sum(axis=-1, keepdims=True)
            nodes.append(Node(component, network[component].states, parents, Table.full(table)))
        return nodes

    def _flat(self, node: Node) -> Node:
        """An observation directly below the components and conditions it depends on."""
        axes = self.engine.axes
        column = make_outcome_column(axes, (node.id,), {})
        row_of = column.row_of.reshape(*column.row_of.shape[:-1], *self.sizes)
        parents = []
        for axis, parent in enumerate((*axes.sides, *self.components)):
            first = row_of.take([0], axis=axis)
            if np.all(row_of == first):
                row_of = first
            else:
                parents.append(parent)
        sizes = [len(axes.network[parent].states) for parent in parents]
        return Node(node.id, node.states, tuple(parents), Table(column.rows, row_of.reshape(sizes)))


# -- the other libraries -----------------------------------------------------------------------------------------------

Joint = Callable[[Sequence[str]], Floats]
"""P(nodes | findings), an axis for each node, in this order."""


@dataclass(frozen=True)
class Way:
    """One way through another library."""

    package: str
    engine: str
    network: str
    route: str
    go: Callable[[], Answer]


def pyagrum_ways(question: Question) -> Iterator[Way]:
    pyagrum = import_pyagrum()
    for network, ours in question.networks().items():
        net = to_pyagrum(ours)
        for engine in (pyagrum.LazyPropagation, pyagrum.VariableElimination, pyagrum.ShaferShenoyInference):
            for route, go in routes(question, partial(pyagrum_joint, engine, net)):
                yield Way("pyagrum", engine.__name__, network, route, go)


def pyagrum_joint(engine: Any, net: Any, nodes: Sequence[str]) -> Floats:
    inference = engine(net)
    inference.setEvidence(FINDINGS)
    inference.addJointTarget(set(nodes))
    inference.makeInference()
    tensor = inference.jointPosterior(set(nodes))
    order = list(reversed(tensor.names))
    return np.asarray(tensor.toarray()).transpose([order.index(node) for node in nodes])


def pgmpy_ways(question: Question) -> Iterator[Way]:
    _, _, elimination = import_pgmpy()
    for network, ours in question.networks().items():
        inference = elimination(to_pgmpy(ours))
        for order in ("greedy", "MinFill", "MinWeight"):
            for route, go in routes(question, partial(pgmpy_joint, inference, order)):
                yield Way("pgmpy", f"elimination, {order}", network, route, go)


def pgmpy_joint(inference: Any, order: str, nodes: Sequence[str]) -> Floats:
    factor = inference.query(list(nodes), evidence=FINDINGS, elimination_order=order, show_progress=False)
    return np.asarray(factor.values).transpose([factor.variables.index(node) for node in nodes])


def routes(question: Question, joint: Joint) -> Iterator[tuple[str, Callable[[], Answer]]]:
    def each_test() -> Answer:
        return question.from_each([joint([test, *question.components]) for test in question.tests])

    def once() -> Answer:
        return question.from_shared(joint([*question.conditions, *question.components]))

    yield "for each test", each_test
    yield "once, our gains", once


# -- the table ---------------------------------------------------------------------------------------------------------


def measure(way: Callable[[], Answer], repeats: int) -> tuple[Answer, float, list[float]]:
    """The answer, the seconds of the first call, and those of up to `repeats` more."""
    started = time.perf_counter()
    answer = way()
    first = time.perf_counter() - started
    taken: list[float] = []
    while len(taken) < repeats and sum(taken) + first < MOST_SECONDS:
        begun = time.perf_counter()
        way()
        taken.append(time.perf_counter() - begun)
    return answer, first, taken or [first]


def main() -> None:
    parser = argparse.ArgumentParser(description="Time the answer to 'what now?' in three libraries.")
    parser.add_argument("--repeats", type=int, default=200, help="of faultnet; the others do a tenth (default 200)")
    repeats = parser.parse_args().repeats
    libraries = ", ".join(f"{name} {version(name)}" for name in ("numpy", "pyagrum", "pgmpy"))
    print(f"Python {python_version()}, {libraries}, {os.cpu_count()} CPUs")
    question = Question()
    print(f"{len(question.tests)} open tests after {', '.join(f'{k}={v}' for k, v in FINDINGS.items())}\n")
    ours, first, taken = measure(question.faultnet, repeats)
    heading = f"{'library':<10}{'engine':<24}{'network':<10}{'route':<17}"
    print(f"{heading}{'median ms':>10}{'first ms':>10}{'ratio':>8}{'runs':>6}{'apart':>8}")
    print(f"{'faultnet':<61}{1e3 * median(taken):10.2f}{1e3 * first:10.2f}{1:8.1f}{len(taken):6}{0:8.0e}")
    best: dict[tuple[str, str, str], tuple[float, str]] = {}
    for way in chain(pyagrum_ways(question), pgmpy_ways(question)):
        name = f"{way.package:<10}{way.engine:<24}{way.network:<10}{way.route:<17}"
        try:
            answer, first, theirs = measure(way.go, max(1, repeats // 10))
        except Exception as error:  # a way that a library cannot go is a result, too
            print(f"{name}  {type(error).__name__}: {str(error)[:50]}", flush=True)
            continue
        again = median(measure(question.faultnet, max(5, repeats // 10))[2])
        ratio, apart = median(theirs) / again, answer.distance(ours)
        wrong = "" if apart < CLOSE[way.package] else "  WRONG"
        timing = f"{1e3 * median(theirs):10.2f}{1e3 * first:10.2f}{ratio:8.1f}{len(theirs):6}{apart:8.0e}"
        print(f"{name}{timing}{wrong}", flush=True)
        key = way.network, way.route, way.package
        if not wrong and ratio < best.get(key, (np.inf, ""))[0]:
            best[key] = ratio, way.engine
    print("\nThe fastest right engine of each, as a multiple of faultnet timed right after it:")
    for (network, route, library), (ratio, engine) in best.items():
        print(f"  {ratio:7.1f}  {library}, {network}, {route} ({engine})")


if __name__ == "__main__":
    main()
