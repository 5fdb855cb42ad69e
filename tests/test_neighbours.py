"""What models say of sets they do not fit and of other models: refusals, where to go on, a better-fitting complaint."""

import json
import re
from dataclasses import replace
from functools import cache
from math import isinf
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from model_slips import CARET
from small_models import TINY, WITH_NEIGHBOURS, edit, place_of, write_model
from test_cli import run
from test_intake import FAMILIES, FAMILY_SHARES, rows_of

from faultnet.case import Case, SoftFinding, parse_events
from faultnet.case.entry import parse_given, written
from faultnet.diagnosis import BetterFit, better_fit, diagnose, translated
from faultnet.engine.evidence import findings
from faultnet.errors import ModelProblem, UsageProblem
from faultnet.files import fits, load_model
from faultnet.model.model import Model
from faultnet.words import to_one

BACKLIGHTS = ("backlight", "backlight_combined")
every_backlight = pytest.mark.parametrize("name", BACKLIGHTS)


@cache
def model(name: str) -> Model:
    return load_model(name)


def case_of(name: str, *texts: str) -> Case:
    return Case(parse_events(model(name), texts))


def fit(name: str, *texts: str) -> BetterFit | None:
    return better_fit(model(name), model("intake"), translated(model(name), case_of(name, *texts)))


# -- another complaint fits better --------------------------------------------------------------------------------


def by_hand(**likelihoods: dict[str, float]) -> tuple[str, float]:
    """The likeliest family and its odds over "sound, no backlight": share times the chance of what was seen."""
    weights = np.array(list(FAMILY_SHARES.values()))
    for observation, seen in likelihoods.items():
        states = model("intake").observations[observation].states
        weights = weights * (rows_of(observation) @ np.array([seen.get(state, 0.0) for state in states]))
    best = int(np.argmax(weights))
    return FAMILIES[best], float(weights[best] / weights[FAMILIES.index("sound_no_backlight")])


SOUND_ABSENT = {"absent": 1.0, "stops": 1.0}
BETTER: dict[str, tuple[tuple[str, ...], dict[str, dict[str, float]]]] = {
    "no sound": (("sound=absent",), {"sound": SOUND_ABSENT}),
    "neither sound nor image": (
        ("sound=absent", "flashlight=no_image"),
        {"sound": SOUND_ABSENT, "flashlight": {"no_image": 1}},
    ),
    "sound, but no image": (
        ("sound=present", "flashlight=no_image"),
        {"sound": {"present": 1}, "flashlight": {"no_image": 1}},
    ),
    "it stays lit": (
        ("sound=present", "torch=image_seen", "flash=stays_lit"),
        {
            "sound": {"present": 1},
            "flashlight": {"image_seen": 1},
            "light": {"steady": 1, "part": 1, "unsteady": 1},
        },
    ),
    "seen unclearly": (
        ("sound=absent:0.9,present:0.3", "startup_flash=none:0.5,flash_then_off:0.5"),
        {"sound": {"absent": 0.9, "stops": 0.9, "present": 0.3}, "light": {"none": 0.5, "goes_out": 0.5}},
    ),
}


@every_backlight
@pytest.mark.parametrize("seen", BETTER)
def test_a_complaint_that_fits_better_is_named_with_its_ratio(name: str, seen: str) -> None:
    texts, likelihoods = BETTER[seen]
    found, (family, ratio) = fit(name, *texts), by_hand(**likelihoods)
    assert found is not None
    assert (found.state, found.model, found.complaint) == (family, "intake", "sound_no_backlight")
    assert ratio > 1
    assert found.ratio == pytest.approx(ratio, rel=1e-4)


@every_backlight
@pytest.mark.parametrize(
    "texts",
    [
        (),
        ("sound=present",),
        ("sound=present", "flashlight=image_seen"),
        ("sound=present", "flashlight=image_seen", "startup_flash=none"),
        ("sound=present", "flashlight=image_seen", "startup_flash=flash_then_off"),
        ("loaded_voltage=0", "strip_tester=dark"),
    ],
)
def test_findings_that_fit_the_complaint_raise_no_alarm(name: str, texts: tuple[str, ...]) -> None:
    assert fit(name, *texts) is None


