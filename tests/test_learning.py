"""Learning from patterns: counts against the engine, gradients against differences, a climb that never falls."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from learners import JOBS, aim_of, model_of, pattern, tiny_aim
from small_models import TINY, edit, of_one_part
from test_noisy_models import machine, noisy

from faultnet.errors import ContradictoryEvidence
from faultnet.files import load_model
from faultnet.learning.climb import climb
from faultnet.learning.point import Frame, Point
from faultnet.learning.prepare import aim_at
from faultnet.model import Model
from faultnet.model.chances import SHARES, chances_of, with_chances
from faultnet.patterns import Pattern, Patterns
from faultnet.readings import Nominal


def log_evidence(model: Model, told: Pattern) -> float:
    return model.compiled.engine.belief(told.steps(model)).log_evidence


# -- expected counts ---------------------------------------------------------------------------------------------------

TINY_EVENTS = (
    "look=dark",
    "look=lit@unknown",
    "look=dark:0.7,lit:0.3",
    "volts=0.1",
    "volts=31@unknown",
    "volts=zero",
    "volts=24@settled",
    "reported=another",
    "replace_lamp=not",
    "replace_lamp=works",
)
BACKLIGHT_EVENTS = (
    "flashlight=image_seen",
    "startup_flash=flash_then_off@unknown",
    "loaded_voltage=0.1",
    "loaded_voltage=61.5",
    "open_voltage=88",
    "open_voltage=0@settled",
    "strip_tester=dark",
    "blink_code=normal_on@not_showing",
    "replace_strips=not",
    "replace_driver=works",
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.sampled_from(TINY_EVENTS), max_size=6),
    st.sampled_from([{}, {"age": "old"}]),
    st.sampled_from([None, Nominal.label(30)]),
)
def test_a_pattern_weighs_what_the_engine_says(
    events: list[str], known: dict[str, str], nominal: Nominal | None
) -> None:
    """Findings, soft ones, readings that share a condition with the priors, doubtful symptoms, repairs: to 1e-9."""
    model = model_of(TINY)
    told = pattern(model, events, given=known, nominal=nominal)
    try:
        expected = log_evidence(model, told)
    except ContradictoryEvidence:
        return
    aim = aim_of(model, (told, 3))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("faultnet.learning.forms.RARE", 0.0)  # nothing is left out for being rare
        found = aim.history.expect(aim.frame.own)
    if "replace_lamp=works" not in events or not any("@unknown" in event for event in events):
        assert found.log_evidence[0] == pytest.approx(expected, abs=1e-9)
    assert found.roots.sum() == pytest.approx(3)


def test_what_the_end_of_a_job_says() -> None:
    """Bayes by hand: a lamp replaced, then proved bad, or back with the same complaint, or a set that fails at times.

    The lamp or another cause; after the repair the set works if the lamp was bad and is cured, or nothing was wrong.
    """
    model = model_of(TINY)

    def chance_of_lamp(told: Pattern) -> float:
        aim = aim_of(model, (told, 1))
        roots = aim.history.expect(aim.frame.own).roots.sum(axis=0)
        is_lamp = np.tile(aim.history.layout.engine.axes.index["lamp"].reshape(-1) > 0, aim.history.layout.n_coupled)
        return float(roots @ is_lamp)

    def odds(told: Pattern) -> float:
        return chance_of_lamp(told) / (1 - chance_of_lamp(told))

    fixed = pattern(model, ["replace_lamp=works"], outcome="fixed", verification="symptom_cleared")
    assert odds(replace(fixed, verification="not_verified")) == pytest.approx(odds(fixed))
    assert odds(replace(fixed, verification="part_tested")) == pytest.approx(odds(fixed) * 97 / 3)
    assert odds(replace(fixed, verification="proved_by_swap")) == pytest.approx(odds(fixed) * 92 / 8)
    assert odds(replace(fixed, came_back="open")) == pytest.approx(odds(fixed))
    back = chance_of_lamp(replace(fixed, came_back="same"))
    assert back < chance_of_lamp(fixed)
    before = chance_of_lamp(pattern(model, []))
    assert back > before * 0.8
    doubtful = pattern(model, ["look=dark@unknown", "replace_lamp=works"], outcome="fixed")
    certain = pattern(model, ["look=dark", "replace_lamp=works"], outcome="fixed")
    watched = replace(doubtful, came_back="no")
    assert chance_of_lamp(doubtful) < chance_of_lamp(watched) < chance_of_lamp(certain)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.sampled_from(BACKLIGHT_EVENTS), max_size=7))
def test_rare_worlds_that_are_left_out_do_not_matter(events: list[str]) -> None:
    """A real model, whose states beyond 1e-11 are left out: to 1e-3 nats in jobs as odd as these, before focusing."""
    model = load_model("backlight@0")
    told = pattern(model, [event.removesuffix("@unknown").removesuffix("@not_showing") for event in events])
    try:
        expected = log_evidence(model, told)
    except ContradictoryEvidence:
        return
    aim = aim_of(model, (told, 1))
    assert aim.history.expect(aim.frame.own).log_evidence[0] == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("event", ["open_voltage=0.3@not_showing", "open_voltage=40@unknown"])
def test_worlds_that_differ_in_what_a_healthy_set_shows_stay_apart(event: str) -> None:
    """How far a healthy driver goes hangs on its policy, also where the faulty one of this world shows the same."""
    model = load_model("backlight@0")
    told = pattern(model, [event])
    aim = aim_of(model, (told, 1))
    found = aim.history.expect(aim.frame.own).log_evidence[0]
    assert found == pytest.approx(log_evidence(model, told), abs=1e-5)  # rare worlds are left out


def test_focusing_changes_little() -> None:
    model = load_model("backlight@0")
    jobs = [pattern(model, events) for events in (BACKLIGHT_EVENTS[:8], BACKLIGHT_EVENTS[5:9], BACKLIGHT_EVENTS[2:])]
    aim = aim_of(model, *((job, 2) for job in jobs))
    whole = aim.history.expect(aim.frame.own).log_evidence
    focused = aim.history.focused(aim.frame.own)
    assert focused.forms.most_outlines < aim.history.forms.most_outlines
    assert focused.expect(aim.frame.own).log_evidence == pytest.approx(whole, abs=1e-3)


def test_expected_counts_are_how_the_log_evidence_grows() -> None:
    """Fisher's identity: N = p d log P(evidence) / d p, by differences of the engine's own answers."""
    model = model_of(TINY)
    told = pattern(model, ["look=dark", "volts=31@unknown", "replace_lamp=not", "volts=0.2"], given={"age": "old"})
    aim = aim_of(model, (told, 1))
    counts = aim.counts(aim.frame.own, aim.history.expect(aim.frame.own))
    wanted = [c for c in chances_of(model) if c.kind in ("row", "success", "arrives_faulty") and "reported" not in c.id]
    for each in wanted:
        place = aim.frame.place[each.id]
        found = np.array([grows(model, told, each.id, state) for state in range(len(each.means))])
        own = counts[place] - counts[place].sum() * np.array(each.means)
        assert own == pytest.approx(found, abs=2e-6), each.id
    assert counts.sum() > 2


def grows(model: Model, told: Pattern, id_: str, state: int) -> float:
    """How the log evidence grows with the logarithm of one chance, the others of its row scaled down."""
    own = next(c for c in chances_of(model) if c.id == id_)
    values = []
    for by in (1e-5, -1e-5):
        means = np.array(own.means) * np.where(np.arange(len(own.means)) == state, np.exp(by), 1.0)
        changed = with_chances(model, [replace(own, means=tuple((means / means.sum()).tolist()))], f"{model.id}@1")
        odds = tuple(model.compiled.odds[mode] for mode in model.modes)
        values.append(log_evidence(replace(changed, root_odds=odds), told))
    return (values[0] - values[1]) / 2e-5


# -- the gradient ------------------------------------------------------------------------------------------------------


def tilted(frame: Frame, id_: str, by: float) -> Point:
    chances, place = frame.own.chances.copy(), frame.place[id_]
    own = chances[place] * np.where(np.arange(place.stop - place.start) == 0, np.exp(by), 1.0)
    chances[place] = own / own.sum()
    return Point(frame.own.odds, chances)


def test_the_gradient_of_what_causes_the_complaint() -> None:
    """Odds, links and conditions, of jobs brought in with the complaint: against differences of the aim."""
    model = model_of(TINY)
    jobs = [
        (pattern(model, ["look=dark", "volts=0.1"], given={"age": "young"}), 5),
        (pattern(model, ["volts=33", "replace_lamp=works"]), 7),
        (pattern(model, ["reported=another", "look=lit"]), 2),
        (pattern(model, ["look=dark"]), 1),
    ]
    aim = aim_of(model, *jobs)
    own, frame = aim.frame.own, aim.frame

    def value(point: Point) -> float:
        return aim.value(point, aim.history.expect(point))

    by_odds, by_links, by_condition, _ = aim.causes.gradient(own, aim.history.expect(own))
    for mode in range(len(own.odds)):
        by = np.where(np.arange(len(own.odds)) == mode, 1e-5, 0.0)
        up, down = (value(Point(own.odds * np.exp(s * by), own.chances)) for s in (1, -1))
        assert (up - down) / 2e-5 == pytest.approx(by_odds[mode], abs=1e-5)
    link = "collateral.lamp.shorted.supply.dead"
    chance = own.chances[frame.place[link]][0]
    found = (value(tilted(frame, link, 1e-5)) - value(tilted(frame, link, -1e-5))) / 2e-5
    assert found == pytest.approx(by_links[0][0] - by_links[0].sum() * chance, abs=1e-5)
    found = (value(tilted(frame, "condition.age", 1e-5)) - value(tilted(frame, "condition.age", -1e-5))) / 2e-5
    assert found == pytest.approx(by_condition["age"][0], abs=1e-5)


def test_the_model_as_written_is_where_its_prior_is_highest() -> None:
    """Without jobs nothing changes, whatever is climbed from."""
    model = model_of(TINY)
    aim = aim_of(model, (pattern(model, []), 0))
    shares, second = aim.causes.shares_now(aim.frame.own)
    assert shares == pytest.approx(list(model.shares.values()), abs=1e-9)
    assert second == pytest.approx(model.second_fault_share, abs=1e-9)
    start = Point(aim.frame.own.odds * [2, 0.5, 3, 1], aim.frame.scaled(aim.frame.own.chances**0.7))
    best = climb(aim, start, tolerance=1e-13)
    shares, second = aim.causes.shares_now(best.point)
    assert shares == pytest.approx(list(model.shares.values()), abs=1e-5)
    assert second == pytest.approx(model.second_fault_share, abs=1e-5)


# -- climbing ----------------------------------------------------------------------------------------------------------


def test_the_aim_never_falls_and_the_short_way_ends_where_the_long_one_does() -> None:
    aim = tiny_aim()
    quick, slow = (
        climb(aim, aim.frame.own, tolerance=1e-12),
        climb(aim, aim.frame.own, tolerance=1e-12, accelerated=False, most_steps=5000),
    )
    for found in (quick, slow):
        assert np.all(np.diff(found.values) >= -1e-9 * abs(found.value))
        assert found.converged
    assert quick.value == pytest.approx(slow.value, abs=1e-6)
    assert quick.point.chances == pytest.approx(slow.point.chances, abs=1e-3)
    assert quick.steps < slow.steps
    by_odds, *_ = aim.causes.gradient(quick.point, quick.expected)
    assert np.abs(by_odds).max() < 1e-2


def test_a_pattern_of_two_jobs_is_the_pattern_twice() -> None:
    model = model_of(TINY)
    one = aim_of(model, *((pattern(model, events), 2 * n) for events, n in JOBS))
    two = aim_of(model, *((pattern(model, events), n) for events, n in (*JOBS, *JOBS)))
    own = one.frame.own
    assert one.value(own, one.history.expect(own)) == pytest.approx(two.value(own, two.history.expect(own)))
    better = one.improved(own, one.history.expect(own)), two.improved(own, two.history.expect(own))
    assert better[0].chances == pytest.approx(better[1].chances)


def test_shares_of_jobs_whose_cause_is_known() -> None:
    """(N + s p0) / (sum N + s): one part, every complaint confirmed alike, the cause of each job seen for sure."""
    text = of_one_part()
    text = edit("      - {when: {light: none}, p: [0.95, 0.05]}\n      - {p: [0.02, 0.98]}\n", ROWS, text)
    text = edit("    states: [dark, lit]\n    labels: {dark: no light}\n    given: [light]", LOOK, text)
    text = edit("confirmed_by: {look: dark}\n", "", edit("    odds:\n      old: {lamp.open: 2}\n", "", text))
    model = model_of(text)
    aim = aim_of(model, *((pattern(model, [f"look={state}"]), n) for state, n in (("dark", 30), ("lit", 50))))
    best = climb(aim, aim.frame.own, tolerance=1e-14)
    shares, _ = aim.causes.shares_now(best.point)
    prior = np.array(list(model.shares.values()))
    assert shares == pytest.approx((np.array([30, 50]) + 10 * prior) / 90, abs=1e-4)


ROWS = (
    "      - {when: {lamp: open}, p: [1, 0, 0], strength: 1000000}\n"
    "      - {when: {lamp: shorted}, p: [0, 1, 0], strength: 1000000}\n      - {p: [0, 0, 1]}\n"
)
LOOK = "    states: [dark, lit, nothing]\n    labels: {dark: no light}\n    given: [lamp]"


def test_learned_numbers_make_a_model_with_the_learned_odds() -> None:
    """Odds to shares, and from the shares back to the odds: the two roads meet."""
    aim = tiny_aim()
    best = climb(aim, aim.frame.own)
    learned = aim.chances_at(best.point, best.expected)
    model = with_chances(aim.model, learned, "tiny@1")
    assert [model.compiled.odds[mode] for mode in model.modes] == pytest.approx(best.point.odds, rel=1e-6)
    shares = next(each for each in learned if each.id == SHARES)
    assert sum(shares.means) == pytest.approx(1)
    assert shares.jobs == pytest.approx(80)
    assert shares.strength_jobs == pytest.approx(90)


def test_counts_of_effects_in_noisy_forms() -> None:
    """A noisy-OR and a noisy-MAX: how the engine's log evidence grows with each effect and leak, as for rows."""
    model = model_of(machine(noisy()))
    told = pattern(model, ["hum=hums", "heat=warm"])
    aim = aim_of(model, (told, 1))
    counts = aim.counts(aim.frame.own, aim.history.expect(aim.frame.own))
    for each in chances_of(model):
        if each.kind == "row" and "reported" not in each.id:
            place = aim.frame.place[each.id]
            found = np.array([grows(model, told, each.id, state) for state in range(len(each.means))])
            own = counts[place] - counts[place].sum() * np.array(each.means)
            assert own == pytest.approx(found, abs=2e-6), each.id
    elicited = model_of(machine(noisy(with_leak=True)))
    asked = aim_of(elicited, (pattern(elicited, ["hum=hums"]), 1))
    counts = asked.counts(asked.frame.own, asked.history.expect(asked.frame.own))
    assert counts[asked.frame.rows_place("hum")].sum() == 0  # not told apart from the leak: left as they are


