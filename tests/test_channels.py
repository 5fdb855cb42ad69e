"""Separate channels read together: half a dark screen on a small model, the counting formula, the common nominal."""

from itertools import combinations
from math import exp, pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from labels import label
from scipy import integrate
from small_models import write_model
from test_noisy_models import TAIL

from faultnet.case import Case, believe, parse_events
from faultnet.case.words import describe_event
from faultnet.diagnosis import diagnose
from faultnet.errors import ModelProblem, UsageProblem
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.readings import Meter, Volts, outlier_density, reading_likelihood
from faultnet.readings.channels import odd_counts

STRINGS = range(1, 6)


def half_dark(folder: Path) -> Model:
    """Five channels, one string each: a string may be open or have shorted LEDs; the driver may be faulty. Invented."""
    components = "".join(
        f"  string_{n}: {{label: string {n}, modes: {{open: {{label: open, share: 0.14, mark: reasoned}},"
        f" shorted: {{label: LEDs shorted, share: 0.03, mark: reasoned}}}}}}\n"
        for n in STRINGS
    )
    rails = "rails:\n"
    for what in ("open", "shorted"):
        given = ", ".join(f"string_{n}" for n in STRINGS)
        rails += f"  n_{what}:\n    label: strings {what}\n    states: [none, one, two, more]\n    given: [{given}]\n"
        rails += "    rule:\n"
        for count, name in ((0, "none"), (1, "one"), (2, "two")):
            for which in combinations(STRINGS, count):
                clauses = [
                    f"string_{n}: {what}"
                    if n in which
                    else f"string_{n}: [ok, {'shorted' if what == 'open' else 'open'}]"
                    for n in STRINGS
                ]
                rails += f"      - {{when: {{{', '.join(clauses)}}}, is: {name}}}\n"
        rails += "      - {is: more}\n"
    text = f"""\
id: half_dark
title: Half of the screen is dark
complaint: {{observation: reported, state: half_dark}}
second_fault_share: 0.3
strength: {{shares: 20, rows: 10}}
nominal: {{from_volts: 24, to_volts: 200, input_rails_volts: [12, 18, 24, 30], mark: practice}}
components:
{components}  driver:
    label: LED driver
    modes: {{one_output: {{label: one output dead, share: 0.15, mark: reasoned}}}}
{rails}observations:
  reported:
    label: what is reported
    states: [half_dark, another]
    given: [n_open, n_shorted, driver]
    mark: reasoned
    table:
      - {{when: {{n_open: none, n_shorted: none, driver: ok}}, p: [0.01, 0.99]}}
      - {{p: [0.9, 0.1]}}
  channels:
    label: voltage at each channel
    kind: reading
    states: [all_alike, one_zero, two_zero, more_zero, some_low, one_different]
    given: [n_open, n_shorted, driver]
    mark: reasoned
    table:
      - {{when: {{n_open: two}}, p: [0.02, 0.02, 0.93, 0.01, 0.01, 0.01]}}
      - {{when: {{n_open: more}}, p: [0.02, 0.02, 0.02, 0.92, 0.01, 0.01]}}
      - {{when: {{n_open: one}}, p: [0.02, 0.93, 0.02, 0.01, 0.01, 0.01]}}
      - {{when: {{driver: one_output}}, p: [0.02, 0.90, 0.02, 0.01, 0.02, 0.03]}}
      - {{when: {{n_shorted: none}}, p: [0.94, 0.01, 0.01, 0.01, 0.01, 0.02]}}
      - {{p: [0.10, 0.02, 0.01, 0.01, 0.60, 0.26]}}
    reading:
      unit: V
      hold: steady
      channels: separate
      channel_sd: 0.01
      usual_channels: 5
      outliers: {{share: 0.02, up_to_volts: 400}}
      mark: reasoned
      levels:
        normal: [{{mix: [{{normal: [1, 0.04]}}]}}]
        zero: [{{mix: [{{normal: [0, 0.01]}}]}}]
        low: [{{mix: [{{uniform: [0.5, 0.97]}}]}}]
        other: [{{mix: [{{uniform: [0, 1.4]}}]}}]
      patterns:
        all_alike: {{rest: normal}}
        one_zero: {{rest: normal, odd: zero, count: [1, 1]}}
        two_zero: {{rest: normal, odd: zero, count: [2, 2]}}
        more_zero: {{rest: normal, odd: zero, count: [3, 16]}}
        some_low: {{rest: normal, odd: low, count: [1, 15]}}
        one_different: {{rest: normal, odd: [low, other], count: [1, 1]}}
""" + TAIL.replace("  hum: {label: listen", "  channels: {label: measure the channels").replace(
        "  heat: {label: feel, minutes: 1, hazard: 0, mark: reasoned}\n", ""
    )
    return load_model(write_model(folder, text), use_cache=False)


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Model:
    return half_dark(tmp_path_factory.mktemp("half_dark"))


def likeliest_state(model: Model, points: tuple[float, ...], nominal: float | None) -> str:
    found = reading_likelihood(model, [Volts("channels", points, "steady")], label(nominal)).table
    return model.observations["channels"].states[int(np.argmax(found))]


@pytest.mark.parametrize("nominal", [54.0, None])
def test_three_of_five_channels_normal_and_two_at_zero_lead_to_two_open_strings(
    model: Model, nominal: float | None
) -> None:
    case = Case(parse_events(model, ["channels=54,0,54.3,53.8,0.1"]), nominal=label(nominal))
    found = diagnose(model, case, n_draws=10)
    assert all(len(explanation.faults) == 2 for explanation in found.explanations[:3])
    assert all(fault.endswith(".open") for fault in found.explanations[0].faults)
    by_number = believe(model, case).marginal("n_open")
    assert by_number[2] > 0.85


