"""Histories reduced to patterns of evidence: each says what its jobs say, and every database counts the same."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from math import log
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import duckdb
import networkx as nx  # type: ignore[import-untyped]
import numpy as np
import pandas as pd
import pytest
import sqlalchemy as sa
from hypothesis import given, settings
from hypothesis import strategies as st
from test_workshop import Clock

from faultnet.case import Case, believe, parse_events
from faultnet.case.events import Finding
from faultnet.counting import count_patterns
from faultnet.counting.count import CAME_BACK, count
from faultnet.counting.database import PLACED, asked_database, rows_query
from faultnet.counting.files import Files, asked_files
from faultnet.cpt import Table
from faultnet.errors import ContradictoryEvidence, FileProblem, UsageProblem
from faultnet.files import load_model
from faultnet.history.row import columns, row_of
from faultnet.jobs import Closing, Entry, Job
from faultnet.jobs.entry import entry_of
from faultnet.jobs.replay import replayed
from faultnet.model import Model
from faultnet.network import Network, Node
from faultnet.patterns import Pattern, Patterns
from faultnet.patterns.apart import Blankets
from faultnet.patterns.coarse import coarse_volts
from faultnet.patterns.split import split
from faultnet.readings import Nominal
from faultnet.sheets.write import write_table
from faultnet.shop import Shop
from faultnet.shop.groups import PanelGroups
from faultnet.shop.nominal import known_nominal
from faultnet.simulate.shop import simulate
from faultnet.store.database import Database, open_database
from faultnet.store.jobs import insert_job
from faultnet.workshop.ending import close
from faultnet.workshop.entering import add_entries, correct, take_back
from faultnet.workshop.importing import Source, take_in
from faultnet.workshop.opening import Opening, open_job
from faultnet.workshop.workshop import Workshop, nominal_typed


@cache
def backlight() -> Model:
    return load_model("backlight")


@cache
def made_up(n_jobs: int) -> tuple[Job, ...]:
    return tuple(simulate(backlight(), n_jobs, seed=3).jobs)


def table_of(jobs: Sequence[Job], file: Path) -> Path:
    write_table(file, columns([backlight()]), (row_of(job, backlight()) for job in jobs))
    return file


def as_counts(patterns: Patterns) -> Counter[str]:
    return Counter({repr(pattern): int(n) for pattern, n in zip(patterns, patterns.jobs, strict=True)})


def nominal_of(job: Job) -> Nominal | None:
    return known_nominal(nominal_typed(job), list).nominal


# -- a pattern says what its jobs say ----------------------------------------------------------------------------------


def log_evidence_apart(model: Model, pattern: Pattern, case: Case) -> float:
    """What the findings say that left the key: of the shipped model `sound` alone, which hangs on nothing."""
    sound = model.observations["sound"]
    counted = [case.events[n] for n in case.order(model).place]
    findings = [event for event in counted if isinstance(event, Finding) and event.observation == "sound"]
    apart = [] if "'sound'" in repr(pattern.items) else findings
    seen = sum(log(sound.table[0].probabilities[sound.states.index(finding.state)]) for finding in apart)
    left = [name for name in case.given if name not in pattern.given]
    shares = (model.conditions[name].shares[model.conditions[name].states.index(case.given[name])] for name in left)
    return float(seen + sum(map(log, shares)))


def differences(jobs: Sequence[Job], folder: Path, a_decade: int) -> np.ndarray:
    """Of every job its log evidence less that of its pattern, in nats; the jobs are kept apart by who opened them."""
    model = backlight()
    ended = [replace(job, opened_by=job.number) for job in jobs if job.closing is not None]
    by_number = {job.number: job for job in ended}
    patterns = count_patterns(table_of(ended, folder / "jobs.parquet"), model, by=("technician",), a_decade=a_decade)
    assert patterns.n_jobs == len(ended) == len(patterns)
    assert not patterns.left_out
    found = []
    for pattern in patterns:
        job = by_number[pattern.by[0]]
        case = replayed(job, model, Case(nominal=nominal_of(job)), by_number.get(job.after)).case
        own = believe(model, case).log_evidence - log_evidence_apart(model, pattern, case)
        found.append(own - model.compiled.engine.belief(pattern.steps(model)).log_evidence)
    return np.array(found)


def test_patterns_weigh_what_their_jobs_weigh(tmp_path: Path) -> None:
    """Of 400 made-up jobs, with tests that alter the set, repairs, comebacks and repeated findings, to 1e-9 nats."""
    assert np.abs(differences(made_up(400), tmp_path, 0)).max() < 1e-9


def test_rounding_changes_little(tmp_path: Path) -> None:
    """To E96: .02 nats in the mean over all jobs, and no job by more than .5 (measured: .015 and .45)."""
    changed = np.abs(differences(made_up(400), tmp_path, 96))
    assert changed.mean() < 0.02
    assert changed.max() < 0.5


EVENTS = (
    "sound=present",
    "flashlight=image_seen",
    "flashlight=no_image@unknown",
    "startup_flash=none@by:bo",
    "startup_flash=flash_then_off",
    "loaded_voltage=0",
    "loaded_voltage=61.5",
    "loaded_voltage=normal",
    "open_voltage=88,90",
    "open_voltage=0@settled",
    "open_voltage=OL",
    "strip_tester=dark",
    "strip_tester=all_light_ok:0.7,dark:0.3",
    "diode_test=over_range",
    "visual=nothing",
    "tap_test=no_change@not_showing",
    "replace_strips=not",
    "replace_driver=not",
    "repair_cable=not",
    "replace_strips+replace_driver=works",
)


@settings(max_examples=60)
@given(st.lists(st.sampled_from(EVENTS), max_size=9), st.sampled_from(["", "74"]))
def test_any_sequence_weighs_the_same_as_a_pattern(texts: list[str], nominal: str) -> None:
    """Repeats, replaced entries, readings on both sides of a repair, tests that alter: to 1e-9 nats."""
    model = backlight()
    entries = [entry_of(event) for event in parse_events(model, texts)]
    entries += [Entry("fact", "nominal", nominal)] if nominal else []
    numbered = tuple(replace(entry, seq=n, place=n) for n, entry in enumerate(entries, start=1))
    ended = next(job for job in made_up(400) if job.closing is not None)
    job = replace(ended, entries=numbered, parts=(), after="")
    with TemporaryDirectory() as folder:
        try:
            off = differences([job], Path(folder), 0)
        except ContradictoryEvidence:
            return  # of the case, which is asked first
    assert np.abs(off).max() < 1e-9


def test_jobs_that_say_the_same_are_one_pattern(tmp_path: Path) -> None:
    """In another order, by somebody else, with an entry that was replaced, or read at several points of one feed."""
    rows = [
        {"flashlight": "image_seen", "visual": "nothing", "tests": "flashlight visual", "loaded_voltage": "61.9"},
        {"flashlight": "image_seen@by:bo", "visual": "nothing", "tests": "visual flashlight", "loaded_voltage": "62"},
        {"flashlight": "no_image; image_seen", "visual": "nothing", "loaded_voltage": "61.8,61.9,62.4"},
    ]
    ended = {"outcome": "fixed", "verification": "not_verified", "stage": "done", "then": "replace_strips=works"}
    file = tmp_path / "jobs.csv"
    names = columns([backlight()])
    write_table(file, names, [{"job": str(n), **row, **ended} for n, row in enumerate(rows)])
    patterns = count_patterns(file, backlight())
    assert patterns.jobs.tolist() == [3]
    assert patterns[0].came_back == "no"
    assert len(count_patterns(file, backlight(), a_decade=0)) == 3  # three different readings


def test_order_matters_where_a_test_alters_the_set(tmp_path: Path) -> None:
    """Plugging the cable in again may cure it: what was seen before says something else than what was seen after."""
    common = {"flashlight": "image_seen", "open_voltage": "zero", "outcome": "fixed"}
    rows = [{**common, "tests": "flashlight open_voltage"}, {**common, "tests": "open_voltage flashlight"}]
    write_table(tmp_path / "jobs.csv", columns([backlight()]), rows)
    assert count_patterns(tmp_path / "jobs.csv", backlight()).jobs.tolist() == [1, 1]


# -- every database counts the same ------------------------------------------------------------------------------------


@pytest.fixture
def shop(database_url: str, tmp_path: Path) -> Iterator[Database]:
    """A shop with 400 past jobs, of which one entry was corrected and one taken back since."""
    database = open_database(database_url)
    workshop = Workshop(Shop(), database, Clock())
    take_in(workshop, Source(table_of(made_up(400), tmp_path / "past.parquet"), backlight()), partial=False)
    yield database
    database.close()


def test_every_database_counts_the_same_patterns(shop: Database, tmp_path: Path) -> None:
    """A shop's database, one Parquet file, and CSV in three files."""
    wanted = count_patterns(table_of(made_up(400), tmp_path / "jobs.parquet"), backlight(), by=("month",))
    for n in range(3):
        table_of(made_up(400)[n::3], tmp_path / f"part-{n}.csv")
    in_parts = count_patterns(tmp_path / "part-*.csv", backlight(), by=("month",))
    in_shop = count_patterns(shop, backlight(), by=("month",))
    assert wanted.n_jobs > 350
    for other in (in_parts, in_shop):
        assert as_counts(other) == as_counts(wanted)
        assert other.apart == wanted.apart
        assert [repr(pattern) for pattern in other] == [repr(pattern) for pattern in wanted]
    with shop.read() as connection:
        assert connection.execute(sa.text("SELECT COUNT(*) FROM jobs")).scalar() == len(made_up(400))


