"""Repairs and their outcomes as evidence, and tests that alter the set: against enumeration, by hand, and in general.

That a repair which did not help is evidence, and which, follows Breese & Heckerman 1996 ("Decision-theoretic
troubleshooting", section on repair outcomes: what was not touched persists). The chances in the small models are
invented.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from bench_models import COLLATERAL, PLAIN, lamp
from hypothesis import given, settings
from hypothesis import strategies as st
from oracle import Oracle
from small_models import edit, of_one_part, write_model
from unaltered import without_alterations

from faultnet.case import Case, Finding, Reading, RepairOutcome, believe, parse_events
from faultnet.case.doubts import doubts
from faultnet.case.entry import written
from faultnet.case.order import order_of
from faultnet.case.steps import counted_events, replaced
from faultnet.case.words import made_again
from faultnet.cpt import Floats
from faultnet.diagnosis import diagnose
from faultnet.engine.evidence import Change, Step, finding
from faultnet.errors import ContradictoryEvidence
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.model.work import Alteration, BenchState
from faultnet.ranking import rank_tests
from faultnet.repairs import rank_repairs

ARRIVES = {"new_bulb": 0.05, "new_battery": 0.12}
WIGGLED = Alteration("contact", "dirty", "ok", 0.3, "reasoned")
BROKEN_OFF = Alteration("contact", "dirty", "broken", 0.1, "reasoned")


@cache
def altering_lamp(engine: str = "auto") -> Model:
    """The lamp with bad new parts, and with a test that may clean the switch or break it."""
    model = lamp()
    repairs = {id_: replace(r, arrives_faulty=ARRIVES.get(id_, 0.0)) for id_, r in model.repairs.items()}
    tests = {**model.tests, "filament": replace(model.tests["filament"], alters=(WIGGLED, BROKEN_OFF))}
    return replace(model, repairs=repairs, tests=tests, engine=engine, root_odds=tuple(model.compiled.odds.values()))


def case_of(model: Model, *texts: str) -> Case:
    return Case(parse_events(model, texts))


@cache
def backlight() -> Model:
    return load_model("backlight")


# -- against enumeration -----------------------------------------------------------------------------------------------

# For each: what is typed, and what happens by hand, in order: findings, the repairs with their outcome, `alter`.
HISTORIES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "several at once": (
        ("seen_again=dark", "new_bulb+new_battery=not", "glow=glows"),
        ("seen_again=dark", "new_bulb+new_battery=not", "glow=glows"),
    ),
    "two at once that share a part": (("seen_again=dark", "overhaul+new_bulb=not"),) * 2,
    "the same twice at once counts once": (("new_battery+new_battery=not",), ("new_battery=not",)),
    "again and again": (("seen_again=dark", "new_battery=not", "new_battery=not", "new_battery=not"),) * 2,
    "works at last": (("seen_again=dark", "new_bulb=not", "overhaul=not", "new_battery=works"),) * 2,
    "worked, then came back with a bad new part": (("new_bulb=works", "new_battery=not"),) * 2,
    "a test that alters": (("filament=conducts", "seen_again=dark"), ("filament=conducts", "alter", "seen_again=dark")),
    "altered at the end": (("seen_again=dark", "filament=conducts"), ("seen_again=dark", "filament=conducts", "alter")),
    "altered, then repaired": (
        ("filament=conducts", "overhaul=not", "filament=conducts", "new_battery=not"),
        ("filament=conducts", "alter", "overhaul=not", "filament=conducts", "alter", "new_battery=not"),
    ),
    "two entries of one test alter once, and the last counts": (
        ("filament=open", "filament=conducts", "glow=stays_dark"),
        ("filament=conducts", "alter", "glow=stays_dark"),
    ),
    "another hand in one go alters once": (
        ("filament=conducts@by:anna", "filament=conducts@by:ben", "glow=stays_dark"),
        ("filament=conducts", "filament=conducts", "alter", "glow=stays_dark"),
    ),
    "what the test touches is looked at anew": (
        ("seen_again=dark", "filament=conducts", "seen_again=lit"),
        ("seen_again=dark", "filament=conducts", "alter", "seen_again=lit"),
    ),
    "what it does not touch is not": (
        ("filament=short", "glow=glows", "filament=conducts", "glow=stays_dark"),
        ("filament=conducts", "alter", "glow=glows", "alter", "glow=stays_dark"),
    ),
    "the bulb again, after a new battery": (
        ("filament=short", "new_battery=not", "filament=conducts"),
        ("filament=conducts", "alter", "new_battery=not", "alter"),
    ),
    "the bulb again, after a new one": (
        ("filament=short", "new_bulb=not", "filament=conducts"),
        ("filament=short", "alter", "new_bulb=not", "filament=conducts", "alter"),
    ),
    "weighing has nothing to do with repairs": (
        ("scale=light", "new_bulb+new_battery=not", "scale=heavy", "overhaul=not", "scale=light"),
        ("scale=light", "new_bulb+new_battery=not", "overhaul=not"),
    ),
}


def by_hand(model: Model, told: Sequence[str]) -> list[Step]:
    """The steps of a history, written out with loops."""
    network = model.compiled.network
    steps: list[Step] = [finding(network, "reported", "dark")]
    for what in told:
        name, _, state = what.partition("=")
        if what == "alter":
            dirty, broken = 1, 2
            matrix = np.eye(3)
            matrix[dirty] = [0.3, 0.6, 0.1]
            assert network["contact"].states == ("ok", "dirty", "broken")
            assert matrix[dirty, broken] == 0.1
            steps.append(Change("contact", matrix))
        elif name in network:
            steps.append(finding(network, name, state))
        else:
            for repair in name.split("+"):
                for part in model.repairs[repair].fixes:
                    steps.append(Change(part, by_hand_replaced(model, repair, part)))
            steps.append(finding(network, "set_works", "yes" if state == "works" else "no"))
    return steps


def by_hand_replaced(model: Model, repair: str, part: str) -> Floats:
    success, arrives = model.repairs[repair].success, ARRIVES.get(repair, 0.0)
    shares = {"bulb": [0.5, 0.1], "battery": [0.25], "contact": [0.1, 0.05]}[part]
    matrix = np.zeros((len(shares) + 1, len(shares) + 1))
    matrix[0, 0] = 1 - arrives
    for n, share in enumerate(shares, start=1):
        matrix[0, n] = arrives * share / sum(shares)
        matrix[n, 0], matrix[n, n] = success, 1 - success
    return matrix


@pytest.mark.parametrize("engine", ["table", "tree"])
@pytest.mark.parametrize("name", HISTORIES)
def test_a_history_is_what_enumeration_says(name: str, engine: str) -> None:
    model = altering_lamp(engine)
    typed, told = HISTORIES[name]
    network = model.compiled.network
    oracle = Oracle(network, tuple(model.components), by_hand(model, [text.partition("@")[0] for text in told]))
    belief = believe(model, case_of(model, *typed))
    assert pytest.approx(oracle.log_evidence, abs=1e-10) == belief.log_evidence
    for node in (*model.components, *model.conditions, *model.observations):
        np.testing.assert_allclose(belief.marginal(node), oracle.joint([node]), rtol=0, atol=1e-10, err_msg=node)
    parts = tuple(model.components)
    np.testing.assert_allclose(belief.joint(parts), oracle.joint(parts), rtol=0, atol=1e-10)
    for leaf in ("seen_again", "glow", "filament"):
        assert pytest.approx(oracle.gain_bits([leaf]), abs=1e-10) == belief.gain_bits((leaf,))


# -- by hand -----------------------------------------------------------------------------------------------------------


def test_one_component_by_hand(tmp_path: Path) -> None:
    """A single part, ok or open or shorted: what is left after one and after two parts that did not help."""
    text = edit("arrives_faulty: 0.03", "arrives_faulty: 0.05", of_one_part())
    model = load_model(write_model(tmp_path, text), use_cache=False)
    at_first = believe(model, case_of(model, "look=dark")).marginal("lamp")
    ok, opened, shorted = at_first.tolist()
    left = [0.1 * opened + 0.05 * ok * 0.9, 0.1 * shorted + 0.05 * ok * 0.1]  # of the shares .9 is open, .1 shorted
    once = believe(model, case_of(model, "look=dark", "replace_lamp=not"))
    np.testing.assert_allclose(once.marginal("lamp"), [0, left[0] / sum(left), left[1] / sum(left)], atol=1e-12)
    evidence = believe(model, case_of(model, "look=dark")).log_evidence
    assert pytest.approx(evidence + np.log(sum(left))) == once.log_evidence
    twice = believe(model, case_of(model, "look=dark", "replace_lamp=not", "replace_lamp=not"))
    np.testing.assert_allclose(twice.marginal("lamp"), once.marginal("lamp"), atol=1e-12)  # .1 of each is left
    assert pytest.approx(evidence + np.log(sum(left)) + np.log(0.1)) == twice.log_evidence
    works = believe(model, case_of(model, "look=dark", "replace_lamp=works"))
    assert pytest.approx(evidence + np.log(0.95 * ok + 0.9 * (opened + shorted))) == works.log_evidence


def test_a_new_part_goes_from_state_to_state_as_the_model_says() -> None:
    model = altering_lamp()
    np.testing.assert_allclose(replaced(model, "new_battery", "battery"), [[0.88, 0.12], [0.95, 0.05]])
    bulb = [[0.95, 0.05 * 5 / 6, 0.05 / 6], [0.9, 0.1, 0], [0.9, 0, 0.1]]
    np.testing.assert_allclose(replaced(model, "new_bulb", "bulb"), bulb)
    np.testing.assert_allclose(replaced(model, "overhaul", "contact"), [[1, 0, 0], [0.8, 0.2, 0], [0.8, 0, 0.2]])


# -- in general --------------------------------------------------------------------------------------------------------

NAMES = ("replace_strips", "replace_driver", "replace_main_board", "repair_cable", "reset_settings")
before_repairs = st.lists(
    st.sampled_from(["bl_on=low", "feed_rail=ok", "startup_flash=none", "known_load=does_not",
                     "loaded_voltage=0.2", "open_voltage=61", "strip_tester=dark"]),
    max_size=4, unique=True,
)  # fmt: skip
PLAIN_FINDINGS = {
    o: obs.states for o, obs in load_model("backlight").observations.items() if o != load_model("backlight").complaint
}


@settings(max_examples=25)
@given(before_repairs, st.lists(st.sampled_from(NAMES), min_size=2, max_size=3, unique=True))
def test_repairs_made_at_once_come_in_any_order(seen: list[str], names: list[str]) -> None:
    events = parse_events(backlight(), seen)
    first = believe(backlight(), Case((*events, RepairOutcome(names, False))))
    for order in permutations(names):
        other = believe(backlight(), Case((*events, RepairOutcome(order, False))))
        np.testing.assert_allclose(other.targets, first.targets, rtol=0, atol=1e-12)
        assert pytest.approx(first.log_evidence, abs=1e-9) == other.log_evidence


@settings(max_examples=25)
@given(before_repairs, st.lists(st.sampled_from(NAMES), min_size=1, max_size=3, unique=True))
def test_a_set_that_works_has_no_fault_and_one_that_does_not_has_one(seen: list[str], names: list[str]) -> None:
    model, events = backlight(), parse_events(backlight(), seen)
    before = believe(model, Case(events)).log_evidence
    works, fails = (believe(model, Case((*events, RepairOutcome(names, works)))) for works in (True, False))
    assert pytest.approx(1, abs=1e-12) == works.targets[0]
    assert pytest.approx(0, abs=1e-12) == fails.targets[0]
    assert pytest.approx(1) == np.exp(works.log_evidence - before) + np.exp(fails.log_evidence - before)


@settings(max_examples=40)
@given(before_repairs, st.sampled_from(sorted(PLAIN_FINDINGS)), st.sampled_from(NAMES), st.data())
def test_what_a_useless_repair_lies_between_counts_once_at_either_place(
    seen: list[str], observation: str, repair: str, data: st.DataObject
) -> None:
    model = without_alterations(backlight())
    touched = set(model.repairs[repair].fixes) & model.compiled.moved_with[observation]
    events = [e for e in parse_events(model, seen) if getattr(e, "observation", "") != observation]
    one, other = (Finding(observation, data.draw(st.sampled_from(PLAIN_FINDINGS[observation]))) for _ in range(2))
    failed = RepairOutcome(repair, False)
    twice = Case((*events, one, failed, other))
    before, after = Case((*events, other, failed)), Case((*events, failed, other))
    if touched:
        assert not twice.superseded(model)
        assert observation not in before.known(model)
        return
    assert twice.superseded(model) == {len(events): len(events) + 2}
    assert observation in before.known(model)
    beliefs = [believe(model, case) for case in (twice, before, after)]
    for belief in beliefs[1:]:
        np.testing.assert_allclose(belief.targets, beliefs[0].targets, rtol=0, atol=1e-12)
        assert pytest.approx(beliefs[0].log_evidence, abs=1e-9) == belief.log_evidence


@pytest.mark.parametrize("collateral", [PLAIN, COLLATERAL])
def test_what_moves_with_a_component_is_what_a_change_of_it_changes(collateral: str) -> None:
    """Against enumeration: every observation, before and after each component was changed at random."""
    model = lamp(collateral=collateral)
    network, parts, rng = model.compiled.network, tuple(model.components), np.random.default_rng(3)
    for part in parts:
        n = len(network[part].states)
        change = Change(part, rng.dirichlet(np.ones(n), n))
        before, after = Oracle(network, parts), Oracle(network, parts, [change])
        for leaf in model.observations:
            joint = [oracle.joint([leaf, *(p for p in parts if p != part)]) for oracle in (before, after)]
            moved = bool(np.abs(joint[0] - joint[1]).max() > 1e-9)
            assert moved == (part in model.compiled.moved_with[leaf]), (part, leaf)


# -- what follows for the bench ----------------------------------------------------------------------------------------


def test_what_failed_strips_leave_alone_is_not_advised_again() -> None:
    model, seen = backlight(), ("sound=present", "flashlight=image_seen", "open_voltage=61", "known_load=drives_load")
    case = case_of(model, *seen, "strip_tester=dark", "replace_strips=not")
    open_now = {test.test for test in rank_tests(model, case).tests}
    assert {"open_voltage", "known_load", "sound"} <= case.known(model)
    assert {"open_voltage", "known_load", "sound"}.isdisjoint(open_now)
    assert {"strip_tester", "startup_flash"} <= open_now
    new_driver = {test.test for test in rank_tests(model, case_of(model, *seen, "replace_driver=not")).tests}
    assert {"open_voltage", "known_load"} <= new_driver


def test_power_stays_off_until_what_was_burnt_is_repaired() -> None:
    model = backlight()
    assert case_of(model, "visual=bulged_cap", "replace_main_board=not").no_power(model) == "visual=bulged_cap"
    assert case_of(model, "visual=bulged_cap", "replace_supply=not").no_power(model) == ""


def test_a_test_alters_the_set_whatever_becomes_of_its_reading() -> None:
    model = backlight()
    plain, aside = case_of(model, "bl_on=high"), case_of(model, "bl_on=high", "open_voltage=OL")
    assert counted_events(model, aside) == [0]
    bad = [believe(model, case).marginal("led_cable")[1] for case in (plain, aside)]
    assert pytest.approx(0.85 * bad[0]) == bad[1]
    still_out = believe(model, replace(aside, making="strip_tester")).marginal("led_cable")[1]
    assert pytest.approx(bad[0]) == still_out


def test_readings_are_weighed_together_until_one_of_them_is_touched() -> None:
    model = backlight()

    def together(*texts: str) -> dict[int, tuple[int, ...]]:
        return {
            n: readings for n, readings in order_of(model, case_of(model, *texts).events).readings.items() if readings
        }

    assert together("loaded_voltage=0", "open_voltage=61") == {1: (0, 1)}  # replugging touches what loads it
    assert together("open_voltage=61", "loaded_voltage=0") == {2: (0, 1)}  # but not the unplugged driver
    assert together("loaded_voltage=0", "replace_strips=not", "loaded_voltage=1") == {1: (0,), 3: (2,)}
    assert together("open_voltage=61", "replace_strips=not", "loaded_voltage=1") == {3: (0, 2)}
    # read again after new strips, the unplugged volts count with what they were first read with
    assert together("loaded_voltage=0", "open_voltage=61", "replace_strips=not", "open_voltage=60") == {1: (0, 3)}


def test_weights_add_up_over_repairs_and_tests_that_alter() -> None:
    model = backlight()
    case = case_of(
        model, "sound=present", "strip_tester=dark", "replace_strips+reset=not", "open_voltage=61", "bl_on=high"
    )
    told = diagnose(model, case, n_draws=5)
    for component in {weight.component for weight in told.weights}:
        chances = [believe(model, c).marginal(component)[0] for c in (Case(), case)]
        before, after = (np.log2(1 - ok) - np.log2(ok) for ok in chances)
        assert pytest.approx(after - before) == sum(w.bits for w in told.weights if w.component == component)


@pytest.mark.parametrize("seen", [(), ("strip_tester=dark",), ("bl_on=low", "replace_main_board=not")])
def test_cures_are_the_chance_that_the_set_works_then(seen: tuple[str, ...]) -> None:
    model, case = backlight(), case_of(backlight(), *seen)
    before = believe(model, case)
    for repair in rank_repairs(model, case):
        works = believe(model, case.after(RepairOutcome(repair.repair, True)))
        assert pytest.approx(np.exp(works.log_evidence - before.log_evidence)) == repair.cures


def test_repairs_made_together_are_tried_and_leave_the_set_closed() -> None:
    model = backlight()
    case = case_of(model, "visual=nothing", "replace_strips+replace_driver=works")
    assert case.just_repaired
    ranking = rank_tests(model, case)
    assert ranking.bench == BenchState()
    assert ranking.advice.kind == "stop"
    assert not case_of(model, "replace_strips+replace_driver=not").just_repaired


def test_an_impossible_history_names_the_repairs_in_it() -> None:
    model = backlight()
    with pytest.raises(ContradictoryEvidence, match="repair_cable and reset_settings: made together"):
        diagnose(model, case_of(model, "repair_cable+reset=works", "sound=present", "repair_cable=not"))


def test_entries_about_repairs_are_doubted_and_noted() -> None:
    model = backlight()
    (twice,) = parse_events(model, ["replace_strips+new_strips=not"])
    assert doubts(twice, model) == (
        "replace_strips stands here twice and counts once; a repair made again is an entry of its own",
    )
    assert written(twice) == "replace_strips+replace_strips=not"
    lamps = altering_lamp()
    (shared,) = parse_events(lamps, ["overhaul+new_bulb=not"])
    assert doubts(shared, lamps) == (
        "overhaul and new_bulb both see to the bulb: the second counts for what the first has left",
    )
    case = case_of(model, "replace_strips=not", "replace_strips+replace_driver=not", "bl_on=high", "new_strips=works")
    assert made_again(case, 0) == made_again(case, 2) == ()
    assert made_again(case, 1) == (
        "replace_strips for the second time: taken as another part of the same kind, as likely to help",
    )
    assert made_again(case, 3)[0].startswith("replace_strips for the third time")


def test_an_outcome_is_that_of_at_least_one_repair() -> None:
    assert RepairOutcome("new_bulb", works=False) == RepairOutcome(("new_bulb",), works=False)
    assert RepairOutcome(["a", "b"], True).repairs == ("a", "b")
    with pytest.raises(ValueError, match="at least one repair"):
        RepairOutcome((), works=True)


def test_readings_say_what_they_said_as_long_as_what_they_hang_on_is_there() -> None:
    model = backlight()
    seen = ("sound=present", "flashlight=image_seen", "loaded_voltage=0.2", "open_voltage=61", "replace_strips=not")
    told = {reading.event: reading for reading in diagnose(model, case_of(model, *seen), n_draws=5).readings}
    assert isinstance(case_of(model, *seen).events[2], Reading)
    assert not told[2].faults
    assert told[3].faults
