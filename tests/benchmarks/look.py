"""What one look at a job costs: its faults with intervals and reasons, what to do next, and how sure that order is.

    python tests/benchmarks/look.py [--repeats 30] [--benches 8] [--pause 1.0]

The `backlight` model on a bench of a trained person, jobs of three to seven findings, most with a reading in volts.
Aim: 50 ms in the middle on a quiet machine, and 95 of 100 under 100 ms while eight benches share a process on two
cores, each looking again a moment after its last answer. Products of matrices are kept to one thread, as a server
should: spread over two cores they wait for each other as soon as a second bench looks.

Parts are in the thread's own processor time, which says more than a clock where others work on the machine, too; what
benches wait for is by the clock. Below, what sharing saves, each measured beside the same without it: a case believed
once for ranking, draws and diagnosis; weights of draws grouped by `np.add.reduceat` instead of one entry at a time; a
model kept by the process.
"""

import argparse
import os
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from pathlib import Path
from statistics import median, quantiles
from sys import path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
path[:0] = [str(Path(__file__).resolve().parents[2])]

import numpy as np  # noqa: E402

from faultnet.case import Case, parse_events  # noqa: E402
from faultnet.case.believed import Believed  # noqa: E402
from faultnet.diagnosis import diagnose  # noqa: E402
from faultnet.diagnosis.diagnose import diagnosis_of, drawn_or_none  # noqa: E402
from faultnet.diagnosis.drawn_belief import DrawnBelief, drawn_belief  # noqa: E402
from faultnet.files import load_model  # noqa: E402
from faultnet.files.fits import fits_better  # noqa: E402
from faultnet.files.load import shared_model  # noqa: E402
from faultnet.model import Model  # noqa: E402
from faultnet.ranking import rank_tests  # noqa: E402
from faultnet.ranking.on_top import over_draws, with_times_on_top  # noqa: E402
from faultnet.ranking.rank import ranking_of  # noqa: E402
from faultnet.settings import ShopSettings  # noqa: E402

TRAINED = ShopSettings(trained=True)
CONFIRMED = "sound=present flashlight=image_seen startup_flash=none"
JOBS = {
    "3 findings": CONFIRMED,
    "3 and volts": f"{CONFIRMED} loaded_voltage=0.1,0,0.2",
    "4 and volts": f"{CONFIRMED} bl_on=high loaded_voltage=0.2x5",
    "5 and twice volts": f"{CONFIRMED} bl_on=high strip_tester=dark loaded_voltage=0.2x5 open_voltage=61.5x5",
    "a repair in between": f"{CONFIRMED} loaded_voltage=0.1 replace_strips=not open_voltage=32x5",
}
PARTS = ("belief", "ranking", "draws", "on top", "diagnosis", "fit")


def case_of(model: Model, job: str) -> Case:
    return Case(tuple(parse_events(model, JOBS[job].split())))


def look(model: Model, case: Case) -> list[float]:
    """One look; milliseconds of processor time of each part, in the order of `PARTS`."""
    times = [time.thread_time()]

    def done() -> None:
        times.append(time.thread_time())

    believed = Believed(model, case)
    believed.now  # noqa: B018 - worked out when first asked for
    done()
    ranking = ranking_of(believed, None, TRAINED)
    done()
    drawn = drawn_or_none(believed)
    done()
    over_draws(believed, drawn, ranking)
    done()
    diagnosis_of(believed, drawn)
    done()
    fits_better(model, case)
    done()
    return [1e3 * (end - start) for start, end in pairwise(times)]


def apart(model: Model, case: Case) -> None:
    """The same by what the package offers for one question each."""
    with_times_on_top(model, case, rank_tests(model, case, settings=TRAINED))
    diagnose(model, case)
    fits_better(model, case)


def one_by_one(drawn: DrawnBelief, leaves: Sequence[str]) -> None:
    """The sums behind a gain over draws, each entry added to its row and group by itself."""
    rows, row_of = drawn.drawn.outcome_rows(leaves)
    group, n_groups = drawn.drawn.group_of(drawn.drawn.model.compiled.to_decide)
    shape = np.broadcast_shapes(group.shape, row_of.shape, (len(drawn.drawn.kept),))
    weight = drawn.over(drawn.drawn.engine.axes.sides_of(row_of))
    sums = np.zeros((rows.shape[1] * n_groups, len(weight)))
    np.add.at(sums, np.broadcast_to(row_of * n_groups + group, shape).reshape(-1), weight.T)


def typical_ms(way: Callable[[], object], repeats: int) -> float:
    taken = []
    for _ in range(repeats):
        start = time.thread_time()
        way()
        taken.append(1e3 * (time.thread_time() - start))
    return median(taken)


def benches(model: Model, n: int, pause_seconds: float, repeats: int) -> list[float]:
    """Milliseconds by the clock of looks while so many benches look by turns, each pausing after its answer."""
    cases = [case_of(model, job) for job in JOBS]

    def one(number: int) -> list[float]:
        chance, taken = np.random.default_rng(number), []
        for turn in range(repeats):
            time.sleep(pause_seconds * float(chance.exponential()))
            start = time.perf_counter()
            look(model, cases[(number + turn) % len(cases)])
            taken.append(1e3 * (time.perf_counter() - start))
        return taken

    with ThreadPoolExecutor(n) as threads:
        return [each for taken in threads.map(one, range(n)) for each in taken]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--repeats", type=int, default=30)
    parser.add_argument("--benches", type=int, default=8)
    parser.add_argument("--pause", type=float, default=1.0, help="seconds between looks of a bench, on average")
    asked = parser.parse_args()
    model = shared_model("backlight")
    print(f"{'ms in the middle':22}" + "".join(f"{part:>10}" for part in (*PARTS, "all")))
    for job in JOBS:
        case = case_of(model, job)
        look(model, case)
        rows = np.array([look(model, case) for _ in range(asked.repeats)])
        parts = [*np.median(rows, axis=0), np.median(rows.sum(axis=1))]
        print(f"{job:22}" + "".join(f"{ms:10.1f}" for ms in parts))

    print("\nwithout sharing, with it, and how many times as long:")
    case = case_of(model, "4 and volts")
    drawn, leaves = drawn_belief(Believed(model, case)), [test.reveals for test in model.tests.values()]
    for what, before, after in (
        ("case believed once", lambda: apart(model, case), lambda: look(model, case)),
        (
            "weights grouped",
            lambda: [one_by_one(drawn, each) for each in leaves],
            lambda: [drawn.gains_bits(each, model.compiled.to_decide) for each in leaves],
        ),
        (
            "model kept",
            lambda: look(load_model("backlight"), case),
            lambda: look(shared_model("backlight"), case),
        ),
    ):
        old, new = typical_ms(before, asked.repeats), typical_ms(after, asked.repeats)
        print(f"{what:22}{old:10.1f}{new:10.1f}{old / new:9.1f} x")

    taken = benches(model, asked.benches, asked.pause, asked.repeats)
    late = quantiles(taken, n=20)[-1]
    print(
        f"\n{asked.benches} benches, a look every {asked.pause:g} s each: {median(taken):.0f} ms in the middle, ",
        end="",
    )
    print(f"95 of 100 under {late:.0f} ms")


if __name__ == "__main__":
    main()
