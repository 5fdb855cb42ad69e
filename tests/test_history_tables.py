"""Past jobs in the words of whoever kept them: columns, states, repairs and several items in a cell."""

from dataclasses import replace
from pathlib import Path

import pytest
from histories import backlight, jobs_in, kept, made_up, taken, written_out

from faultnet.errors import UsageProblem
from faultnet.history.items import parted
from faultnet.history.mapping import as_data, from_data, match_columns, splitting_from
from faultnet.history.translate import Translator
from faultnet.sheets.read import read_table
from faultnet.store.jobs import find_job
from faultnet.workshop.sourcing import Told, source_of
from faultnet.workshop.workshop import Workshop

# -- tables as shops keep them -----------------------------------------------------------------------------------------


def test_columns_are_matched_by_name_by_what_people_say_and_by_likeness() -> None:
    names = ["job", "Date In", "Screen size", "torch_test", "Startup flsh", "loaded voltage", "Cat"]
    uses = match_columns(names, backlight())
    assert [(use.is_, use.how) for use in uses] == [
        ("job", "exact"), ("opened", "synonym"), ("size", "synonym"), ("flashlight", "synonym"),
        ("startup_flash", "nearest"), ("loaded_voltage", "exact"), ("notes", "nearest"),
    ]  # fmt: skip
    assert [use.is_ for use in match_columns(["sound", "Sound"], backlight())] == ["sound", "notes"]


def test_a_table_as_a_shop_keeps_it_is_understood(on_sqlite: Workshop, tmp_path: Path) -> None:
    """Semicolons, a decimal comma, days with points, words for states, two repairs in a cell, a column of no use."""
    file = kept(tmp_path)
    head = read_table(file)
    told = {
        "Got sound?": {"is": "sound", "states": {"yes": "present"}},
        "LED plug volts": {"is": "loaded_voltage"},
        "Torch Test": {"is": "flashlight", "states": {"picture": "image_seen"}},
    }
    uses = from_data({"columns": told}, head.columns, backlight())
    report = taken(on_sqlite, file, uses=uses, decimal_comma=True)
    assert (report.n_jobs, report.n_rejected) == (2, 0)
    first, second = jobs_in(on_sqlite)
    seen = [(e.name, e.state or e.value) for e in first.entries if e.kind in ("finding", "reading", "repair")]
    assert seen == [
        ("sound", "present"), ("flashlight", "image_seen"), ("loaded_voltage", "0.2,0.1"),
        ("replace_strips+replace_supply", "works"),
    ]  # fmt: skip
    assert first.closing is not None
    assert (first.number, first.opened_at.date().isoformat(), first.facts["size"]) == ("17", "2031-05-03", "50")
    assert (first.closing.outcome, first.closing.price) == ("fixed", 180.5)
    assert [e.note for e in first.entries if e.kind == "note"] == ["Cat: grey"]
    assert second.closing is not None
    assert second.closing.outcome == "no_fault_found"
    events = {e.name: e.state or e.value for e in second.entries}
    assert "sound" not in events, "a blank is not recorded, never normal"
    assert (events["flashlight"], events["replace_main_board"]) == ("no_image", "not")


def test_a_blank_is_normal_only_where_the_mapping_says_so(on_sqlite: Workshop, tmp_path: Path) -> None:
    file = kept(tmp_path)
    told = {"columns": {"Got sound?": {"is": "sound", "states": {"yes": "present"}, "blank": "present"}}}
    uses = from_data(told, read_table(file).columns, backlight())
    taken(on_sqlite, file, uses=uses, decimal_comma=True, partial=True)
    for job in jobs_in(on_sqlite):
        assert ("sound", "present") in [(e.name, e.state) for e in job.entries]


def test_what_matched_nothing_is_counted_and_kept_as_a_note() -> None:
    uses = match_columns(["sound", "repairs"], backlight())
    translator = Translator(backlight(), uses)
    for cells in (("buzzing", "strips + gizmo"), ("buzzing", ""), ("present", "driver=not")):
        row = translator.row(cells)
    assert translator.unmatched == {("sound", "buzzing"): 2, ("repairs", "gizmo"): 1}
    assert row == {"sound": "present", "then": "replace_driver=not"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("strips + supply, ok", "replace_strips+replace_supply=works"),
        ("LED cable & driver - no", ""),
        ("new_strips=not", "replace_strips=not"),
        ("main board", "replace_main_board=works"),
        ("Strips/PSU, still dark", "replace_strips+replace_supply=not"),
        ("prayer", ""),
    ],
)
def test_repairs_as_people_write_them(text: str, said: str) -> None:
    row = Translator(backlight(), match_columns(["repairs"], backlight())).row((text,))
    assert row.get("then", "") == said or (not said and text.split()[-1] in row["notes"])


