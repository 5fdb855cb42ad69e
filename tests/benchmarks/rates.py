"""What shares over ten million jobs in Parquet take: labels counted, and jobs weighed.

    python tests/benchmarks/rates.py [--rows 10000000] [--kinds 100000] [--history FILE] [--many FILE]

The file is that of `patterns.py` (`--many`: one made before). Prints seconds and the largest resident size of each
question's own process: of counts by one column and by two, of days until comebacks, of pandas counting two columns,
and of jobs weighed by the numbers as they are (a sample of 4,000 weighed, all counted).
"""

import argparse
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from patterns import environment, repeat, run

COUNTED = """
from faultnet import load_model, rates
found = rates({file!r}, load_model("backlight@0"), "component", {by!r}, counted_only=True)
print(len(found.shares), found.n_jobs)
"""

WEIGHED = """
from faultnet import load_model, rates
found = rates({file!r}, load_model("backlight@0"), "component", {by!r})
print(len(found.shares), found.n_jobs)
"""

COMEBACKS = """
from faultnet import comebacks, load_model
found = comebacks({file!r}, load_model("backlight@0"))
print(len(found.groups), found.n_jobs)
"""

PANDAS = """
import duckdb
frame = duckdb.sql("SELECT panel, \\"then\\", outcome, comeback FROM read_parquet('{file}')").df()
frame = frame[(frame["outcome"].fillna("") != "") & (frame["comeback"] != "same")]
counts = frame.groupby(["panel", "then"], dropna=False).size()
print(len(counts), int(counts.sum()))
"""


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--rows", type=int, default=10_000_000)
    parser.add_argument("--kinds", type=int, default=100_000)
    parser.add_argument("--history", type=Path, help="the history of `kinds` jobs, if it was made before")
    parser.add_argument("--many", type=Path, help="the whole file, if it was made before")
    told = parser.parse_args()
    with TemporaryDirectory() as name:
        many = told.many or made(told, Path(name))
        print(f"{many.stat().st_size / 2**20:.0f} MB of Parquet")
        questions = [
            ("counted, all", COUNTED, ()),
            ("counted, by panel group", COUNTED, ("panel_group",)),
            ("counted, by age and month", COUNTED, ("age", "month")),
            ("comebacks", COMEBACKS, ()),
            ("pandas, by panel and then", PANDAS, ()),
            ("weighed, all", WEIGHED, ()),
            ("weighed, by panel group", WEIGHED, ("panel_group",)),
        ]
        for what, text, by in questions:
            run(f"{what:26}", text.format(file=str(many), by=by))


def made(told: argparse.Namespace, folder: Path) -> Path:
    kinds, many = told.history or folder / "kinds.parquet", folder / "many.parquet"
    if told.history is None:
        simulate = ["simulate", "backlight", "--jobs", str(told.kinds), "--seed", "6", "--out", str(kinds)]
        subprocess.run([sys.executable, "-m", "faultnet", *simulate], check=True, env=environment())
    repeat(kinds, many, told.rows // told.kinds)
    return many


if __name__ == "__main__":
    main()
