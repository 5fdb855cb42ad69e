"""Everything that can be wrong with a model file: said once, at its line and column, with what to do."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from model_slips import CARET, SLIPS
from small_models import TINY, edit, of_one_part, place_of, write_model

from faultnet.engine.evidence import findings
from faultnet.engine.joint import MOST_ENTRIES
from faultnet.errors import ModelProblem, Problem
from faultnet.files import load_model
from faultnet.files.yaml_text import read_yaml
from faultnet.schema.validate import validate


def problems_of(text: str | bytes, folder: Path) -> list[Problem]:
    """All that is wrong with a model file of this text."""
    with pytest.raises(ModelProblem) as raised:
        load_model(write_model(folder, text), use_cache=False)
    assert raised.value.exit_code == 3
    return list(raised.value.problems)


def told(text: str, folder: Path) -> list[tuple[str, int, int]]:
    """Path, line and column of all that is wrong with this text."""
    return [(problem.path, problem.line, problem.column) for problem in problems_of(text, folder)]


def every_slip() -> Iterator[Any]:
    for above, slips in SLIPS.items():
        for old, new, path, says, *at in slips:
            broken = edit(old, new.replace(CARET, ""))
            place = place_of(*at, broken) if at else place_of(CARET, edit(old, new))
            yield pytest.param(broken, above + path, says, place, id=f"{above}{path}-{new.strip()[:30]}")


@pytest.mark.parametrize(("broken", "path", "says", "place"), list(every_slip()))
def test_one_slip_is_one_problem_at_its_line_and_column(
    broken: str, path: str, says: str, place: tuple[int, int], tmp_path: Path
) -> None:
    (problem,) = problems_of(broken, tmp_path)
    assert (problem.path, (problem.line, problem.column)) == (path, place)
    assert says in problem.message


def test_what_was_broken_is_whole_without_the_slip(tmp_path: Path) -> None:
    assert load_model(write_model(tmp_path, TINY), use_cache=False).id == "tiny"


@pytest.mark.parametrize("state", ["no", "off", "on", "yes", "y", "null_", "none"])
def test_words_that_older_yaml_took_for_true_and_false_stay_text(state: str, tmp_path: Path) -> None:
    text = edit("states: [dark, another]", f"states: [dark, {state}]")
    model = load_model(write_model(tmp_path, text), use_cache=False)
    assert model.observations["reported"].states == ("dark", state)


# -- several at once ---------------------------------------------------------------------------------------------


def test_problems_of_every_part_are_told_at_once_in_the_order_of_the_file(tmp_path: Path) -> None:
    text = TINY
    for old, new in [
        ("about:", "abuot:"),
        ("chance: 0.2", "chance: 2"),
        ("shares: [0.4, 0.6]", "shares: [0.4, 0.5]"),
        ("is: missing", "is: mising"),
        ("p: [0.9, 0.1]", "p: [0.9, 0.2]"),
        ("p: [0.02, 0.98]", "p: [0.02, 0.98, 0]"),
        ("unit: V", "unit: mV"),
        ("needs: {mains: on}", "needs: {mains: onn}"),
        ("fixes: [lamp]", "fixes: [lmap]"),
    ]:
        text = edit(old, new, text)
    assert told(text, tmp_path) == [
        ("abuot", *place_of("abuot:", text)),
        ("collateral[0].chance", *place_of("chance: 2", text)),
        ("conditions.age.shares", *place_of("shares: [0.4,", text)),
        ("rails.feed.rule[0].is", *place_of("is: mising", text)),
        ("observations.reported.table[0].p", *place_of("p: [0.9, 0.2]", text)),
        ("observations.look.table[2].p", *place_of("p: [0.02, 0.98, 0]", text)),
        ("observations.volts.reading.unit", *place_of("unit: mV", text)),
        ("tests.look.needs.mains", *place_of("mains: onn", text)),
        ("repairs.replace_lamp.fixes[0]", *place_of("lmap]", text)),
    ]


def test_a_problem_is_printed_as_file_line_column_path_and_message(tmp_path: Path) -> None:
    file = write_model(tmp_path, edit("p: [0.9, 0.1]", "p: [0.9, 0.2]"))
    with pytest.raises(ModelProblem) as raised:
        load_model(file, use_cache=False)
    assert str(raised.value) == (f"{file}:66:31: observations.reported.table[0].p: the probabilities add to 1.1, not 1")


def test_both_wrong_numbers_of_a_row_are_told(tmp_path: Path) -> None:
    text = edit("p: [0.9, 0.1]", "p: [1.5, -0.5]")
    assert told(text, tmp_path) == [
        ("observations.reported.table[0].p[0]", *place_of("1.5", text)),
        ("observations.reported.table[0].p[1]", *place_of("-0.5", text)),
    ]


def test_a_misspelt_id_is_told_where_it_stands_and_where_it_is_missed(tmp_path: Path) -> None:
    text = edit("  light_side: {", "  light_sdie: {")
    (problem,) = problems_of(text, tmp_path)
    assert (problem.line, problem.column) == place_of("judged_by", text)
    assert "did you mean light_sdie?" in problem.message


def test_a_misspelt_section_is_told_and_so_is_what_misses_it(tmp_path: Path) -> None:
    text = edit("groups:", "group:")
    assert told(text, tmp_path) == [
        ("group", *place_of("group:", text)),
        ("repairs.replace_lamp.judged_by", *place_of("judged_by", text)),
    ]


def test_a_bad_id_and_what_stands_under_it_are_both_told(tmp_path: Path) -> None:
    extra = "conditions:\n  Bad One: {label: l, states: [a], shares: [1], mark: practice}"
    text = edit("conditions:", extra)
    assert told(text, tmp_path) == [
        ("conditions.Bad One", *place_of("Bad One", text)),
        ("conditions.Bad One.states", *place_of("states: [a]", text)),
    ]


def test_a_row_that_covers_all_makes_every_row_below_it_useless(tmp_path: Path) -> None:
    text = edit("{when: {light: none}, p: [0.9, 0.1]}", "{p: [0.9, 0.1]}")
    assert [path for path, *_ in told(text, tmp_path)] == [
        "observations.reported.table[1]",
        "observations.reported.table[2]",
    ]


def test_a_combination_without_a_row_is_named(tmp_path: Path) -> None:
    (problem,) = problems_of(edit("      - {p: [0.01, 0.99]}\n", ""), tmp_path)
    assert problem.path == "observations.reported.table"
    assert problem.message == "no row for {light: lit, other: ok}; end with a row without `when`, or add it"


def test_a_combination_without_a_level_is_named(tmp_path: Path) -> None:
    problems = problems_of(edit("{when: {age: young}, mix", "{when: {age: old}, mix"), tmp_path)
    assert [problem.message.partition(";")[0] for problem in problems] == [
        "no level for {age: young}",
        "this level is never used: those above it cover all it could",
    ]


@pytest.mark.parametrize("change", ["cover=off", "mains=discharged", "led_cable=in", "panel=opened"])
def test_a_missing_change_of_set_up_is_named(change: str, tmp_path: Path) -> None:
    (line,) = [line for line in TINY.splitlines(keepends=True) if f"{{change: {change}," in line]
    text = edit(line, "")
    (problem,) = problems_of(text, tmp_path)
    assert problem == Problem("setups", f"no entry for {change}", *place_of("setups:", text))


def test_a_change_of_set_up_given_twice_leaves_another_missing(tmp_path: Path) -> None:
    text = edit("change: cover=on", "change: cover=off")
    assert [problem.message for problem in problems_of(text, tmp_path)] == [
        "no entry for cover=on",
        "cover=off stands here twice",
    ]


def test_a_mode_that_never_happens_is_told_at_its_share(tmp_path: Path) -> None:
    text = edit("dead, share: 0.3", "dead, share: 0", edit("open, share: 0.5", "open, share: 0.8"))
    (problem,) = problems_of(text, tmp_path)
    assert (problem.path, problem.line) == ("components.supply.modes.dead.share", place_of("share: 0, ", text)[0])
    assert problem.message == "must be above 0; leave out a mode that never happens"


def test_an_observation_has_one_test_that_reveals_it(tmp_path: Path) -> None:
    problems = problems_of(edit("how: Clip on, then switch on.", "reveals: [look]"), tmp_path)
    assert [problem.message for problem in problems] == [
        "look is already revealed by look",
        "a test that reveals one observation carries its id, look",
    ]


@pytest.mark.parametrize("section", ["components", "observations", "tests", "setups"])
@pytest.mark.parametrize("value", [None, {}, [], "text", 3, True])
def test_a_section_that_is_empty_or_something_else_is_told(section: str, value: Any) -> None:
    data = {**read_yaml(TINY.encode()).data, section: value}
    _, found = validate(data)
    assert any(path == (section,) or (path == () and f"`{section}`" in message) for path, message in found)


@pytest.mark.parametrize("section", list(read_yaml(TINY.encode()).data))
@pytest.mark.parametrize("value", [None, {}, [], "text", 3, True, [[]], {"a": None}, [None], float("nan")])
def test_no_section_of_any_other_kind_is_ever_an_exception(section: str, value: Any) -> None:
    document, found = validate({**read_yaml(TINY.encode()).data, section: value})
    assert found or document[section] in (value, [], {}), "what is accepted is kept"


# -- cycles ------------------------------------------------------------------------------------------------------


def test_a_cycle_of_rails_is_named_where_it_closes(tmp_path: Path) -> None:
    text = edit("given: [supply]", "given: [supply, light]")
    (problem,) = problems_of(text, tmp_path)
    assert problem.message in ("a cycle of rails: feed -> light -> feed", "a cycle of rails: light -> feed -> light")
    assert problem.path == f"rails.{problem.message.split()[-1]}.given"
    assert (problem.line, problem.column) in (
        place_of("given: [supply, light]", text),
        place_of("given: [feed, l", text),
    )


def test_a_rail_given_itself_is_a_cycle(tmp_path: Path) -> None:
    text = edit("given: [supply]", "given: [supply, feed]")
    (problem,) = problems_of(text, tmp_path)
    assert (problem.path, problem.message) == ("rails.feed.given", "a cycle of rails: feed -> feed")


def test_every_cycle_is_told_not_only_the_first(tmp_path: Path) -> None:
    rail = "label: l, states: [a, b], given: [OTHER], rule: [{when: {OTHER: a}, is: a}, {is: b}]"
    more = "rails:\n" + "".join(
        f"  {own}: {{{rail.replace('OTHER', other)}}}\n"
        for own, other in [("r1", "r2"), ("r2", "r1"), ("r3", "r4"), ("r4", "r3"), ("r5", "r5")]
    )
    problems = problems_of(edit("rails:\n", more), tmp_path)
    assert sorted({frozenset(p.message.split(": ")[1].split(" -> ")) for p in problems}, key=min) == [
        frozenset({"r1", "r2"}),
        frozenset({"r3", "r4"}),
        frozenset({"r5"}),
    ]


def test_a_cycle_of_collateral_links_is_told_at_one_of_them(tmp_path: Path) -> None:
    back = "mark: reasoned}\n  - {cause: supply.dead, effect: lamp.open, chance: 0.1, mark: reasoned}\n\nconditions"
    text = edit("mark: reasoned}\n\nconditions", back)
    (problem,) = problems_of(text, tmp_path)
    assert problem.message in (
        "a cycle of components: lamp -> supply -> lamp",
        "a cycle of components: supply -> lamp -> supply",
    )
    number = {"supply": 0, "lamp": 1}[problem.message.split()[-1]]
    assert problem.path == f"collateral[{number}]"
    assert (problem.line, problem.column) == place_of(["{cause: lamp", "{cause: supply"][number], text)


def test_tests_that_wait_for_each_other_are_told(tmp_path: Path) -> None:
    text = edit("needs: {mains: on}, mark", "needs: {mains: on}, after: [volts], mark")
    problems = problems_of(text, tmp_path)
    assert [p.path for p in problems] == ["tests.look.after", "tests.volts.after"]
    assert all("look and volts wait for each other" in p.message for p in problems)


def test_a_test_may_wait_for_one_of_two_that_waits_for_it(tmp_path: Path) -> None:
    text = edit("needs: {mains: on}, mark", "needs: {mains: on}, after: [[volts, reported]], mark")
    assert load_model(write_model(tmp_path, text), use_cache=False).tests["look"].after == (("volts", "reported"),)


# -- numbers that cannot hold together -----------------------------------------------------------------------------


def test_a_second_fault_share_below_what_collateral_alone_makes_is_told_at_its_place(tmp_path: Path) -> None:
    text = edit("chance: 0.2", "chance: 0.9", edit("second_fault_share: 0.04", "second_fault_share: 0.001"))
    text = edit("p: [0.01, 0.99]", "p: [0, 1]", text)  # no complaint without a fault
    (problem,) = problems_of(text, tmp_path)
    assert (problem.path, problem.line, problem.column) == ("second_fault_share", 7, 1)
    assert "second_fault_share 0.001 cannot hold with these shares and collateral links" in problem.message


def test_shares_of_a_complaint_that_no_fault_can_give_are_told_at_the_complaint(tmp_path: Path) -> None:
    text = TINY
    for old, new in [("p: [0.9, 0.1]", "p: [0, 1]"), ("p: [0.6, 0.4]", "p: [0, 1]"), ("p: [0.01, 0.99]", "p: [0, 1]")]:
        text = edit(old, new, text)
    (problem,) = problems_of(text, tmp_path)
    assert (problem.path, problem.line) == ("complaint", place_of("complaint:", text)[0])
    assert "can never be seen with lamp.open, lamp.shorted, supply.dead, other.unknown" in problem.message


def test_a_model_of_one_part_has_no_second_faults_and_gives_its_shares_back(tmp_path: Path) -> None:
    model = load_model(write_model(tmp_path, of_one_part()), use_cache=False)
    seen = {model.complaint: model.complaint_state, **model.confirmed_by}
    posterior = model.compiled.engine.belief(findings(model.compiled.network, seen)).targets[1:]
    assert list(posterior / posterior.sum()) == pytest.approx([0.9, 0.1])


# -- sizes -------------------------------------------------------------------------------------------------------


def with_more_components(n: int) -> str:
    modes = "{a: {label: a, share: 0.004, mark: practice}, b: {label: b, share: 0.004, mark: practice}}"
    more = "".join(f"  c{i}: {{label: c, modes: {modes}}}\n" for i in range(n))
    text = edit("components:\n", "components:\n" + more)
    return edit("open, share: 0.5", f"open, share: {0.5 - 0.008 * n:g}", text)


def test_too_many_combinations_of_faults_are_refused_before_any_memory_is_asked_for(tmp_path: Path) -> None:
    (problem,) = problems_of(with_more_components(50), tmp_path)
    assert (problem.path, problem.line) == ("components", 11)
    assert f"more than {MOST_ENTRIES} combinations" in problem.message


def test_too_many_conditions_with_odds_are_refused(tmp_path: Path) -> None:
    states = ", ".join(f"s{i}" for i in range(10))
    shares = ", ".join(["0.1"] * 10)
    odds = "{s1: {lamp.open: 2}}"
    more = "".join(
        f"  w{i}: {{label: w, states: [{states}], shares: [{shares}], odds: {odds}, mark: practice}}\n"
        for i in range(4)
    )
    text = edit("conditions:\n", "conditions:\n" + more)
    (problem,) = problems_of(text, tmp_path)
    assert (problem.path, (problem.line, problem.column)) == ("conditions", place_of("conditions:", text))
    assert "odds factors" in problem.message


def test_a_table_over_too_many_combinations_asks_for_a_rail(tmp_path: Path) -> None:
    states = ", ".join(f"s{i}" for i in range(600))
    rail = f"label: l, states: [{states}], given: [lamp], rule: [{{is: s0}}]"
    text = edit("rails:\n", f"rails:\n  wide1: {{{rail}}}\n  wide2: {{{rail}}}\n")
    text = edit("given: [feed]", "given: [feed, wide1, wide2]", text)
    (problem,) = problems_of(text, tmp_path)
    assert problem.path == "observations.volts.given"
    assert "put a rail in between" in problem.message


def test_tables_over_too_many_combinations_together_are_refused(tmp_path: Path) -> None:
    states = ", ".join(f"s{i}" for i in range(400))
    rail = f"label: l, states: [{states}], given: [lamp], rule: [{{is: s0}}]"
    wide = "label: l, states: [a, b], given: [wide1, wide2], mark: practice, table: [{p: [0, 1]}]"
    text = edit("rails:\n", f"rails:\n  wide1: {{{rail}}}\n  wide2: {{{rail}}}\n")
    text = edit("observations:\n", "observations:\n" + "".join(f"  o{i}: {{{wide}}}\n" for i in range(13)), text)
    (problem,) = problems_of(text, tmp_path)
    assert (problem.path, (problem.line, problem.column)) == ("observations", place_of("observations:", text))
    assert problem.message.endswith("combinations in all; put rails in between")