class Told:
    """A history that keeps what it was asked."""

    def __init__(self, history: Any) -> None:
        self.history = history
        self.asked: list[str] = []

    def rows(self, query: str) -> Iterator[Sequence[Any]]:
        self.asked.append(query)
        yield from self.history.rows(query)

    def keep(self, lookup: Any, rows: Any) -> None:
        self.history.keep(lookup, rows)

    def drawn(self, where: str, most_jobs: int) -> str:
        return self.history.drawn(where, most_jobs)


PLAINLY: dict[str, Any] = {"by": (), "voltages": (), "a_decade": 96}


def test_the_text_of_the_queries_is_the_same_everywhere(shop: Database, tmp_path: Path) -> None:
    """What is asked of the relation `history`, and what makes it from entries: the latter is run in DuckDB, too."""
    with asked_files([table_of(made_up(400), tmp_path / "jobs.parquet")], backlight()) as files:
        in_files = Told(files)
        wanted = count(in_files, backlight(), **PLAINLY)
    with asked_database(shop, backlight()) as asked:
        in_shop = Told(asked)
        count(in_shop, backlight(), **PLAINLY)
    assert in_files.asked == in_shop.asked
    assert '"' not in "".join(in_files.asked)  # identifiers are quoted differently elsewhere

    database = duckdb.connect()
    with shop.read() as connection:
        for name in ("jobs", "closings", "parts", "standing_entries"):
            rows = connection.execute(sa.text(f"SELECT * FROM {name}"))
            frame = pd.DataFrame(rows.fetchall(), columns=list(rows.keys()))
            database.register("frame", frame)
            database.execute(f"CREATE TABLE {name} AS SELECT * FROM frame")
    database.execute(f"CREATE TABLE placed AS {PLACED}")
    database.execute(f"CREATE TABLE history AS {rows_query(backlight(), 20, 4, 20, 4)}")
    assert as_counts(count(Files(database), backlight(), **PLAINLY)) == as_counts(wanted)