def test_a_flash_that_fits_darkness_and_going_out_is_shared_evenly() -> None:
    (event,) = translated(model("backlight"), case_of("backlight", "startup_flash=flash_then_off"))
    assert dict(event.likelihoods) == {"none": 0.5, "goes_out": 1.0}
    (event,) = translated(model("backlight"), case_of("backlight", "startup_flash=none"))
    assert dict(event.likelihoods) == {"none": 0.5}


@pytest.mark.parametrize(
    "texts",
    [
        ("sound=absent@not_showing",),
        ("sound=absent@unknown",),
        ("sound=absent", "sound=present"),
        ("replace_strips=not", "sound=absent"),
        ("blink_code=other_code_or_restart",),
    ],
)
def test_what_says_nothing_of_the_complaint_as_it_came_in_is_left_out(texts: tuple[str, ...]) -> None:
    assert fit("backlight", *texts) is None


def test_only_the_findings_that_count_are_put_into_other_words() -> None:
    case = case_of("backlight", "sound=absent", "torch=no_image@unknown", "sound=present", "visual=nothing")
    assert translated(model("backlight"), case) == (SoftFinding("sound", (("present", 1.0),)),)


def test_the_repair_does_not_hide_what_was_seen_before_it() -> None:
    assert fit("backlight", "sound=absent", "replace_strips=not") is not None


def test_what_it_says_to_type_is_understood_and_gives_the_same_ratio() -> None:
    for texts, _ in BETTER.values():
        found = fit("backlight", *texts)
        assert found is not None
        typed = parse_events(model("intake"), [written(event) for event in found.events])
        diagnosis = diagnose(model("intake"), Case(typed))
        chances = {c.state: c.probability for c in diagnosis.conditions}
        assert chances[found.state] / chances[found.complaint] == pytest.approx(found.ratio, rel=1e-9)


def test_the_other_model_is_not_loaded_when_there_is_nothing_to_ask_it(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: Any) -> Model:
        raise AssertionError("loaded")

    monkeypatch.setattr(fits, "shared_model", refuse)
    assert fits.fits_better(model("backlight"), case_of("backlight", "loaded_voltage=0")) is None
    assert fits.fits_better(model("intake"), case_of("intake", "sound=absent")) is None
    with pytest.raises(AssertionError, match="loaded"):
        fits.fits_better(model("backlight"), case_of("backlight", "sound=absent"))


def test_a_complaint_held_impossible_by_the_other_model_is_infinitely_less_likely() -> None:
    intake = model("intake")
    sound = intake.observations["sound"]
    rows = tuple(
        replace(row, probabilities=(1.0, 0.0, 0.0) if not row.when else row.probabilities) for row in sound.table
    )
    certain = replace(intake, observations={**intake.observations, "sound": replace(sound, table=rows)})
    found = better_fit(model("backlight"), certain, (SoftFinding("sound", (("absent", 1.0),)),))
    assert found is not None
    assert isinf(found.ratio)


@pytest.mark.parametrize(
    ("ratio", "words"),
    [(1.04, "1.0 to 1"), (1.5, "1.5 to 1"), (6.2, "6 to 1"), (80.0, "80 to 1"), (float("inf"), "more than 1000 to 1")],
)
def test_a_ratio_in_words(ratio: float, words: str) -> None:
    assert words == to_one(ratio)


def test_the_answer_starts_with_the_complaint_that_fits_better() -> None:
    first = run("next", "backlight", "sound=absent", "torch=no_image").stdout.split("\n\n")[0]
    assert " ".join(first.split()) == (
        "These findings fit another complaint better: no power 80 to 1 over sound, no backlight (faultnet next intake "
        "sound=absent:1,stops:1 flashlight=no_image)."
    )
    assert run("next", "backlight", "sound=present", "torch=image_seen").stdout.startswith("Sound, but no backlight")


