"""What the gain of separate channels costs: ranking one test of five or sixteen channels against one of a single feed.

    python tests/benchmarks/channels.py [--repeats 20]

The small half-dark model of the tests; for the feed its levels stand for the states themselves.
"""

import argparse
import time
from pathlib import Path
from sys import path
from tempfile import TemporaryDirectory

path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parents[1])]

from small_models import write_model  # noqa: E402
from test_channels import half_dark_text  # noqa: E402

from faultnet.case import Case  # noqa: E402
from faultnet.files import load_model  # noqa: E402
from faultnet.model.model import Model  # noqa: E402
from faultnet.ranking import rank_tests  # noqa: E402
from faultnet.readings import Nominal  # noqa: E402

FEED = """\
      levels:
        all_alike: [{mix: [{normal: [1, 0.04]}]}]
        one_zero: [{mix: [{normal: [0, 0.01]}]}]
        two_zero: [{mix: [{normal: [0, 0.03]}]}]
        more_zero: [{mix: [{normal: [0, 0.02]}]}]
        some_low: [{mix: [{uniform: [0.5, 0.97]}]}]
        one_different: [{mix: [{uniform: [0, 1.4]}]}]
"""


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--repeats", type=int, default=20)
    repeats = parser.parse_args().repeats
    with TemporaryDirectory() as folder:
        text = half_dark_text(Path(folder))
        texts = {
            "a single feed": as_feed(text),
            "5 channels": text,
            "16 channels": text.replace("usual_channels: 5", "usual_channels: 16"),
        }
        models = {name: load_model(write_model(Path(folder), each), use_cache=False) for name, each in texts.items()}
    for what, nominal in (("nominal known", Nominal.label(54)), ("nominal unknown", None)):
        taken = {name: quickest(model, Case((), nominal=nominal), repeats) for name, model in models.items()}
        for name, seconds in taken.items():
            print(f"{what:16} {name:14} {1e3 * seconds:7.2f} ms  {seconds / taken['a single feed']:5.1f} x")


def as_feed(text: str) -> str:
    """The same model with a reading of one feed."""
    before, reading = text.split("      channels: separate\n")
    outliers = next(line for line in reading.splitlines() if "outliers:" in line)
    rest = reading.split("one_different: {rest: normal, odd: [low, other], count: [1, 1]}\n")[1]
    return f"{before}{outliers}\n      mark: reasoned\n{FEED}{rest}"


def quickest(model: Model, case: Case, repeats: int) -> float:
    """Seconds of the quickest of so many rankings: what others do on the machine only slows it down."""
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        rank_tests(model, case)
        taken.append(time.perf_counter() - start)
    return min(taken)


if __name__ == "__main__":
    main()
