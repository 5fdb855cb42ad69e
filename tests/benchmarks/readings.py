"""What readings cost: the posterior with five-point readings against the same with findings only.

    python tests/benchmarks/readings.py [--repeats 300]

The `backlight` model, confirmed complaint, and three observations: as states, or as readings of five points each, with
the nominal known and unknown. Aim: at most twice the cost.
"""

import argparse
import time
from pathlib import Path
from statistics import median
from sys import path

path[:0] = [str(Path(__file__).resolve().parents[2])]

from faultnet.case import Case, believe, parse_events  # noqa: E402
from faultnet.files import load_model  # noqa: E402
from faultnet.readings import Nominal  # noqa: E402

CONFIRMED = ["sound=present", "flashlight=image_seen", "startup_flash=none", "strip_tester=dark", "bl_on=high"]
AS_STATES = [*CONFIRMED, "loaded_voltage=off_level", "open_voltage=rises_then_off"]
AS_VOLTS = [*CONFIRMED, "loaded_voltage=0.2x5", "open_voltage=61.5x5"]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--repeats", type=int, default=300)
    repeats = parser.parse_args().repeats
    model = load_model("backlight")
    first = None
    for name, entries, nominal in (
        ("states only", AS_STATES, Nominal.label(54)),
        ("volts, nominal known", AS_VOLTS, Nominal.label(54)),
        ("volts, nominal unknown", AS_VOLTS, None),
    ):
        case = Case(parse_events(model, entries), nominal=nominal)
        taken = []
        for _ in range(repeats):
            start = time.perf_counter()
            belief = believe(model, case)
            [belief.marginal(component) for component in model.components]
            taken.append(time.perf_counter() - start)
        first = first or median(taken)
        print(f"{name:24} {1e3 * median(taken):7.2f} ms  {median(taken) / first:5.1f} x")


if __name__ == "__main__":
    main()