def test_two_columns_of_notes_or_of_repairs_are_both_kept() -> None:
    told = {"A": "notes", "B": "notes", "C": "repairs", "D": "repairs"}
    uses = from_data({"columns": told}, [*told], backlight())
    row = Translator(backlight(), uses).row(("one; two", "three", "driver=not", "strips"))
    assert parted(row["notes"]) == ["one; two", "three"]
    assert parted(row["then"]) == ["replace_driver=not", "replace_strips=works"]


def test_the_owner_says_how_cells_are_taken_apart() -> None:
    """A mapping is written with the usual rules, which can be changed: other marks, words of the shop's own."""
    uses = match_columns(["repairs"], backlight())
    usual = as_data(uses)["repairs"]
    assert {"+", "and"} <= set(usual["parted_by"])
    own = {
        "parted_by": ["then"],
        "works": ["heureka"],
        "not": ["nope", False],
        "words": {"light bars": "replace_strips"},
    }
    splitting = splitting_from({"repairs": own}, backlight())
    translator = Translator(backlight(), uses, splitting=splitting)
    for text, said in (
        ("light bars then driver then heureka", "replace_strips+replace_driver=works"),
        ("light bars then nope", "replace_strips=not"),
        ("light bars then no", "replace_strips=not"),
        ("light bars + driver", ""),
    ):
        assert translator.row((text,)).get("then", "") == said
    assert splitting_from({"repairs": as_data(uses, splitting)["repairs"]}, backlight()) == splitting
    with pytest.raises(UsageProblem) as raised:
        splitting_from({"repairs": {"split": ["+"], "works": "ok", "words": {"x": "pray"}}}, backlight())
    assert len(raised.value.problems) == 3


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (("17/5/2031", "50"), "say how days are written with --days"),
        (("2031-05-17", "about"), "about is no number"),
        (("2031-05-17", "49,5"), "is the comma a decimal sign"),
    ],
)
def test_a_cell_that_is_wrong_is_told(cells: tuple[str, str], said: str) -> None:
    with pytest.raises(UsageProblem, match=said):
        Translator(backlight(), match_columns(["opened", "size"], backlight())).row(cells)


def test_a_mapping_is_written_and_used_again() -> None:
    uses = match_columns(["Date in", "torch", "Cat"], backlight())
    again = from_data(as_data(uses), ["Date in", "torch", "Cat"], backlight())
    assert [use.is_ for use in again] == [use.is_ for use in uses]
    with pytest.raises(UsageProblem) as raised:
        from_data(
            {"columns": {"a": "nonsense", "b": {"is": "sound", "states": {"x": "loud"}}}}, ["a", "b"], backlight()
        )
    assert len(raised.value.problems) == 2


def test_rows_of_one_job_are_joined_wherever_they_stand(on_sqlite: Workshop, tmp_path: Path) -> None:
    text = "job,opened,sound,size,notes\n7,2031-05-17,present,,first\n8,2031-05-17,absent,,\n7,2031-05-17,,50,second\n"
    file = kept(tmp_path, text)
    report = taken(on_sqlite, file)
    assert (report.n_rows, report.n_jobs, report.n_joined) == (3, 2, 1)
    with on_sqlite.database.read() as connection:
        job = find_job(connection, "7")
    assert [(e.kind, e.state or e.note) for e in job.entries] == [
        ("fact", "50"), ("finding", "present"), ("note", "first"), ("note", "second"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "comma", "said"),
    [
        ("36,8", True, "36.8"), ("0,2 / 0,1", True, "0.2,0.1"), ("36,8", False, "36,8"),
        ("36.8,37.1", True, "36.8,37.1"), ("54", True, "54"),
    ],
)  # fmt: skip
def test_a_comma_in_volts_parts_points_only_where_it_is_no_decimal_sign(text: str, comma: bool, said: str) -> None:
    translator = Translator(backlight(), match_columns(["loaded_voltage"], backlight()), comma)
    assert translator.row((text,)) == {"loaded_voltage": said}


def test_a_table_of_our_own_is_read_as_we_write_it_in_a_shop_that_writes_commas(
    on_sqlite: Workshop, tmp_path: Path
) -> None:
    """Two points of whole volts stand as `36,8` there."""
    file = written_out(tmp_path / "own.csv", made_up(3).jobs)
    shop = replace(on_sqlite.shop, settings=replace(on_sqlite.shop.settings, decimal_comma=True))
    assert not source_of(replace(on_sqlite, shop=shop), file, Told()).decimal_comma
    assert source_of(replace(on_sqlite, shop=shop), kept(tmp_path), Told("backlight")).decimal_comma
    assert source_of(on_sqlite, file, Told(decimal_comma=True)).decimal_comma