# -- sets that a model does not fit -------------------------------------------------------------------------------


@every_backlight
@pytest.mark.parametrize(("source", "says"), [("self_lit", "no backlight at all"), ("fluorescent_lamp", "Fluorescent")])
def test_lamps_and_self_lit_panels_are_refused(name: str, source: str, says: str) -> None:
    done = run("next", name, "sound=present", "--given", f"light_source={source}", expect=2)
    assert done.stdout == ""
    assert f"{name} does not fit this set" in done.stderr
    assert says in done.stderr
    assert "faultnet next" not in done.stderr


@every_backlight
def test_a_set_that_fits_is_no_evidence(name: str) -> None:
    assert parse_given(model(name), ["light_source=led", "age_band=over_10_years"]) == {"age_band": "over_10_years"}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("light_source=self_lid", "light_source; it has led, fluorescent_lamp, self_lit; did you mean self_lit?"),
        ("light_sorce=led", "unknown condition light_sorce; did you mean light_source or"),
    ],
)
def test_a_slip_in_what_decides_the_fit_is_told_with_the_nearest(text: str, says: str) -> None:
    with pytest.raises(UsageProblem) as raised:
        parse_given(model("backlight"), [text])
    assert says in str(raised.value)


def test_a_fact_about_the_set_typed_as_a_finding_is_told_to_be_given() -> None:
    with pytest.raises(UsageProblem, match="give it with --given"):
        parse_events(model("backlight"), ["light_source=led"])


# -- the answer at intake -----------------------------------------------------------------------------------------

NO_BACKLIGHT = ("sound=present", "light=none", "torch=image_seen")


def test_intake_says_which_kind_of_trouble_which_block_and_which_model_next() -> None:
    text = run("next", "intake", *NO_BACKLIGHT).stdout
    assert [line for line in text.splitlines() if len(line) > 80] == []
    for heading in ("Which kind of trouble", "Which block first", "Do this next", "Which model next"):
        assert f"\n{heading}" in text
    assert re.search(r"sound, no backlight 9\d %: go on with\n    faultnet next backlight,", text)
    assert "faultnet next backlight_combined," in text
    assert "two or more" not in text


def test_intake_names_no_model_for_a_self_lit_panel_nor_for_a_family_that_has_none() -> None:
    text = run("next", "intake", *NO_BACKLIGHT, "--given", "light_source=self_lit").stdout
    assert "no model fits this set" in text
    assert "faultnet next" not in text
    text = run("next", "intake", "sound=absent", "light=none", "standby=dark").stdout
    assert "no power 9" in text
    assert "no model for this kind of trouble yet" in text


def test_intake_does_not_go_on_before_it_is_sure_enough() -> None:
    assert "not sure enough yet; so far sound, no backlight 22 %" in " ".join(run("next", "intake").stdout.split())


@pytest.mark.parametrize("events", [(), ("sound=absent",), (*NO_BACKLIGHT, "blinks=blinks", "reported=shuts_down")])
def test_intake_in_full_keeps_to_80_columns_and_shows_no_certainty(events: tuple[str, ...]) -> None:
    text = run("next", "intake", *events, "--full").stdout
    assert [line for line in text.splitlines() if len(line) > 80] == []
    assert re.findall(r"(?<![\d.])(?:0|100) %", text) == []


def test_json_says_the_same() -> None:
    told = json.loads(run("next", "intake", *NO_BACKLIGHT, "--json").stdout)
    assert {"condition", "state", "probability", "low", "high", "source", "jobs"} == set(told["conditions"][0])
    assert pytest.approx(1) == sum(row["probability"] for row in told["conditions"])
    assert told["continue_with"]["state"] == "sound_no_backlight"
    assert [m["model"] for m in told["continue_with"]["models"]] == ["backlight", "backlight_combined"]
    assert told["fits_better"] is None
    assert told["tests"][0]["outcomes"][0]["conditions"][0]["condition"] == "family"
    assert (told["repairs"], told["held_back"]) == ([], [])
    told = json.loads(run("next", "backlight", "sound=absent", "--json").stdout)
    assert {"family": "no_power", "model": "intake"}.items() <= told["fits_better"].items()
    assert told["fits_better"]["ratio"] == pytest.approx(by_hand(sound=SOUND_ABSENT)[1], rel=1e-4)
    assert (told["conditions"], told["continue_with"]) == ([], None)


