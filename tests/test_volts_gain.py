"""The gain of a reading: against posteriors at many volts, in its limits, and its stated error."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from labels import label
from scipy import integrate

from faultnet.case import Case, believe, parse_events
from faultnet.case.steps import case_steps, readings_now, volts_of
from faultnet.engine.information import entropy_bits
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.ranking import rank_tests
from faultnet.ranking.volts import GAIN_ERROR_BITS, ReadingGains
from faultnet.readings import Meter, Volts, predict, reading_likelihood

CONFIRMED = ("sound=present", "flashlight=image_seen")
CASES: dict[str, tuple[tuple[str, ...], float | None, str]] = {
    "nominal known": (CONFIRMED, 54.0, "open_voltage"),
    "nominal unknown": (CONFIRMED, None, "open_voltage"),
    "after another reading": ((*CONFIRMED, "loaded_voltage=24.3"), 54.0, "open_voltage"),
    "after another reading, nominal unknown": ((*CONFIRMED, "loaded_voltage=37"), None, "loaded_voltage_peak"),
    "after two": ((*CONFIRMED, "loaded_voltage=0.2", "loaded_voltage_peak=61"), 54.0, "open_voltage"),
    "after replugging": ((*CONFIRMED, "loaded_voltage=0.2", "open_voltage=61"), 54.0, "loaded_voltage_peak"),
    "after replugging, nominal unknown": ((*CONFIRMED, "open_voltage=61"), None, "loaded_voltage_peak"),
    "after a repair of something else": (
        (*CONFIRMED, "open_voltage=61", "strip_tester=dark", "replace_strips=not"),
        None,
        "loaded_voltage",
    ),
    "after a repair": ((*CONFIRMED, "loaded_voltage=0", "replace_strips=not"), 54.0, "loaded_voltage"),
}
every_case = pytest.mark.parametrize("name", CASES)


@cache
def backlight() -> Model:
    return load_model("backlight")


def case_of(name: str) -> tuple[Case, str]:
    texts, nominal, observation = CASES[name]
    return Case(parse_events(backlight(), texts), nominal=label(nominal)), observation


def gains_of(name: str) -> tuple[float, float]:
    case, observation = case_of(name)
    return ReadingGains(backlight(), case, believe(backlight(), case)).gains_bits(observation)


def by_posteriors(name: str) -> float:
    """H(components) less its expectation after each volt, from Bayes' rule by the engine at a thousand volts."""
    model, (case, observation) = backlight(), case_of(name)
    readings = readings_now(model, case)
    before = model.compiled.engine.belief(
        case_steps(model, case, [n for n in range(len(case.events)) if n not in readings])
    )
    earlier = [volts_of(case, case.events[n]) for n in readings]  # type: ignore[arg-type]
    hold = model.observations[observation].reading.default_hold  # type: ignore[union-attr]
    grid = np.concatenate([np.linspace(0, 3, 150), np.linspace(3.02, 100, 850), np.linspace(100.5, 400, 100)])
    density, entropy = np.empty(len(grid)), np.empty(len(grid))
    for n, volts in enumerate(grid.tolist()):
        seen = reading_likelihood(model, [*earlier, Volts(observation, (volts,), hold)], case.nominal)
        after = before.observe(seen)
        density[n], entropy[n] = np.exp(after.log_evidence), entropy_bits(after.targets)
    total = integrate.simpson(density, x=grid)
    now = believe(model, case).entropy_bits
    return float(now - integrate.simpson(density * entropy, x=grid) / total)


@every_case
def test_a_gain_is_what_a_thousand_posteriors_say(name: str) -> None:
    """Within .01 bit: there a density adds to nearly 1 only, since a meter's error depends on what it shows."""
    assert pytest.approx(by_posteriors(name), abs=0.01) == gains_of(name)[0]


@every_case
def test_the_integral_is_as_exact_as_it_says(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    usual = gains_of(name)
    monkeypatch.setattr(predict, "_PANEL_SHARE", 0.02)
    monkeypatch.setattr(predict, "_NODES_A_PANEL", 12)
    monkeypatch.setattr(predict, "_FIRST_PANEL_VOLTS", 0.15)
    monkeypatch.setattr(predict, "_FIRST_PANELS", 10)
    np.testing.assert_allclose(usual, gains_of(name), atol=GAIN_ERROR_BITS / 10)


@every_case
def test_a_gain_about_repairs_is_at_most_that_about_all(name: str) -> None:
    about_all, about_repairs = gains_of(name)
    assert 0 <= about_repairs <= about_all + 1e-4


def test_a_reading_tells_less_the_worse_its_meter_and_at_most_what_its_state_tells() -> None:
    model, (case, observation) = backlight(), case_of("nominal known")
    belief = believe(model, case)
    gains = [
        ReadingGains(model, replace(case, meter=meter), belief).gains_bits(observation)[0]
        for meter in (Meter(60.0, 3), Meter(10.0, 3, updates_per_second=2), Meter(), Meter(0.1, 1, 6000, 1000))
    ]
    assert sorted(gains) == gains
    assert gains[-1] < belief.gain_bits((observation,))


def test_the_list_of_tests_carries_these_gains() -> None:
    model, (case, observation) = backlight(), case_of("after another reading")
    (ranked,) = [test for test in rank_tests(model, case).tests if test.test == observation]
    assert (ranked.gain_bits, ranked.gain_repair_bits) == pytest.approx(gains_of("after another reading"))
