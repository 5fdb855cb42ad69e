"""Posteriors of many recorded jobs: 100,000 cases of `backlight`, 60 % of the findings missing, against two libraries.

    python tests/benchmarks/many_cases.py [--cases 100000] [--other-cases 100]

Every case asks for the log evidence and the marginals of all components. The other libraries answer one case after the
other, targets set once; pyAgrum by each of its exact engines, pgmpy by variable elimination. Differences are checked on
the cases they answer. The plan (0.5 to 3 s, once a model) and numba's compilation are not timed and printed apart.
"""

import argparse
import sys
import time
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[2]), str(HERE.parents[1])]

from bridges import import_pgmpy, import_pyagrum, to_pgmpy, to_pyagrum  # noqa: E402

from faultnet import load_model  # noqa: E402
from faultnet.cpt import Floats, Ints  # noqa: E402
from faultnet.engine.batch import Answers, run_batch  # noqa: E402
from faultnet.engine.factors import FactorModel, without  # noqa: E402
from faultnet.engine.plan import make_plan  # noqa: E402
from faultnet.engine.propagate import Evidence  # noqa: E402

TRIES = 32
MOST_STATES = 2**22
NUMPY_CASES = 1000
MISSING = 0.6


def main() -> None:
    """Print microseconds a case and ratios from one run."""
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--cases", type=int, default=100_000)
    arguments.add_argument("--other-cases", type=int, default=100)
    asked = arguments.parse_args()
    model = load_model("backlight", use_cache=False)
    network, components = model.compiled.network, tuple(model.components)
    leaves = tuple(model.observations)
    codes = recorded(model.compiled.engine.prior.marginal, leaves, asked.cases)

    start = time.perf_counter()
    factors = FactorModel(network, components)
    kept = {*components, *(p for leaf in leaves for p in network[leaf].parents)}
    space, families = without(factors.space, factors.families, kept)
    plan = make_plan(space, families, [network[leaf].parents for leaf in leaves], MOST_STATES, TRIES)
    print(f"plan in {time.perf_counter() - start:.1f} s: {plan.describe()}")

    def answer(n_cases: int, *, use_numba: bool) -> tuple[float, Answers]:
        evidence = []
        for leaf in leaves:
            table = network[leaf].cpt.expand()
            flat = np.ascontiguousarray(table.reshape(-1, table.shape[-1]).T)
            evidence.append(Evidence(network[leaf].parents, flat, codes[leaf][:n_cases]))
        began = time.perf_counter()
        answers = run_batch(plan, evidence, [(c,) for c in components], n_cases, use_numba=use_numba)
        return (time.perf_counter() - began) / n_cases, answers

    first, _ = answer(10, use_numba=True)
    _, _ = answer(min(asked.cases, 6000), use_numba=True)
    print(f"numba's first call: {10 * first:.1f} s")
    per_case, answers = answer(asked.cases, use_numba=True)
    by_numpy, _ = answer(min(asked.cases, NUMPY_CASES), use_numba=False)
    print(f"{'faultnet, numba':40} {1e6 * per_case:10.1f} us a case")
    for n_cases in (1_000, 10_000):
        print(f"{f'  the same for {n_cases} cases':40} {1e6 * answer(n_cases, use_numba=True)[0]:10.1f} us a case")
    print(f"{'faultnet, numpy alone':40} {1e6 * by_numpy:10.1f} us a case  {by_numpy / per_case:8.1f} x")

    names = [
        {leaf: network[leaf].states[codes[leaf][n]] for leaf in leaves if codes[leaf][n] >= 0}
        for n in range(asked.other_cases)
    ]
    for library, ask in ways(network, components):
        began = time.perf_counter()
        found = [ask(seen) for seen in names]
        taken = (time.perf_counter() - began) / len(names)
        apart = max(
            float(np.abs(found[n][k] - answers.joints[k][n]).max())
            for n in range(len(names))
            for k in range(len(components))
        )
        print(f"{library:40} {1e6 * taken:10.1f} us a case  {taken / per_case:8.1f} x  apart {apart:.0e}")


def recorded(marginal: Callable[[str], Floats], leaves: tuple[str, ...], n_cases: int) -> dict[str, Ints]:
    """States drawn from each observation's prior distribution, -1 where nothing was written down."""
    rng = np.random.default_rng(0)
    codes = {}
    for leaf in leaves:
        chances = marginal(leaf)
        code = rng.choice(len(chances), n_cases, p=chances)
        codes[leaf] = np.where(rng.random(n_cases) < MISSING, -1, code).astype(np.intp)
    return codes


def ways(network: Any, components: tuple[str, ...]) -> list[tuple[str, Callable[[dict[str, str]], list[Floats]]]]:
    """Each library's exact ways to the marginals of all components."""
    gum, found = import_pyagrum(), []
    net = to_pyagrum(network)

    def by_pyagrum(inference: Any) -> Callable[[dict[str, str]], list[Floats]]:
        inference.eraseAllTargets()
        for component in components:
            inference.addTarget(component)

        def ask(seen: dict[str, str]) -> list[Floats]:
            inference.setEvidence(seen)
            inference.makeInference()
            return [inference.posterior(component).toarray() for component in components]

        return ask

    for name in ("LazyPropagation", "ShaferShenoyInference", "VariableElimination"):
        found.append((f"pyagrum {version('pyagrum')}, {name}", by_pyagrum(getattr(gum, name)(net))))
    import_pgmpy()
    from pgmpy.inference import VariableElimination

    pgm = to_pgmpy(network)

    def by_pgmpy(order: str) -> Callable[[dict[str, str]], list[Floats]]:
        def ask(seen: dict[str, str]) -> list[Floats]:
            how = {"evidence": seen, "joint": False, "show_progress": False, "elimination_order": order}
            answer = VariableElimination(pgm).query(list(components), **how)
            return [answer[component].values for component in components]

        return ask

    for order in ("greedy", "MinFill"):
        found.append((f"pgmpy {version('pgmpy')}, elimination, {order}", by_pgmpy(order)))
    return found


if __name__ == "__main__":
    main()