def test_entries_that_were_corrected_or_taken_back_do_not_count(workshop: Workshop) -> None:
    """A job at the bench with slips, and one that was written down right at once, are one pattern of two jobs."""
    straight = ["flashlight=image_seen", "open_voltage=64.2"]
    slips = ["flashlight=no_image", "visual=bulged_cap", "open_voltage=64.2"]
    for number, texts in (("1", straight), ("2", slips)):
        open_job(workshop, Opening("backlight", number, {"age": "4", "nominal": "61"}, ("strings=one",)))
        events = parse_events(backlight(), texts)
        seqs = {entry.name: entry.seq for entry in add_entries(workshop, number, [entry_of(e) for e in events])}
    correct(workshop, "2", seqs["flashlight"], "flashlight=image_seen")
    take_back(workshop, "2", seqs["visual"])
    for number in ("1", "2"):
        close(workshop, number, Closing("declined", "not_verified", None, None, None, None, "", "", "", None))
    patterns = count_patterns(workshop.database, backlight())
    assert patterns.jobs.tolist() == [2]
    assert patterns[0].given == {"age_band": "from_2_to_10_years", "strings": "one"}
    assert patterns[0].nominal is not None


def test_what_nobody_can_read_is_left_out_of_a_shop_too(workshop: Workshop) -> None:
    """The reason goes through the database; sizes are counted by as they were written."""
    for number, leds in (("1", "18"), ("2", "a few")):
        job = replace(made_up(400)[0], number=number, after="", parts=(), closing=None, stage="open", entries=())
        facts = [Entry("fact", "leds", leds), Entry("fact", "size", "50", unit="inch")]
        with workshop.database.write() as connection:
            insert_job(connection, job)
        add_entries(workshop, number, [*facts, entry_of(parse_events(backlight(), ["loaded_voltage=54"])[0])])
        close(workshop, number, Closing("declined", "not_verified", None, None, None, None, "", "", "", None))
    patterns = count_patterns(workshop.database, backlight(), by=("size",))
    assert [(pattern.by, int(n)) for pattern, n in zip(patterns, patterns.jobs, strict=True)] == [
        (("40 to 52 inch",), 1)
    ]
    assert [left.jobs for left in patterns.left_out] == [1]
    assert "a few" in patterns.left_out[0].why


