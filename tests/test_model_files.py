"""Whatever is given as a model file: it loads, or says what is wrong and where, within seconds, and never breaks."""

import os
from pathlib import Path
from typing import Any

import pytest
from small_models import TINY, edit, place_of, within_seconds, write_model

from faultnet.errors import FileProblem, ModelProblem, UsageProblem
from faultnet.files import find_model_file, list_models, load_model
from faultnet.files.compose import MOST_LEVELS, MOST_VALUES
from faultnet.files.yaml_text import MOST_BYTES

SHIPPED = sorted(list_models())


def refusal(text: str | bytes, folder: Path) -> ModelProblem:
    """Why a model file of this text is not loaded."""
    with pytest.raises(ModelProblem) as raised, within_seconds():
        load_model(write_model(folder, text), use_cache=False)
    assert raised.value.exit_code == 3
    return raised.value


# -- text that is no model file --------------------------------------------------------------------------------------

BOMB = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
    f"{own}: &{own} [{', '.join([f'*{before}'] * 9)}]\n" for before, own in zip("abcdefgh", "bcdefghi", strict=True)
)

NOT_YAML = {
    "empty": ("", 1, 1, "the file is empty"),
    "only white space": (" \n\n  \n", 1, 1, "the file is empty"),
    "only a byte order mark": ("\ufeff", 1, 1, "the file is empty"),
    "only comments": ("# one\n# two\n", 1, 1, "the file holds nothing but comments"),
    "only null": ("~\n", 1, 1, "a model file is a mapping that starts with `id:`"),
    "only a word": ("tiny\n", 1, 1, "a model file is a mapping that starts with `id:`"),
    "only a list": ("- id: tiny\n", 1, 1, "a model file is a mapping that starts with `id:`"),
    "binary": (bytes(range(256)) * 4, 2, 118, "not text in UTF-8 (byte 0x80)"),
    "a picture": (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", 1, 1, "not text in UTF-8 (byte 0x89)"),
    "zero bytes": ("id: tiny\0\n", 1, 9, "a character that YAML does not allow, U+0000"),
    "a bell": ("id: tiny\ntitle: \a\n", 2, 8, "a character that YAML does not allow, U+0007"),
    "latin-1": ("id: tiny\ntitle: Ger\xe4t\n".encode("latin-1"), 2, 11, "not text in UTF-8 (byte 0xE4)"),
    "latin-1 after umlauts": ("id: \xfc\xfc".encode() + b"\xe4", 1, 7, "not text in UTF-8 (byte 0xE4)"),
    "utf-16": (TINY.encode("utf-16"), 1, 1, "not text in UTF-8 (byte 0xFF)"),
    "a tab": ("id: tiny\nstrength:\n\tshares: 1\n", 3, 1, "found character '\\t' that cannot start any token"),
    "an open bracket": ("id: tiny\nstrength: {shares: 1\n", 3, 1, "while parsing a flow mapping"),
    "a wrong indent": ("id: tiny\n  title: x\n", 2, 8, "mapping values are not allowed here"),
    "an open quote": ("id: tiny\ntitle: 'x\n", 3, 1, "while scanning a quoted scalar"),
    "two documents": ("id: tiny\n---\nid: other\n", 2, 1, "expected a single document"),
    "an unknown alias": ("id: *tiny\n", 1, 5, "found undefined alias 'tiny'"),
    "an anchor given twice": ("id: &a x\ntitle: &a y\nabout: *a\n", 2, 8, "the anchor &a is given twice"),
    "an alias inside its anchor": (
        "id: tiny\ntests: &t {look: *t}\n",
        2,
        8,
        "the anchor &t has an alias to itself inside",
    ),
    "an alias as a key inside its anchor": ("&t {? *t : 1}\n", 1, 1, "the anchor &t has an alias to itself inside"),
    "aliases that multiply": (BOMB, 5, 4, f"more than {MOST_VALUES} values once its aliases are written out"),
    "lists in lists": ("[" * 5000, 1, MOST_LEVELS + 1, f"nested too deeply: more than {MOST_LEVELS} levels"),
    "mappings in mappings": ("{a: " * 5000, 1, 4 * MOST_LEVELS - 2, "nested too deeply"),
    "items in items": ("- " * 5000 + "x", 1, 2 * MOST_LEVELS + 1, "nested too deeply"),
    "lines ever deeper": ("".join(" " * i + "a:\n" for i in range(900)), MOST_LEVELS, MOST_LEVELS, "nested too deeply"),
    "a character beyond Unicode": ('id: tiny\ntitle: "\\UFFFFFFFF"\n', 2, 11, "cannot be read as YAML"),
    "another YAML": ("%YAML 3.0\n---\nid: tiny\n", 1, 1, "found incompatible YAML document"),
    "values without end": ("a: [" + "1," * 100_000 + "]", 1, 2 * MOST_VALUES - 1, f"more than {MOST_VALUES} values"),
}


@pytest.mark.parametrize(("text", "line", "column", "says"), NOT_YAML.values(), ids=NOT_YAML)
def test_text_that_cannot_be_read_says_why_and_where(
    text: str | bytes, line: int, column: int, says: str, tmp_path: Path
) -> None:
    (problem,) = refusal(text, tmp_path).problems
    assert says in problem.message
    assert (problem.line, problem.column) == (line, column)


READABLE_BUT_WRONG = {
    "a tag on a scalar": ("title: A lamp", "title: !!str A lamp", "title", "the tag !!str is not allowed", "!!str"),
    "a tag of its own": ("{shares: 10", "!mine {shares: 10", "strength", "the tag !mine is not allowed", "!mine"),
    "a tag that runs code": (
        "title: A lamp and its supply",
        "title: !!python/object/apply:os.system [exit]",
        "title",
        "the tag !!python/object/apply:os.system is not allowed",
        "!!python",
    ),
    "a tag on a number": ("rows: 5", "rows: !!int five", "strength.rows", "the tag !!int is not allowed", "!!int"),
    "a tag by address": ("rows: 5", "rows: !<x> 5", "strength.rows", "the tag x is not allowed", "!<x>"),
    "a section twice": ("groups:", "about: again\ngroups:", "about", "this key stands here twice", "about: again"),
    "a key twice in braces": ("rows: 5", "rows: 5, rows: 6", "strength.rows", "this key stands here twice", "rows: 6"),
    "a list as a key": ("rows: 5", "rows: 5, ? [a] : 6", "strength", "a key must be plain text", "[a]"),
    "a tag on a key": ("rows: 5", "rows: 5, !!str x: 6", "strength", "a key must be plain text", "!!str"),
    "more digits than a number has": (
        "rows: 5",
        f"rows: {'9' * 5000}",
        "strength.rows",
        "cannot be read as a number",
        "999",
    ),
    "a sign without a number": ("rows: 5", "rows: +_", "strength.rows", "cannot be read as a number", "+_"),
    "a point without a number": ("rows: 5", "rows: ._", "strength.rows", "cannot be read as a number", "._"),
    "an endless number": ("rows: 5", "rows: 1e999", "strength.rows", "must be a number, not inf", "rows: 1e"),
    "a merge key": ("rows: 5", "rows: 5, <<: {a: 1}", "strength.<<", "is not known here", "<<"),
    "an empty key": ("rows: 5", "rows: 5, '': 1", "strength.", "is not known here", "''"),
}


@pytest.mark.parametrize(("old", "new", "path", "says", "at"), READABLE_BUT_WRONG.values(), ids=READABLE_BUT_WRONG)
def test_what_yaml_allows_and_a_model_file_does_not_is_told_in_its_place(
    old: str, new: str, path: str, says: str, at: str, tmp_path: Path
) -> None:
    text = edit(old, new)
    line, column = place_of(at, text) if text.count(at) == 1 else (8, len("strength: {shares: 10, rows: ") + 1)
    (problem,) = refusal(text, tmp_path).problems
    assert problem.path == path
    assert says in problem.message
    assert (problem.line, problem.column) == (line, column)


def test_every_tag_and_double_key_is_told_together_with_what_the_numbers_have_wrong(tmp_path: Path) -> None:
    text = edit("title: A", "title: !!str A", edit("rows: 5", "rows: 5, rows: 6", edit("[0.9, 0.1]", "[0.9, 0.2]")))
    assert [(p.path, p.line) for p in refusal(text, tmp_path).problems] == [
        ("title", 2),
        ("strength.rows", 8),
        ("observations.reported.table[0].p", place_of("[0.9, 0.2]", text)[0]),
    ]


def test_of_a_key_that_stands_twice_the_first_counts_and_is_checked(tmp_path: Path) -> None:
    text = edit("chance: 0.2", "chance: 2, chance: 0.2")
    assert [(p.path, p.message) for p in refusal(text, tmp_path).problems] == [
        ("collateral[0].chance", "must be less than or equal to 1, not 2"),
        ("collateral[0].chance", "this key stands here twice"),
    ]


def test_an_older_yaml_is_not_read_by_its_own_rules(tmp_path: Path) -> None:
    """Under %YAML 1.1 `yes` would be true and 1:30 a number in base 60; neither slips in."""
    text = "%YAML 1.1\n---\n" + edit(
        "given: [feed]", "needs_symptom: yes\n    given: [feed]", edit("rows: 5", "rows: 1:30")
    )
    assert {
        (p.path, p.message.partition(" cannot")[0])
        for p in refusal(text, tmp_path).problems
        if "cannot be" in p.message
    } >= {
        ("strength.rows", "1:30"),
        ("observations.volts.needs_symptom", "yes"),
    }


@pytest.mark.parametrize(
    "written",
    [
        TINY,
        "\ufeff" + TINY,
        TINY.replace("\n", "\r\n"),
        TINY.replace("\n", "\r"),
        "%YAML 1.2\n---\n" + TINY + "...\n",
        TINY.replace("{label: l", "{  label:   l"),
        TINY + "# the end",
        TINY.rstrip("\n"),
    ],
    ids=["as it is", "byte order mark", "CRLF", "CR", "document marks", "spaces", "comment", "no last newline"],
)
def test_how_a_file_was_saved_makes_no_difference(written: str, tmp_path: Path) -> None:
    plain = load_model(write_model(tmp_path, TINY, "plain.yaml"), use_cache=False)
    assert load_model(write_model(tmp_path, written.encode()), use_cache=False) == plain


@pytest.mark.parametrize(("newline", "start"), [("\r\n", ""), ("\n", "\ufeff"), ("\r\n", "\ufeff")])
def test_places_hold_with_other_line_ends_and_a_byte_order_mark(newline: str, start: str, tmp_path: Path) -> None:
    text = edit("p: [0.9, 0.1]", "p: [0.9, 0.2]")
    (problem,) = refusal((start + text.replace("\n", newline)).encode(), tmp_path).problems
    assert (problem.line, problem.column) == place_of("p: [0.9, 0.2]", text)


def test_aliases_that_do_not_multiply_are_read_as_if_written_out(tmp_path: Path) -> None:
    text = edit(
        "age:\n    label: age", "age:\n    label: &word age", edit("feed:\n    label: feed", "feed:\n    label: *word")
    )
    assert load_model(write_model(tmp_path, text), use_cache=False).rails["feed"].label == "age"


def test_a_name_that_a_terminal_would_obey_is_shown_escaped_on_one_line(tmp_path: Path) -> None:
    problem = refusal(edit("about:", '"\\e[31mabout\\n\\ud800": x\nabout:'), tmp_path)
    assert str(problem).isprintable()
    assert "\\x1b[31mabout\\n\\ud800" in str(problem)


def test_a_name_without_end_is_cut_short_in_the_message(tmp_path: Path) -> None:
    assert len(str(refusal(edit("about:", f"? {'name' * 20_000}\n: x\nabout:"), tmp_path))) < 5_000


# -- files that are no files ---------------------------------------------------------------------------------------


def test_a_file_of_10_mb_is_refused_by_its_size_without_being_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "large.yaml"
    with file.open("wb") as stream:
        stream.truncate(10 * 2**20)
    monkeypatch.setattr(Path, "open", lambda *_: pytest.fail("the file was opened"))
    with pytest.raises(ModelProblem) as raised:
        load_model(str(file))
    assert str(raised.value) == f"{file}:1:1: 10.0 MB; a model file has at most 2 MB"


def test_text_just_within_the_limit_is_read_within_seconds(tmp_path: Path) -> None:
    for junk in ("word " * (MOST_BYTES // 5), "- x\n" * (MOST_BYTES // 4), "'" * MOST_BYTES):
        refusal(junk[:MOST_BYTES], tmp_path)


def test_thousands_of_unknown_names_are_told_within_seconds(tmp_path: Path) -> None:
    n = 8_000
    sections = "".join(f"complaint{i}: 1\n" for i in range(n))
    assert len(refusal(sections, tmp_path).problems) > n
    after = ", ".join(f"look{i}" for i in range(n))
    problems = refusal(edit("after: [look]", f"after: [{after}]"), tmp_path).problems
    assert len(problems) == 1001
    assert problems[0].message == "more than 1000 problems; some are not listed"


def test_a_missing_file_is_a_slip_of_the_command_line(tmp_path: Path) -> None:
    with pytest.raises(UsageProblem, match="there is no model file") as raised:
        load_model(str(tmp_path / "missing.yaml"))
    assert raised.value.exit_code == 2


@pytest.mark.parametrize("name", ["folder", "folder.yaml"])
def test_a_folder_is_told_apart_from_a_file(name: str, tmp_path: Path) -> None:
    (tmp_path / name).mkdir()
    with pytest.raises(UsageProblem, match="is a folder; name the model file in it"):
        load_model(str(tmp_path / name))


def test_a_path_through_a_file_and_a_ring_of_links_are_no_files(tmp_path: Path) -> None:
    (tmp_path / "ring.yaml").symlink_to(tmp_path / "ring.yaml")
    for path in (
        Path(write_model(tmp_path, TINY)) / "more.yaml",
        tmp_path / "ring.yaml",
        tmp_path / ("x" * 400 + ".yaml"),
    ):
        with pytest.raises(UsageProblem, match="there is no model file"):
            load_model(str(path))


def test_a_pipe_is_no_model_file_and_nobody_waits_for_it(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.yaml")
    with within_seconds(), pytest.raises(UsageProblem, match="there is no model file"):
        load_model(str(tmp_path / "pipe.yaml"))


def test_a_file_that_may_not_be_read_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(self: Path, *_: Any) -> None:
        raise PermissionError(13, "Permission denied", str(self))

    file = write_model(tmp_path, TINY)
    monkeypatch.setattr(Path, "open", refuse)  # the tests may run as a user who may read everything
    with pytest.raises(FileProblem) as raised:
        load_model(file, use_cache=False)
    assert raised.value.exit_code == 3
    assert str(raised.value) == f"{file}: cannot be read: Permission denied"


def test_a_file_that_goes_away_before_it_is_opened_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("faultnet.files.load.find_model_file", lambda _: tmp_path / "gone.yaml")
    with pytest.raises(FileProblem, match=r"gone\.yaml: cannot be read: No such file or directory"):
        load_model("gone")


# -- names of models -----------------------------------------------------------------------------------------------


def test_the_shipped_models_are_found_from_a_checkout() -> None:
    assert "backlight" in list_models()
    assert find_model_file("backlight") == list_models()["backlight"]
    assert list_models()["backlight"].is_file()


def test_a_model_is_found_by_id_by_version_0_and_by_path() -> None:
    by_path = load_model(str(list_models()["backlight"]))
    assert load_model("backlight") == load_model("backlight@0") == by_path
    assert by_path.version == "backlight@0"


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("backlite", "unknown model backlite; did you mean backlight or"),
        ("BACKLIGHT@0", "unknown model BACKLIGHT; did you mean backlight or"),
        ("backlite@7", "unknown model backlite; did you mean backlight or"),
        ("backlight@7", "backlight has no version 7; `faultnet model list` says which it has"),
        ("backlight@x", "backlight has no version x: a version is a number; backlight@0 is the file as written"),
        ("", "unknown model ; did you mean"),
        ("@0", "unknown model ; did you mean"),
        (".", "unknown model .; did you mean"),
        ("zzzzzzzz", "unknown model zzzzzzzz; did you mean backlight"),
        ("a\0b", "unknown model"),
        ("x" * 3000, "unknown model"),
        ("x/" * 3000, "there is no model file"),
        ("./backlight", "there is no model file"),
    ],
)
def test_a_name_that_is_no_model_is_answered_with_those_that_are(name: str, says: str) -> None:
    with pytest.raises(UsageProblem) as raised:
        load_model(name)
    assert raised.value.exit_code == 2
    assert str(raised.value).startswith(says)


def test_models_of_the_shops_own_are_found_by_id_and_never_hide_a_shipped_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("faultnet.files.finder.own_models_folder", lambda: tmp_path)
    write_model(tmp_path, TINY)
    write_model(tmp_path, TINY, "backlight.yaml")
    assert load_model("tiny", use_cache=False).title == "A lamp and its supply"
    assert find_model_file("backlight").parent != tmp_path
    assert set(list_models()) == {*SHIPPED, "tiny"}
