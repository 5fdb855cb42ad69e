"""What each reading says by itself: fits of its states, ratios between faults, bands, and the words for them."""

from functools import cache

import numpy as np
import pytest
from labels import label
from scipy import integrate
from test_cli import run

from faultnet.case import Case, believe, parse_events
from faultnet.diagnosis import diagnose
from faultnet.diagnosis.told_by_volts import BAND_CHANCE, bands
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.readings import Volts, reading_likelihood

CONFIRMED = ("sound=present", "flashlight=image_seen")


@cache
def backlight() -> Model:
    return load_model("backlight")


def case_of(*texts: str, nominal: float | None = 37.0) -> Case:
    return Case(parse_events(backlight(), (*CONFIRMED, *texts)), nominal=label(nominal))


def test_the_fit_of_each_state_is_its_likelihood_against_the_best() -> None:
    (told,) = diagnose(backlight(), case_of("loaded_voltage=24"), n_draws=5).readings
    table = reading_likelihood(backlight(), [Volts("loaded_voltage", (24.0,), "steady")], label(37.0)).table
    wanted = table @ np.array(backlight().conditions["off_output"].shares)
    states = backlight().observations["loaded_voltage"].states
    assert dict(zip(states, wanted / wanted.max(), strict=True)) == pytest.approx(dict(told.states))
    assert told.states["off_level"] == 1


def test_the_ratio_between_faults_is_how_the_reading_moved_their_odds() -> None:
    """Bayes by hand: the odds of two faults after the reading are those before it times the ratio."""
    model = backlight()
    case = case_of("startup_flash=none", "loaded_voltage=0.3x3")
    (told,) = diagnose(model, case, n_draws=5).readings
    before = believe(model, Case(case.events[:-1], nominal=case.nominal))
    after = believe(model, case)
    (one, other) = list(told.faults)[:2]

    def odds(belief: object) -> float:
        chances = []
        for name in (one, other):
            component, _, mode = name.partition(".")
            states = model.components[component].states
            chances.append(float(belief.marginal(component)[states.index(mode)]))  # type: ignore[attr-defined]
        return chances[0] / chances[1]

    assert pytest.approx(odds(after) / odds(before)) == told.faults[one] / told.faults[other]


def test_nothing_loaded_is_weak_evidence_between_a_failed_string_and_a_dead_driver() -> None:
    (told,) = diagnose(backlight(), case_of("startup_flash=none", "loaded_voltage=0.3x3"), n_draws=5).readings
    assert told.faults["strips.open"] / told.faults["driver.dead"] == pytest.approx(1, abs=0.6)
    text = run("next", "backlight", *CONFIRMED, "flash=none", "loaded=0.3x3", "--nominal", "37", "--full").stdout
    assert "fits off (0 V or its input rail) best" in text
    assert "weak evidence between them" in " ".join(text.split())
    assert [line for line in text.splitlines() if len(line) > 80] == []


@pytest.mark.parametrize("nominal", [54.0, None])
@pytest.mark.parametrize("observation", ["loaded_voltage", "loaded_voltage_peak", "open_voltage"])
def test_a_band_holds_as_much_of_a_state_as_it_says(observation: str, nominal: float | None) -> None:
    """By Simpson's rule over the likelihood of single volts, which the bands do not use; panels are volts wide."""
    model, case = backlight(), case_of(nominal=nominal)
    hold = model.observations[observation].reading.default_hold  # type: ignore[union-attr]
    grid = np.linspace(0, 400, 2401)
    shares = np.array(model.conditions["off_output"].shares)
    found = (reading_likelihood(model, [Volts(observation, (v,), hold)], case.nominal).table for v in grid.tolist())
    density = np.array([table @ shares for table in found])
    for number, (low, high) in enumerate(bands(model, case, observation).values()):
        inside = (grid >= low - 0.3) & (grid <= high + 0.3)
        held = integrate.simpson(np.where(inside, density[:, number], 0), x=grid)
        total = integrate.simpson(density[:, number], x=grid)
        assert BAND_CHANCE - 0.06 < held / total < 1
        assert low < high


def test_a_reading_before_a_repair_tells_of_its_states_only() -> None:
    first, second = diagnose(backlight(), case_of("loaded=0", "replace_strips=not", "loaded=37"), n_draws=5).readings
    assert (first.faults, first.event) == ({}, 2)
    assert second.faults


def test_once_the_set_works_a_reading_tells_no_faults_apart() -> None:
    """Volts of the driver, which new strips did not touch: nothing can be faulty, so nothing is compared."""
    told = diagnose(backlight(), case_of("open_voltage=44", "replace_strips=works"), n_draws=5).readings
    assert [dict(each.faults) for each in told] == [{}]


def test_a_given_condition_takes_the_place_of_its_share() -> None:
    """With an output known to fall to 0, its input rail is no sign of being off any more."""
    case = case_of("loaded_voltage=24")
    known = case.with_given({"off_output": "zero"})
    (usual,), (given,) = (diagnose(backlight(), each, n_draws=5).readings for each in (case, known))
    assert usual.states["off_level"] == 1
    assert given.states["off_level"] < 0.1
    assert bands(backlight(), known, "loaded_voltage")["off_level"][1] < 2
    assert bands(backlight(), case, "loaded_voltage")["off_level"][1] > 12