# -- what is counted, and what is not ----------------------------------------------------------------------------------


def test_nothing_is_lost(tmp_path: Path) -> None:
    """What nobody can read is left out with the reason; open jobs have not ended, and do not count."""
    ended = {"outcome": "declined", "stage": "done", "flashlight": "image_seen"}
    rows = [
        ended,
        {**ended, "flashlight": "sunny"},
        {**ended, "open_voltage": "64 ohm"},
        {**ended, "loaded_voltage": "12", "nominal": "many"},
        {**ended, "age": "old"},
        {**ended, "given": "strings=seven"},
        {**ended, "outcome": "mended"},
        {**ended, "verification": "sure"},
        {"flashlight": "image_seen", "stage": "open"},
        {**ended, "model": "intake"},
    ]
    write_table(tmp_path / "jobs.csv", columns([backlight()]), rows)
    patterns = count_patterns(tmp_path / "jobs.csv", backlight())
    assert patterns.jobs.tolist() == [1]
    reasons = "\n".join(left.why for left in patterns.left_out)
    assert sum(left.jobs for left in patterns.left_out) == 7
    for word in ("sunny", "64 ohm", "many", "old", "strings=seven", "mended", "sure"):
        assert word in reasons


def test_how_a_job_ended_and_came_back(tmp_path: Path) -> None:
    """`same` and `other` by the job that came later, `open` while the watch goes on; that job knows of the repair."""
    fixed = {"outcome": "fixed", "verification": "part_tested", "then": "replace_strips=works"}
    rows = [
        {"job": "1", **fixed, "stage": "done"},
        {"job": "2", "after": "1", "comeback": "same", **fixed, "stage": "watched"},
        {"job": "3", **fixed, "stage": "done"},
        {"job": "4", "after": "3", "comeback": "other", "outcome": "declined", "stage": "done"},
        {"job": "5", "outcome": "declined", "stage": "done"},
        {"job": "6", "after": "5", "comeback": "same", **fixed, "stage": "done"},
    ]
    write_table(tmp_path / "jobs.csv", columns([backlight()]), [{"opened_by": row["job"], **row} for row in rows])
    patterns = {p.by[0]: p for p in count_patterns(tmp_path / "jobs.csv", backlight(), by=("technician",))}
    assert {number: p.came_back for number, p in patterns.items()} == {
        "1": "same", "2": "open", "3": "other", "4": "", "5": "", "6": "no",
    }  # fmt: skip
    assert patterns["2"].given["event_before"] == "backlight_repaired"
    assert patterns["4"].given["event_before"] == "backlight_repaired"
    assert "event_before" not in patterns["6"].given  # nothing had been repaired
    assert patterns["1"].verification == "part_tested"


def test_jobs_are_counted_by_group_and_time(tmp_path: Path) -> None:
    """Codes are the same however they are written; `before` leaves out what came in later."""
    row = {"outcome": "declined", "stage": "done", "flashlight": "image_seen"}
    rows = [
        {**row, "panel": "MRT-32A", "opened": "2031-05-17T09:00:00+00:00"},
        {**row, "panel": "mrt 32a", "opened": "2031-05-30T09:00:00+00:00"},
        {**row, "panel": "HRN-43C", "opened": "2031-06-02T09:00:00+00:00"},
    ]
    file = tmp_path / "jobs.csv"
    write_table(file, columns([backlight()]), rows)
    groups = PanelGroups({"marten": ("MRT-32A",)})
    by_group = count_patterns(file, backlight(), by=("panel_group", "month"), group_of=groups.group_of)
    assert {p.by: int(n) for p, n in zip(by_group, by_group.jobs, strict=True)} == {
        ("marten", "2031-05"): 2,
        ("HRN43C", "2031-06"): 1,
    }  # fmt: skip
    assert count_patterns(file, backlight(), before="2031-06-01").n_jobs == 2
    with pytest.raises(UsageProblem, match="panel_group"):
        count_patterns(file, backlight(), by=("colour",))
    with pytest.raises(UsageProblem, match="write a day"):
        count_patterns(file, backlight(), before="' OR 1=1")


