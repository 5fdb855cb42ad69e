"""The same queries on a Spark in local mode, run by hand: the road for histories past one machine.

    pip install -e '.[spark]'          (and a Java runtime, 17)
    python tests/benchmarks/on_spark.py [--jobs 5000]

A made-up history is written to Parquet and counted by DuckDB and by Spark; the texts of all queries and all patterns
must be the same.
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from pyspark.sql import SparkSession

from faultnet.counting.columns import Lookup, columns_by
from faultnet.counting.count import count
from faultnet.counting.files import asked_files
from faultnet.counting.statement import columns_of
from faultnet.files import load_model
from faultnet.history.row import columns, row_of
from faultnet.patterns import Patterns
from faultnet.sheets.write import write_table
from faultnet.simulate.shop import simulate

COUNTED: dict[str, Any] = {"voltages": (), "a_decade": 96}


class OnSpark:
    """A history in a Spark session, as `count` asks it."""

    def __init__(self, session: SparkSession) -> None:
        self.session = session
        self.asked: list[str] = []

    def rows(self, query: str) -> Iterator[Sequence[Any]]:
        self.asked.append(query)
        yield from self.session.sql(query).toLocalIterator()

    def keep(self, lookup: Lookup, rows: Iterable[tuple[str, ...]]) -> None:
        schema = ", ".join(f"{name} STRING" for name in (*lookup.columns, "said"))
        self.session.createDataFrame(list(rows), schema).createOrReplaceTempView(lookup.name)

    def drawn(self, _where: str, _most_jobs: int) -> str:
        return "history"


class Told:
    """Another history that keeps what it was asked."""

    def __init__(self, history: Any) -> None:
        self.keep, self.drawn, self._rows = history.keep, history.drawn, history.rows
        self.asked: list[str] = []

    def rows(self, query: str) -> Iterator[Sequence[Any]]:
        self.asked.append(query)
        return self._rows(query)


def as_counts(patterns: Patterns) -> Counter[str]:
    return Counter({repr(pattern): int(n) for pattern, n in zip(patterns, patterns.jobs, strict=True)})


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=5000)
    told = parser.parse_args()
    model = load_model("backlight")
    with TemporaryDirectory() as folder:
        file = Path(folder) / "jobs.parquet"
        made_up = simulate(model, told.jobs, seed=8).jobs
        write_table(file, columns([model]), (row_of(job, model) for job in made_up))
        with asked_files([file], model) as files:
            in_duckdb = Told(files)
            wanted = count(in_duckdb, model, by=columns_by(["month"], model, str), **COUNTED)
        session = SparkSession.builder.master("local[2]").config("spark.ui.enabled", "false").getOrCreate()
        frame = session.read.parquet(str(file))
        renamed = [f"COALESCE(`{column}`, '') AS {name}" for column, name in columns_of(model).items()]
        frame.selectExpr(*renamed).createOrReplaceTempView("history")
        on_spark = OnSpark(session)
        start = time.perf_counter()
        found = count(on_spark, model, by=columns_by(["month"], model, str), **COUNTED)
        seconds = time.perf_counter() - start
        version = session.version
        session.stop()
    same_text, same_counts = on_spark.asked == in_duckdb.asked, as_counts(found) == as_counts(wanted)
    print(f"Spark {version}, local[2]: {found.n_jobs} jobs, {len(found)} patterns in {seconds:.1f} s")
    print(f"same text of all {len(on_spark.asked)} queries: {same_text}; same patterns, counts and rest: "
          f"{same_counts and found.apart == wanted.apart and found.left_out == wanted.left_out}")  # fmt: skip
    sys.exit(0 if same_text and same_counts else 1)


if __name__ == "__main__":
    main()