def test_intake_is_listed_shown_and_checked() -> None:
    listed = run("model", "list").stdout
    assert [line.split()[0] for line in listed.splitlines()] == ["backlight", "backlight_combined", "intake"]
    assert "family, kind of trouble" in run("model", "show", "intake").stdout
    assert "self_lit" in run("model", "show", "backlight_combined").stdout
    for name in (*BACKLIGHTS, "intake"):
        assert f"{name}@0 is sound" in run("model", "check", name).stdout


# -- a model without a complaint ----------------------------------------------------------------------------------

HEAD = "complaint: {observation: reported, state: dark}\nconfirmed_by: {look: dark}\n"


def test_without_a_complaint_a_case_starts_from_a_set_that_does_not_work(tmp_path: Path) -> None:
    tiny = load_model(write_model(tmp_path, edit(HEAD, "")), use_cache=False)
    assert (tiny.complaint, tiny.brought_in_for, dict(tiny.confirmed)) == ("", ("set_works", "no"), {"set_works": "no"})
    started, without = diagnose(tiny, Case()), diagnose(tiny, Case(with_complaint=False))
    assert started.nothing_found == 0
    assert without.nothing_found > 0.5
    belief = tiny.compiled.engine.belief(findings(tiny.compiled.network, {"set_works": "no"}))
    present = belief.targets @ tiny.compiled.is_mode
    assert list(present / present.sum()) == pytest.approx(list(tiny.shares.values()))
    assert started.two_or_more == pytest.approx(tiny.second_fault_share)


def test_what_confirms_may_stand_without_a_complaint(tmp_path: Path) -> None:
    head = "complaint: {observation: reported, state: dark}\n"
    tiny = load_model(write_model(tmp_path, edit(head, "")), use_cache=False)
    assert dict(tiny.confirmed) == {"set_works": "no", "look": "dark"}


def test_readings_need_a_nominal_voltage_and_other_models_none(tmp_path: Path) -> None:
    nominal = "nominal: {from_volts: 20, to_volts: 60, input_rails_volts: [12], mark: practice}\n"
    with pytest.raises(ModelProblem) as raised:
        load_model(write_model(tmp_path, edit(nominal, "")), use_cache=False)
    assert [p.message for p in raised.value.problems] == [
        "`nominal` is missing; readings in volts are judged against it"
    ]
    assert model("intake").nominal is None


# -- files --------------------------------------------------------------------------------------------------------