def test_older_jobs_count_for_less(tmp_path: Path) -> None:
    """With a half-life of 6 months: 1 in the last month, a half 6 months before, a quarter 12 months before."""
    row = {"outcome": "declined", "stage": "done", "flashlight": "image_seen"}
    rows = [
        {**row, "opened": "2030-05-17T09:00:00+00:00"},
        {**row, "opened": "2030-11-30T09:00:00+00:00"},
        {**row, "opened": "2031-05-02T09:00:00+00:00", "panel": "HRN-43"},
        {**row, "opened": "2031-05-02T09:00:00+00:00", "flashlight": "no_image"},
        {**row, "opened": "soon"},
    ]
    file = tmp_path / "jobs.csv"
    write_table(file, columns([backlight()]), rows)
    faded = count_patterns(file, backlight(), half_life_months=6)
    assert [*faded.jobs] == pytest.approx([1.75, 1.0])
    assert (faded.n_jobs, faded.counts_for) == (4, pytest.approx(2.75))
    assert [(left.jobs, left.why) for left in faded.left_out] == [
        (1, "no day of intake: how old the job is cannot be told")
    ]
    grouped = split(count_patterns(file, backlight(), by=("panel",), half_life_months=6))
    assert (grouped.values, grouped.columns) == ((("",), ("HRN-43",)), ("panel",))
    assert [*grouped.patterns.jobs] == pytest.approx([1.75, 1.0])
    assert grouped.of("HRN-43")[1] == pytest.approx([1.0])
    assert sorted(grouped.of("")[1]) == pytest.approx([0.75, 1.0])
    plain = count_patterns(file, backlight())
    assert [*plain.jobs] == [4, 1]
    with pytest.raises(UsageProblem, match=r"a half-life of 0\.01 months: at least 0\.5"):
        count_patterns(file, backlight(), half_life_months=0.01)


def test_a_set_that_came_back_is_no_case_of_its_own(tmp_path: Path) -> None:
    """With the same complaint; with another it is. What is left out is told, by date as well."""
    row = {"outcome": "declined", "stage": "done", "flashlight": "image_seen", "opened": "2031-05-02T09:00:00+00:00"}
    rows = [
        {**row, "job": "1"},
        {**row, "job": "2", "after": "1", "comeback": "same"},
        {**row, "job": "3", "after": "1", "comeback": "other"},
        {**row, "job": "4", "after": "1", "comeback": "same", "opened": "2031-07-02T09:00:00+00:00"},
    ]
    file = tmp_path / "jobs.csv"
    write_table(file, columns([backlight()]), rows)
    assert count_patterns(file, backlight()).n_jobs == 4
    cases = count_patterns(file, backlight(), with_returned=False)
    assert (cases.n_jobs, [(left.why, left.jobs) for left in cases.left_out]) == (2, [(CAME_BACK, 2)])
    earlier = count_patterns(file, backlight(), before="2031-06-01", with_returned=False)
    assert (earlier.n_jobs, [left.jobs for left in earlier.left_out]) == (2, [1])


def test_some_of_the_jobs_at_random() -> None:
    """A share of the jobs, not of the patterns; patterns with none left are gone, the others in the same order."""
    model = backlight()
    events = [Finding("flashlight", state) for state in model.states_of("flashlight")]
    patterns = Patterns.of(model.id, [(Pattern((events[0],)), 10_000), *((Pattern((each,)), 1) for each in events[1:])])
    some = patterns.thinned(0.25, seed=3)
    assert some.n_jobs == int(some.jobs.sum())
    assert some.jobs[0] == pytest.approx(2_500, abs=150)
    assert {*some.keys} <= {*patterns.keys}
    assert [each.items for each in patterns.thinned(1.0)] == [each.items for each in patterns]
    assert [*patterns.thinned(1.0).jobs] == [*patterns.jobs]


def test_files_that_are_no_history(tmp_path: Path) -> None:
    """What is wrong, and what to do."""
    (tmp_path / "list.csv").write_text("name,town\na,b\n")
    with pytest.raises(FileProblem, match="history import"):
        count_patterns(tmp_path / "list.csv", backlight())
    with pytest.raises(UsageProblem, match="no such file"):
        count_patterns([tmp_path / "gone.parquet", tmp_path / "none-*.csv"], backlight())
    (tmp_path / "torn.parquet").write_bytes(b"PAR1 torn")
    with pytest.raises(FileProblem, match="damaged"):
        count_patterns(tmp_path / "torn.parquet", backlight())
    (tmp_path / "old.csv").write_bytes("outcome,flashlight\nfixed,Gerät\n".encode("cp1252"))
    with pytest.raises(FileProblem, match="UTF-8"):
        count_patterns(tmp_path / "old.csv", backlight())


