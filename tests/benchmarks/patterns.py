"""What it costs to reduce ten million jobs to patterns of evidence, beside pandas grouping the same columns.

    python tests/benchmarks/patterns.py [--rows 10000000] [--kinds 100000] [--history FILE]

A made-up history of `kinds` jobs (5 minutes for 100,000) is written again and again to one Parquet file, under new
numbers and with its volts a little different each time. Prints seconds and the largest resident size of each step's
own process, and checks that both count the same jobs.
"""

import argparse
import os
import re
import subprocess
import sys
import time
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

ROOT = Path(__file__).resolve().parents[2]
VOLTS = ("loaded_voltage", "loaded_voltage_peak", "open_voltage")
VARIANTS = 20

PATTERNS = """
from faultnet.counting import count_patterns
from faultnet.files import load_model
patterns = count_patterns({file!r}, load_model("backlight"))
print(len(patterns), patterns.n_jobs + sum(left.jobs for left in patterns.left_out))
"""

PANDAS = """
import duckdb
import pandas as pd
from faultnet.files import load_model
ending = ["given", "then", "nominal", "tests", "age", "outcome", "verification", "stage"]
names = [*load_model("backlight").visible, *ending]
columns = ", ".join(f'"{{name}}"' for name in names)
frame = duckdb.sql(f"SELECT {{columns}} FROM read_parquet({file!r}) WHERE outcome <> ''").df().astype("category")
counts = frame.groupby(names, dropna=False, observed=True).size()
print(len(counts), int(counts.sum()))
"""


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--rows", type=int, default=10_000_000)
    parser.add_argument("--kinds", type=int, default=100_000)
    parser.add_argument("--history", type=Path, help="the history of `kinds` jobs, if it was made before")
    told = parser.parse_args()
    with TemporaryDirectory() as name:
        kinds, many = told.history or Path(name) / "kinds.parquet", Path(name) / "many.parquet"
        simulate = ["simulate", "backlight", "--jobs", str(told.kinds), "--seed", "6", "--out", str(kinds)]
        if told.history is None:
            command = [sys.executable, "-m", "faultnet", *simulate]
            subprocess.run(command, check=True, env=environment(), capture_output=True)
        repeat(kinds, many, told.rows // told.kinds)
        print(f"{told.rows} rows, {many.stat().st_size / 2**20:.0f} MB of Parquet")
        ours, theirs = (
            run(what, text.format(file=str(many))) for what, text in (("patterns", PATTERNS), ("pandas", PANDAS))
        )
        print(
            f"pandas takes {theirs / ours:.1f} times as long, for rows as they stand: nothing read, rounded or ordered"
        )


def environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), "FAULTNET_SHOP": os.devnull}


def repeat(kinds: Path, many: Path, times: int) -> None:
    """The same jobs again and again, each time under new numbers and read on another day: volts within .3 %."""
    import duckdb
    import pandas as pd

    rng = Random(1)
    database = duckdb.connect(config={"preserve_insertion_order": "false", "memory_limit": "3GB"})
    database.execute(f"CREATE TABLE kinds AS SELECT * FROM read_parquet('{kinds}')")
    for column in VOLTS:
        cells = [cell for (cell,) in database.execute(f"SELECT DISTINCT {column} FROM kinds").fetchall() if cell]
        varied = [(cell, n, another(cell, rng)) for cell in cells for n in range(VARIANTS)]
        frame = pd.DataFrame(varied, columns=["cell", "n", "another"])  # noqa: F841 (DuckDB reads it by its name)
        database.execute(f"CREATE TABLE other_{column} AS SELECT * FROM frame")
    joins = " ".join(
        f"LEFT JOIN other_{c} ON other_{c}.cell = k.{c} AND other_{c}.n = hash(k.job, g.n, '{c}') % {VARIANTS}"
        for c in VOLTS
    )
    others = ", ".join(f"other_{column}.another AS {column}" for column in VOLTS)
    database.execute(
        f"COPY (SELECT k.* EXCLUDE ({', '.join(VOLTS)}, job, after), k.job || '-' || g.n AS job, "
        f"k.after || '-' || g.n AS after, {others} FROM kinds k CROSS JOIN range({times}) g(n) {joins}) "
        f"TO '{many}' (FORMAT parquet)"
    )


def another(cell: str, rng: Random) -> str:
    """A cell with its volts read again."""

    def again(found: re.Match[str]) -> str:
        return f"{float(found[0]) * rng.gauss(1, 0.003):.1f}".removesuffix(".0")

    volts, mark, told = cell.partition("@")
    is_reading = volts[:1].isdigit()
    return (re.sub(r"(?<![\w.])\d+(\.\d+)?", again, volts) if is_reading else volts) + mark + told


def run(what: str, text: str) -> float:
    """Seconds of a process of its own; what it printed, and its largest resident size, are shown."""
    start = time.perf_counter()
    done = subprocess.Popen([sys.executable, "-c", text], env=environment(), stdout=subprocess.PIPE, text=True)
    assert done.stdout is not None
    printed = done.stdout.read().strip()
    _, status, used = os.wait4(done.pid, 0)
    seconds = time.perf_counter() - start
    n_groups, n_jobs = printed.splitlines()[-1].split() if status == 0 else ("-", "-")
    print(f"{what:9} {seconds:6.1f} s  {used.ru_maxrss / 2**10:6.0f} MB  {n_groups} groups of {n_jobs} jobs")
    return seconds


if __name__ == "__main__":
    main()