# As in model_slips.py: old and new passage, the path of the one problem, its words; a caret marks its place.
SLIPS = [
    ("fits: [bulb, tube]", "^fits: [bulb, bulb]", "refuse.kind.fits", "bulb stands here twice"),
    ("fits: [bulb, tube]", "^fits: []", "refuse.kind.fits", "at least 1 item"),
    ("fits: [bulb, tube]", "^fitz: 1\n    fits: [bulb, tube]", "refuse.kind.fitz", "did you mean fits?"),
    ("{torchlight: A flame", "{^bulb: A flame", "refuse.kind.refused.bulb", "bulb stands under `fits` as well"),
    ("{torchlight: A flame is no lamp.}", "{^torchlight: }", "refuse.kind.refused.torchlight", "nothing is written"),
    ("  kind:\n    label: kind", "  ^age:\n    label: kind", "refuse.age", "already used under conditions"),
    ("refuse:", "^refuze:", "refuze", "unknown section refuze; did you mean refuse?"),
    ("condition: age\n", "^condition: agee\n", "continue_with.condition", "condition agee; did you mean age?"),
    ("    asked: true\n", "", "continue_with.condition", "age is not asked", "condition: age\n"),
    ("    young:\n", "    ^yong:\n", "continue_with.states.yong", "state of age: yong; did you mean young?"),
    ("{backlight: where", "{^Backlight: where", "continue_with.states.young.models.Backlight", "must look like"),
    ("{age: {old: Too", "{^agee: {old: Too", "continue_with.states.young.unless.agee", "did you mean age?"),
    ("{old: Too", "{^odl: Too", "continue_with.states.young.unless.age.odl", "odl; did you mean old?"),
    ("    look: {as:", "    ^lock: {as:", "compare_with.findings.lock", "observation lock; did you mean look?"),
    ("{as: light,", "{^az: light, as: light,", "compare_with.findings.look.az", "did you mean as?"),
    ("{dark: none,", "{^drak: none,", "compare_with.findings.look.states.drak", "drak; did you mean dark?"),
    ("lit: [steady, part]", "^lit: [part, part]", "compare_with.findings.look.states.lit", "part stands here twice"),
    ("  model: intake\n", "", "compare_with.model", "is missing", "compare_with:"),
]


@pytest.mark.parametrize(("old", "new", "path", "says", "at"), [(*slip, "")[:5] for slip in SLIPS])
def test_one_slip_is_one_problem_at_its_place(
    old: str, new: str, path: str, says: str, at: str, tmp_path: Path
) -> None:
    broken = edit(old, new.replace(CARET, ""), WITH_NEIGHBOURS)
    place = place_of(at, broken) if at else place_of(CARET, edit(old, new, WITH_NEIGHBOURS))
    with pytest.raises(ModelProblem) as raised:
        load_model(write_model(tmp_path, broken), use_cache=False)
    (problem,) = raised.value.problems
    assert (problem.path, (problem.line, problem.column)) == (path, place)
    assert says in problem.message


def test_without_the_slip_all_of_it_is_read(tmp_path: Path) -> None:
    file = write_model(tmp_path, WITH_NEIGHBOURS)
    for use_cache in (False, True, True):
        read = load_model(file, use_cache=use_cache)
        assert read.asked == ("age",)
        assert read.refusals["kind"].refused == {"torchlight": "A flame is no lamp."}
        assert read.onward is not None
        assert read.onward.states["young"].unless == {"age": {"old": "Too old for it."}}
        assert read.comparison is not None
        assert read.comparison.findings["look"].states == {"dark": ("none",), "lit": ("steady", "part")}
    assert load_model(write_model(tmp_path, TINY), use_cache=False).refusals == {}


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("{backlight: where", "{backlit: where", "unknown model backlit; did you mean backlight"),
        ("  model: intake\n", "  model: intak\n", "unknown model intak; did you mean intake"),
        ("  condition: family\n", "  condition: famly\n", "intake has no condition famly"),
        ("  state: no_power\n", "  state: no_pwr\n", "family of intake has no state no_pwr"),
        ("{as: light,", "{as: lihgt,", "intake has no observation lihgt"),
        ("{dark: none,", "{dark: non,", "light of intake has no state non"),
    ],
)
def test_names_in_other_models_are_checked_by_model_check(old: str, new: str, says: str, tmp_path: Path) -> None:
    assert "is sound" in run("model", "check", write_model(tmp_path, WITH_NEIGHBOURS)).stdout
    done = run("model", "check", write_model(tmp_path, edit(old, new, WITH_NEIGHBOURS)), expect=3)
    assert says in done.stderr


def test_a_comparison_that_no_longer_fits_the_other_model_is_an_error_with_its_names(tmp_path: Path) -> None:
    file = write_model(tmp_path, edit("{dark: none,", "{dark: non,", WITH_NEIGHBOURS))
    done = run("next", file, "look=dark", expect=3)
    assert "light of intake has no state non" in done.stderr