# -- d-separation ------------------------------------------------------------------------------------------------------


@settings(max_examples=200)
@given(st.randoms(use_true_random=False))
def test_what_leaves_the_key_is_d_separated(rng: Random) -> None:
    """In random networks without rules, against networkx `is_d_separator`: every root and every seen leaf."""
    n_roots, n_middle, n_leaves = rng.randint(2, 4), rng.randint(1, 3), rng.randint(1, 4)
    nodes: list[Node] = []

    def add(name: str, parents: Sequence[str]) -> None:
        nodes.append(Node(name, ("a", "b"), tuple(parents), Table.full(np.full((2,) * (len(parents) + 1), 0.5))))

    roots = [f"root_{n}" for n in range(n_roots)]
    for name in roots:
        add(name, [])
    middle = [f"part_{n}" for n in range(n_middle)]
    for n, name in enumerate(middle):
        add(name, rng.sample([*roots, *middle[:n]], rng.randint(0, 2)))
    leaves = [f"leaf_{n}" for n in range(n_leaves)]
    for name in leaves:
        add(name, rng.sample([*roots, *middle], rng.randint(0, 2)))
    network = Network.of(nodes)
    known = set(rng.sample(roots, rng.randint(0, n_roots)))
    seen = set(rng.sample(leaves, rng.randint(0, n_leaves)))
    graph = nx.DiGraph([(parent, node.id) for node in network.nodes for parent in node.parents])
    graph.add_nodes_from(node.id for node in network.nodes)
    hidden = {node.id for node in network.nodes} - known - seen - set(leaves)
    blankets = Blankets(network, middle)
    for node in known | seen:
        wanted = nx.is_d_separator(graph, {node}, hidden, (known | seen) - {node}) if hidden else True
        assert (node in blankets.candidates and blankets.is_apart(node, known, seen)) == wanted


def test_what_leaves_the_key_is_counted(tmp_path: Path) -> None:
    """What the output shows when off matters once volts were read; `sound` hangs on nothing in this model."""
    row = {"outcome": "declined", "stage": "done", "given": "off_output=rail", "sound": "present"}
    rows = [row, {**row, "flashlight": "image_seen"}, {**row, "loaded_voltage": "60"}]
    write_table(tmp_path / "jobs.csv", columns([backlight()]), rows)
    patterns = count_patterns(tmp_path / "jobs.csv", backlight())
    counted = {(each.node, each.state): each.jobs for each in patterns.apart}
    assert counted == {("sound", "present"): 3, ("off_output", "rail"): 2}
    assert [("off_output" in p.given) for p in patterns if "loaded_voltage" in repr(p.items)] == [True]
    assert "sound" not in repr(list(patterns))


# -- preferred numbers -------------------------------------------------------------------------------------------------

E96 = """
100 102 105 107 110 113 115 118 121 124 127 130 133 137 140 143 147 150 154 158 162 165 169 174 178 182 187 191 196 200
205 210 215 221 226 232 237 243 249 255 261 267 274 280 287 294 301 309 316 324 332 340 348 357 365 374 383 392 402 412
422 432 442 453 464 475 487 499 511 523 536 549 562 576 590 604 619 634 649 665 681 698 715 732 750 768 787 806 825 845
866 887 909 931 953 976
"""
"""The E96 series of IEC 60063 (from memory)."""


def test_volts_are_rounded_to_the_e96_series() -> None:
    """Every number of the series is reached and stays; what lies between goes to one of its neighbours."""
    series = [int(number) for number in E96.split()]
    assert len(series) == 96
    assert [round(coarse_volts(number / 10, 96) * 10) for number in series] == series
    assert sorted({round(coarse_volts(v / 100, 96) * 10) for v in range(1000, 9870)}) == series


@given(st.floats(0, 1500), st.sampled_from([24, 48, 96, 192]))
def test_rounding_moves_by_half_a_step_at_most_and_only_once(volts: float, a_decade: int) -> None:
    rounded = coarse_volts(volts, a_decade)
    assert coarse_volts(rounded, a_decade) == rounded
    if volts >= 0.05:
        assert abs(log(rounded / volts)) <= log(10) / a_decade / 2 + 0.005  # three digits
    else:
        assert rounded == 0
