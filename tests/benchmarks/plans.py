"""How long the search for a plan takes, and how far it gets: run by hand, `python tests/benchmarks/plans.py [SECONDS]`.

Prints for random problems of two-outcome tests and single faults the time to an exact plan (bounds within half a cent),
and for `backlight` what is certified after 5 seconds against what a longer search finds (60 unless said). Compiling is
done before.
"""

import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from time import perf_counter

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from plan_problems import plain

from faultnet import Case, Nominal, load_model, parse_events
from faultnet.plan.compose import compose
from faultnet.plan.search import Solved, search
from faultnet.settings import ShopSettings

SIX = ["loaded_voltage", "loaded_voltage_peak", "open_voltage", "strip_tester", "feed_rail", "startup_flash"]
TEN = [*SIX, "bl_on", "visual", "flashlight", "known_load"]


def for_seconds(seconds: float) -> Callable[[], bool]:
    end = perf_counter() + seconds
    return lambda: perf_counter() < end


def told(found: Solved, started: float) -> str:
    gap = (found.upper - found.lower) / found.upper
    how = "exact" if found.is_exact else f"gap {gap:.1%}"
    return (
        f"{found.lower:8.2f} to {found.upper:8.2f}  {how:10}  {found.nodes:8d} nodes  {perf_counter() - started:6.2f} s"
    )


def main() -> None:
    search(plain(np.random.default_rng(0), 2, 2))
    for n_tests in (12, 15):
        for seed in range(5):
            problem = plain(np.random.default_rng(seed), n_tests, 12, noise=0.05)
            started = perf_counter()
            print(f"{n_tests} tests x 12 faults, seed {seed}:  {told(search(problem, for_seconds(60)), started)}")
    model, trained = load_model("backlight"), ShopSettings(trained=True)
    for inches in (None, 55.0):
        for tests, seen in ((SIX, ["sound=present", "flashlight=image_seen"]), (TEN, ["sound=present"])):
            case = Case(parse_events(model, seen), nominal=Nominal.label(54), inches=inches)
            composed = compose(model, case, tests, trained)
            print(
                f"backlight, {len(tests)} tests, {inches or 'usual'} inch, {composed.hypotheses.left_out:.1%} left out"
            )
            for seconds in (5.0, float(sys.argv[1]) if len(sys.argv) > 1 else 60.0):
                started = perf_counter()
                found = search(composed.problem, for_seconds(seconds))
                print(f"  {seconds:g} s:  {told(found, started)}")
            started = perf_counter()
            free = search(replace(composed.problem, free=True), for_seconds(10), plans=found.memory)
            print(f"  without gates and order, 10 s:  {told(free, started)}")


if __name__ == "__main__":
    main()