PATTERNS = [
    ((54.0, 54.3, 53.8, 54.1), "all_alike"),
    ((54.0, 54.3, 0.0, 54.1), "one_zero"),
    ((54.0, 0.2, 0.0, 54.1), "two_zero"),
    ((0.1, 0.2, 0.0, 54.1), "more_zero"),
    ((54.0, 45.0, 42.0, 54.1), "some_low"),
    ((54.0, 69.0, 54.4, 54.1), "one_different"),
    ((54.0,), "all_alike"),
    ((54.0,) * 15 + (0.0,), "one_zero"),
]


@pytest.mark.parametrize(("points", "state"), PATTERNS)
@pytest.mark.parametrize("nominal", [54.0, None])
def test_what_channels_do_together(model: Model, points: tuple[float, ...], state: str, nominal: float | None) -> None:
    if nominal is None and len(points) == 1:  # one reading and no nominal: no claim
        return
    assert state == likeliest_state(model, points, nominal)


def test_the_spread_of_channels_counts_even_when_the_nominal_is_unknown(model: Model) -> None:
    """One channel 6 % below the others: nothing to see in it alone, but not alike."""

    def alike(points: tuple[float, ...]) -> float:
        table = reading_likelihood(model, [Volts("channels", points, "steady")], None).table
        return float(table[0] / table[4])

    assert alike((54.0, 54.1, 53.9)) > 5 * alike((54.0, 54.1, 50.5))


@pytest.mark.parametrize("n", [1, 2, 5, 16])
def test_counting_the_choices_is_listing_them(n: int) -> None:
    rng = np.random.default_rng(n)
    rest, odd = rng.random((n, 3)), rng.random((n, 3))
    found = odd_counts(rest, odd)
    for k in range(min(n, 3) + 1):
        listed = sum(
            np.prod([odd[i] if i in which else rest[i] for i in range(n)], axis=0)
            for which in combinations(range(n), k)
        )
        np.testing.assert_allclose(found[k], listed, rtol=1e-12)
    np.testing.assert_allclose(sum(found), np.prod(rest + odd, axis=0), rtol=1e-12)


def test_channels_share_the_nominal_and_their_common_deviation(model: Model) -> None:
    """Two channels at a label against scipy.integrate.dblquad over the nominal's error and the common deviation."""
    points = (52.0, 52.6)
    found = reading_likelihood(model, [Volts("channels", points, "steady", Meter())], label(54.0)).table[0]

    def density(common: float, step: float) -> float:
        nominal = 54 * (1 + 0.03 * step)
        mean, together = nominal * (1 + sqrt(0.04**2 - 0.01**2) * common), exp(-0.5 * (common**2 + step**2)) / (2 * pi)
        for volts in points:
            sd = sqrt((0.01 * nominal) ** 2 + float(Meter().sd_volts(volts)) ** 2)
            together *= 0.98 * exp(-0.5 * ((volts - mean) / sd) ** 2) / (sd * sqrt(2 * pi)) + 0.02 / 400
        return together

    wanted, _ = integrate.dblquad(density, -7, 7, -7, 7, epsabs=1e-11)
    assert pytest.approx(wanted, rel=1e-7) == found


def test_a_pattern_needs_no_more_odd_channels_than_were_read(model: Model) -> None:
    table = reading_likelihood(model, [Volts("channels", (0.0,), "steady")], label(54.0)).table
    assert np.all(np.isfinite(table))
    assert table.argmax() in (1, 2, 3)


def test_more_channels_than_sixteen_are_refused(model: Model) -> None:
    assert len(parse_events(model, ["channels=54x16"])) == 1
    with pytest.raises(UsageProblem, match="17 channels are more than 16"):
        parse_events(model, ["channels=54x17"])


def test_channels_without_patterns_are_refused(model: Model, tmp_path: Path) -> None:
    del model
    text = half_dark_text(tmp_path)
    for old, new, says in (
        ("channel_sd: 0.01", "start_pulse: {}", "goes with"),
        ("rest: normal, odd: zero, count: [1, 1]", "rest: normal, odd: zero", "go together"),
        ("rest: normal, odd: zero, count: [1, 1]", "rest: nromal, odd: zero, count: [1, 1]", "did you mean normal"),
        ("        one_different: {rest: normal, odd: [low, other], count: [1, 1]}\n", "", "no pattern for the state"),
        ("count: [1, 15]", "count: [5, 2]", "from at most to"),
        ("usual_channels: 5", "usual_channels: 17", "16"),
    ):
        assert old in text
        with pytest.raises(ModelProblem) as raised:
            load_model(write_model(tmp_path, text.replace(old, new, 1)), use_cache=False)
        assert says in str(raised.value)


def half_dark_text(folder: Path) -> str:
    half_dark(folder)
    (file,) = folder.glob("*.yaml")
    return file.read_text(encoding="utf-8")


def test_channels_that_differ_are_no_feed_whose_points_disagree(model: Model) -> None:
    """Each point is a channel of its own: none is passed over for the middle one, and each may be an outlier."""
    (event,) = parse_events(model, ["channels=54,0,54.3"])
    assert describe_event(model, event) == "channels: 3 points: 54 V, 0 V, 54.3 V (steady)"
    one, three = (Volts("channels", points, "steady") for points in ((54.0,), (54.0, 0.0, 54.3)))
    assert pytest.approx(outlier_density(model, one) ** 3) == outlier_density(model, three)
