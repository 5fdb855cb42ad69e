"""What is told as blocks: the same after a way through JSON, and on a terminal within its width."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from faultnet.cli.blocks import text_of
from faultnet.telling.block import Block, Line, Table, as_data, blocks_from_data, points
from faultnet.telling.paper import Paper, html_text

TEXTS = st.text(max_size=20)
LINES = st.lists(st.builds(Line, TEXTS, st.integers(0, 2), st.booleans()), max_size=3).map(tuple)
TABLES = st.builds(
    Table,
    st.lists(st.tuples(TEXTS, TEXTS), max_size=3).map(tuple),
    st.just(()) | st.tuples(TEXTS, TEXTS),
    st.sampled_from(["", "lr"]),
    st.just(()) | st.just((30, 70)),
    st.booleans(),
    st.none() | st.just(1),
)
BLOCKS = st.builds(Block, TEXTS, TEXTS, LINES, st.none() | TABLES, LINES, st.booleans(), st.booleans())


@given(st.lists(BLOCKS, max_size=4))
def test_blocks_are_the_same_after_a_way_through_json(blocks: list[Block]) -> None:
    assert blocks_from_data(json.loads(json.dumps(as_data(blocks)))) == tuple(blocks)


def test_what_is_no_block_is_not_taken_for_one() -> None:
    (data,) = as_data([Block("Shares")])
    with pytest.raises(TypeError):
        blocks_from_data([{**data, "colour": "red"}])
    with pytest.raises(KeyError):
        blocks_from_data([{"heading": "Shares"}])


LONG = "as if it had seen more of the shop's jobs than there are, and those of others besides, for a whole year"
TABLE = Table((("LED strips", "17", "9/9", LONG),), ("part", "jobs", "counted", ""), "lrrl")


@pytest.fixture(autouse=True)
def narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def test_lines_stand_in_as_their_level_says_and_points_hang() -> None:
    block = Block("Left out", "of all", (Line("of the repairs:"), *points([LONG], level=2)), beneath=(Line(LONG, 0),))
    assert text_of([block]).splitlines() == [
        "Left out  (of all)",
        "  of the repairs:",
        "    as if it had seen more of the shop's jobs than there are, and those of",
        "      others besides, for a whole year",
        "as if it had seen more of the shop's jobs than there are, and those of others",
        "besides, for a whole year",
    ]


def test_an_empty_line_parts_blocks_unless_they_belong_close_together() -> None:
    one, two = Block(lines=(Line("Invented.", 0),)), Block("Two")
    assert text_of([one, two]) == "Invented.\n\nTwo"
    assert text_of([one, replace(two, is_close=True)]) == "Invented.\nTwo"


def test_a_table_is_as_wide_as_it_is_or_folds_or_goes_without_a_column() -> None:
    wide, folded, without = (
        text_of([Block(table=table)]).splitlines()
        for table in (TABLE, replace(TABLE, folds=True), replace(TABLE, spare=2))
    )
    assert wide[1].endswith(LONG)
    assert max(map(len, folded)) <= 80
    assert "9/9" in folded[1]
    assert max(map(len, without)) <= 80
    assert "9/9" not in " ".join(without)
    fits = replace(TABLE, rows=(("LED strips", "17", "9/9", "all"),), spare=2)
    assert text_of([Block(table=fits)]).splitlines() == [
        "  part        jobs  counted",
        "  LED strips    17      9/9  all",
    ]


def test_on_paper_everything_of_a_block_is_there_as_text() -> None:
    block = Block("A & B", "of all", points(["<1>"]), Table((("x\ny", "z"),), ("p", "q")), (Line("beneath"),))
    html = html_text(Paper("Page", (block,), "foot"))
    for part in (
        "<h2>A &amp; B (of all)</h2>",
        "<li>&lt;1&gt;</li>",
        "<td>x<br>y</td>",
        "<th>p</th>",
        "<li>beneath</li>",
    ):
        assert part in html
