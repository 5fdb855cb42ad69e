"""What a round of learning costs, beside pyAgrum's EM on the same cases, and how it grows with jobs and patterns.

    python tests/benchmarks/learning.py [--cases 1000] [--missing 0.6] [--theirs 20] [--history FILE]

Draws cases from the network of the backlight model, hides its parts, and leaves so many of its findings out. A round
is one pass of expected counts and better numbers over all cases; theirs is measured on `--theirs` of the cases and
scaled up, since its time is the same for each. Then the same cases said 10 and 100 times: time goes with patterns, not
with jobs. With `--history`, a file of past jobs: seconds to prepare, for a round, and until a round gains less than a
millionth.
"""

import argparse
import csv
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from bridges import import_pyagrum, to_pyagrum

from faultnet.case.events import Finding
from faultnet.counting import count_patterns
from faultnet.files import load_model
from faultnet.learning.blanks import looked_at
from faultnet.learning.climb import climb
from faultnet.learning.learn import MOST_PATTERNS
from faultnet.learning.maximise import Aim
from faultnet.learning.prepare import aim_at
from faultnet.model import Model
from faultnet.patterns import Pattern, Patterns
from faultnet.simulate.forward import forward

Cases = list[dict[str, str]]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=1_000)
    parser.add_argument("--missing", type=float, default=0.6)
    parser.add_argument("--theirs", type=int, default=20)
    parser.add_argument("--history", type=Path)
    told = parser.parse_args()
    model = load_model("backlight@0")
    print(f"Python {sys.version.split()[0]}, numpy {np.__version__}, pyAgrum {version('pyagrum')}")
    cases = drawn(model, told.cases, told.missing)
    ours = our_round(model, cases)
    theirs = their_round(model, cases[: told.theirs]) * len(cases) / told.theirs
    print(f"{len(cases)} cases, {told.missing:.0%} of findings missing: a round takes")
    print(f"  faultnet {1000 * ours:8.1f} ms\n  pyAgrum  {1000 * theirs:8.1f} ms   {theirs / ours:.0f} times as long")
    for times in (10, 100):
        again = our_round(model, cases, times)
        print(f"the same cases {times} times: {1000 * again:.1f} ms, {again / ours:.2f} of that for once")
    if told.history is not None:
        by_history(model, told.history)


def drawn(model: Model, n: int, missing: float) -> Cases:
    """Findings of sets that were brought in with the complaint."""
    rng = np.random.default_rng(4)
    network = model.compiled.network
    wanted = network[model.complaint].states.index(model.complaint_state)
    found: Cases = []
    while len(found) < n:
        states = forward(network, [node.id for node in network], 20_000, rng)
        for number in np.flatnonzero(states[model.complaint] == wanted)[: n - len(found)]:
            seen = [o for o in model.observations if o != model.complaint and rng.random() >= missing]
            found.append({o: network[o].states[int(states[o][number])] for o in seen})
    return found


def prepared(model: Model, cases: Cases, times: int = 1) -> Aim:
    said = [(Pattern(tuple(Finding(o, s) for o, s in case.items())), times) for case in cases]
    aim = aim_at(model, Patterns.of(model.id, said))
    return replace(aim, history=aim.history.focused(aim.frame.own))


def our_round(model: Model, cases: Cases, times: int = 1) -> float:
    aim = prepared(model, cases, times)
    own = aim.frame.own
    return best(lambda: aim.improved(own, aim.history.expect(own)))


def best(what: Callable[[], object], n: int = 5) -> float:
    what()
    seconds = []
    for _ in range(n):
        started = time.perf_counter()
        what()
        seconds.append(time.perf_counter() - started)
    return min(seconds)


def their_round(model: Model, cases: Cases) -> float:
    """One round of pyAgrum's EM: the time of three rounds less that of one, halved."""
    gum = import_pyagrum()
    network = to_pyagrum(model.compiled.network)
    with TemporaryDirectory() as folder:
        file = Path(folder) / "cases.csv"
        names = list(network.names())
        with file.open("w", newline="") as stream:
            writer = csv.writer(stream)
            writer.writerow(names)
            for case in cases:
                told = {**case, model.complaint: model.complaint_state}
                writer.writerow([told.get(name, "?") for name in names])

        def rounds(n: int) -> float:
            learner = gum.BNLearner(str(file), network, ["?"])
            learner.useEM(1e-30)
            learner.EMdisableMinEpsilonRate()
            learner.EMsetMaxIter(n)
            learner.useSmoothingPrior(0.1)
            started = time.perf_counter()
            learner.learnParameters(network.dag())
            seconds = time.perf_counter() - started
            assert learner.EMnbrIterations() == n, learner.EMStateMessage()
            return seconds

        rounds(1)
        return (rounds(3) - rounds(1)) / 2


def by_history(model: Model, file: Path) -> None:
    started = time.perf_counter()
    patterns = count_patterns(file, model)
    counted = time.perf_counter()
    n_jobs, n_patterns = patterns.n_jobs, len(patterns)
    if n_patterns > MOST_PATTERNS:  # as `learn` does
        patterns = patterns.thinned(MOST_PATTERNS / n_patterns)
    aim = aim_at(model, patterns, usual_leaves=looked_at(model, patterns))
    aim = replace(aim, history=aim.history.focused(aim.frame.own))
    ready = time.perf_counter()
    own = aim.frame.own
    one = best(lambda: aim.improved(own, aim.history.expect(own)), 2)
    before = time.perf_counter()
    ended = climb(aim, own, tolerance=1e-6)
    print(
        f"{n_jobs} jobs, {n_patterns} patterns: counting {counted - started:.1f} s; of {len(patterns)} patterns: "
        f"preparing {ready - counted:.1f} s, a round {one:.2f} s, {ended.steps} rounds to 1e-6 in "
        f"{time.perf_counter() - before:.1f} s"
    )


if __name__ == "__main__":
    main()