def test_how_often_normal_results_are_left_out_is_found() -> None:
    """Jobs as often as the model says they are, three of ten normal results and one of ten others not written down.

    Where the numbers are the true ones, so is the maximum: nothing moves. Blanks taken for nothing at all do move it.
    """
    model = model_of(TINY)
    is_written = {"lit": 0.7, "dark": 0.9}
    counted, total = [], 0.0
    for look in (*is_written, ""):
        for volts in ("zero", "normal", ""):
            seen = [f"{name}={state}" for name, state in (("look", look), ("volts", volts)) if state]
            chance = 0.0
            for state in is_written if not look else (look,):
                full = pattern(model, [f"look={state}", *(each for each in seen if "volts" in each)])
                written = is_written[state] if look else 1 - is_written[state]
                chance += np.exp(log_evidence(model, full)) * written
            chance *= 0.5  # volts were measured in half of the jobs
            counted.append((pattern(model, seen), chance))
            total += chance
    jobs = Patterns.of(model.id, [(told, 1e6 * chance / total) for told, chance in counted])
    aim = aim_at(model, jobs, usual_leaves=("look",))
    start = aim.frame.own
    best = climb(aim, start, tolerance=1e-12)
    assert aim.written(best.point)["look"] == pytest.approx((0.7, 0.9), abs=2e-3)
    places = [aim.frame.place[f"row.look.{number}"] for number in (0, 2)]
    for place in places:
        assert best.point.chances[place] == pytest.approx(start.chances[place], abs=2e-3)
    assert np.diff(best.values).min() > -1e-6
    ignored = aim_at(model, jobs)
    moved = climb(ignored, ignored.frame.own, tolerance=1e-12).point.chances
    assert max(abs(moved[place] - start.chances[place]).max() for place in places) > 0.01
