"""What a history of a million jobs costs: rows of CSV into the shop, and out again.

    python tests/benchmarks/histories.py [--rows 1000000] [--kinds 20000]

A made-up history of `kinds` jobs is written again and again under new numbers. Prints seconds and the largest resident
size of each step's own process.
"""

import argparse
import csv
import os
import resource
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).resolve().parents[2]


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--rows", type=int, default=1_000_000)
    parser.add_argument("--kinds", type=int, default=20_000)
    told = parser.parse_args()
    with TemporaryDirectory() as name:
        folder = Path(name)
        env = {
            **os.environ,
            "PYTHONPATH": str(ROOT),
            "FAULTNET_DATA": str(folder / "data"),
            "FAULTNET_SHOP": os.devnull,
        }
        kinds, many = folder / "kinds.csv", folder / "many.csv"
        run("simulate", env, "simulate", "backlight", "--jobs", str(told.kinds), "--seed", "1", "--out", str(kinds))
        repeat(kinds, many, told.rows)
        print(f"{told.rows} rows, {many.stat().st_size / 2**20:.0f} MB of CSV")
        run("import", env, "history", "import", str(many), "--yes", "--model", "backlight")
        run("export", env, "history", "export", str(folder / "out.parquet"))


def repeat(kinds: Path, many: Path, n_rows: int) -> None:
    """The same jobs again and again, each time under new numbers."""
    with kinds.open(encoding="utf-8", newline="") as stream, many.open("w", encoding="utf-8", newline="") as out:
        heading, *rows = csv.reader(stream)
        after = heading.index("after")
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(heading)
        for number in range(n_rows):
            row, turn = list(rows[number % len(rows)]), number // len(rows)
            row[0] = f"{row[0]}-{turn}"
            row[after] = row[after] and f"{row[after]}-{turn}"
            writer.writerow(row)


def run(what: str, env: dict[str, str], *arguments: str) -> None:
    start = time.perf_counter()
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    done = subprocess.run([sys.executable, "-m", "faultnet", *arguments], env=env, capture_output=True, text=True)
    if done.returncode:
        sys.exit(done.stderr)
    largest = max(before, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
    print(f"{what:10} {time.perf_counter() - start:7.1f} s   largest so far {largest / 2**10:6.0f} MB")


if __name__ == "__main__":
    main()
