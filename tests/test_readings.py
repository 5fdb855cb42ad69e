"""What volts say: densities against scipy, integrals over the nominal against quadrature and Monte Carlo."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from math import exp, log, pi, sqrt

import numpy as np
import pytest
from scipy import integrate, special, stats

from faultnet.case import Case, believe, parse_events
from faultnet.cpt import Floats
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.model.volts import Level, Piece, ReadingModel
from faultnet.readings import Meter, Volts, nominal_nodes, outlier_density, reading_likelihood

LABEL_SD = 0.03  # how far a printed nominal is off, reasoned (trade: label .03)
LOW, HIGH = 24.0, 200.0  # volts; what sets have when nothing is printed, reasoned
RAILS = (12.0, 18.0, 24.0, 30.0)
FLOOR = 0.03 / 400  # share of outliers over the range they may lie in, reasoned

Density = Callable[[float], float]


@cache
def backlight() -> Model:
    return load_model("backlight")


# -- a second implementation -------------------------------------------------------------------------------------------


def piece_density(piece: Piece, volts: float, nominal: float, meter_sd: float) -> float:
    """One piece of a mixture at one nominal."""
    if piece.kind == "uniform":
        low, high = piece.first * nominal, piece.second * nominal
        return float((special.ndtr((volts - low) / meter_sd) - special.ndtr((volts - high) / meter_sd)) / (high - low))
    sd = sqrt((piece.second * nominal) ** 2 + meter_sd**2)
    if piece.kind == "rail":
        rails = [rail for rail in RAILS if rail < 0.95 * nominal] or [min(RAILS)]
        return sum(folded_normal(volts, rail, sd) for rail in rails) / len(rails)
    return folded_normal(volts, piece.first * nominal, sd)


def folded_normal(volts: float, mean: float, sd: float) -> float:
    """scipy.stats.foldnorm.pdf(volts, mean / sd, scale=sd), faster (Leone, Nelson & Nottingham 1961)."""
    both = exp(-0.5 * ((volts - mean) / sd) ** 2) + exp(-0.5 * ((volts + mean) / sd) ** 2)
    return both / (sd * sqrt(2 * pi))


def state_density(observation: str, hold: str, state: str, off_output: str, volts: float) -> Density:
    """The density of a reading in one state as a function of the nominal, outliers mixed in."""
    reading = backlight().observations[observation].reading
    assert reading is not None
    levels = reading.levels[hold][state]
    level = next(level for level in levels if level.when.get("off_output", off_output) == off_output)
    meter_sd = Meter().sd_volts(volts)

    def density(nominal: float) -> float:
        mixed = sum(piece.share * piece_density(piece, volts, nominal, meter_sd) for piece in level.mixture)
        return float(0.97 * mixed + FLOOR)

    return density


def over_nominal(density: Density, nominal: float | None, kinks: list[float]) -> float:
    """The density with the nominal integrated out by adaptive quadrature. kinks: nominals where it bends sharply."""
    if nominal is None:
        width = log(HIGH / LOW)
        points = sorted(log(kink) for kink in kinks if LOW < kink < HIGH)
        found = integrate.quad(
            lambda u: density(exp(u)) / width, log(LOW), log(HIGH), points=points or None, limit=500, epsabs=1e-13
        )
        return float(found[0])
    points = sorted(z for z in ((kink / nominal - 1) / LABEL_SD for kink in kinks) if abs(z) < 7)
    found = integrate.quad(
        lambda z: exp(-0.5 * z**2) / sqrt(2 * pi) * density(nominal * (1 + LABEL_SD * z)),
        -7,
        7,
        points=points or None,
        limit=500,
        epsabs=1e-13,
    )
    return float(found[0])


def kinks_of(volts: float) -> list[float]:
    """Nominals at which a uniform piece begins or ends at these volts, or a rail comes into play."""
    edges = (0.05, 0.3, 0.4, 0.5, 0.6, 0.75, 0.94, 0.95, 1.0, 1.15, 1.2, 1.35)
    return sorted({volts / edge for edge in edges if volts} | {rail / 0.95 for rail in RAILS})


def likelihood_of(observation: str, hold: str, volts: float, nominal: float | None) -> Floats:
    """``(n_states, off_output)``."""
    found = reading_likelihood(backlight(), [Volts(observation, (volts,), hold)], nominal, Meter())
    assert (observation, "off_output") == found.nodes
    return found.table


HELD = [
    ("loaded_voltage", "steady"),
    ("loaded_voltage_peak", "max"),
    ("open_voltage", "max"),
    ("open_voltage", "settled"),
]
SMOOTH = {
    "loaded_voltage": ("normal", "high"),
    "loaded_voltage_peak": ("near_normal", "above"),
    "open_voltage": ("zero",),
}
"""States whose volts are normal about a multiple of the nominal."""


@pytest.mark.parametrize(("observation", "hold"), HELD)
@pytest.mark.parametrize("nominal", [37.0, 54.0, 132.0, None])
def test_smooth_densities_agree_with_quadrature_to_a_millionth(
    observation: str, hold: str, nominal: float | None
) -> None:
    model = backlight()
    for ratio in (0.86, 0.97, 1.0, 1.13, 1.24):
        volts = round(ratio * (nominal or 75.0), 1) if observation != "open_voltage" else 0.0
        table = likelihood_of(observation, hold, volts, nominal)
        for state in SMOOTH[observation]:
            row = model.observations[observation].states.index(state)
            for column, off_output in enumerate(model.conditions["off_output"].states):
                density = state_density(observation, hold, state, off_output, volts)
                wanted = over_nominal(density, nominal, kinks_of(volts))
                # at 0 V the density bends at the ends of the unknown nominal's range: 2e-6
                assert pytest.approx(wanted, rel=1e-6 if volts else 3e-6) == table[row, column], (state, volts)


@pytest.mark.parametrize(("observation", "hold"), HELD)
@pytest.mark.parametrize(("nominal", "error"), [(54.0, 0.05), (None, 0.005)])
def test_every_density_agrees_with_quadrature(observation: str, hold: str, nominal: float | None, error: float) -> None:
    """Edges that only the meter blurs cost the fixed nodes 5 % at these volts (known nominal) or .5 % (unknown)."""
    model = backlight()
    for volts in (0.0, 12.0, 24.1, 38.0, 51.0, 65.0, 150.0):
        table = likelihood_of(observation, hold, volts, nominal)
        for row, state in enumerate(model.observations[observation].states):
            for column, off_output in enumerate(model.conditions["off_output"].states):
                density = state_density(observation, hold, state, off_output, volts)
                wanted = over_nominal(density, nominal, kinks_of(volts))
                assert pytest.approx(wanted, rel=error) == table[row, column], (state, off_output, volts)


@pytest.mark.parametrize("nominal", [54.0, None])
def test_two_readings_that_share_nominal_and_off_output_agree_with_monte_carlo(nominal: float | None) -> None:
    """A mean over 20,000 drawn nominals, within four times its own error and 1 % for the fixed nodes."""
    model = backlight()
    rng = np.random.default_rng(11)
    if nominal is None:
        drawn = np.exp(rng.uniform(log(LOW), log(HIGH), 20000))
    else:
        drawn = nominal * (1 + LABEL_SD * rng.standard_normal(20000))
    loaded, unplugged = 46.0, 63.0
    readings = [Volts("loaded_voltage", (loaded,), "steady"), Volts("open_voltage", (unplugged,), "max")]
    found = reading_likelihood(model, readings, nominal, Meter())
    assert found.nodes == ("loaded_voltage", "open_voltage", "off_output")
    for one, other, off in (
        ("low", "rises_then_off", 0),
        ("off_level", "low_or_rail", 1),
        ("normal", "sustained_high", 0),
    ):
        off_output = model.conditions["off_output"].states[off]
        first = state_density("loaded_voltage", "steady", one, off_output, loaded)
        second = state_density("open_voltage", "max", other, off_output, unplugged)
        products = np.array([first(n) * second(n) for n in drawn])
        row = model.observations["loaded_voltage"].states.index(one)
        column = model.observations["open_voltage"].states.index(other)
        error = 4 * products.std() / sqrt(len(products)) + 0.01 * products.mean()
        assert abs(products.mean() - found.table[row, column, off]) < error, (one, other)


# -- closed forms ------------------------------------------------------------------------------------------------------


def with_level(*pieces: Piece, outlier_share: float = 1e-9) -> Model:
    """The shipped model with one mixture for every state of the loaded voltage."""
    model = backlight()
    seen = model.observations["loaded_voltage"]
    levels = {"steady": {state: (Level({}, pieces),) for state in seen.states}}
    reading = ReadingModel("V", (), "steady", levels, outlier_share, 400.0, "reasoned")
    return replace(model, observations={**model.observations, seen.id: replace(seen, reading=reading)})


def density_of(volts: float, *pieces: Piece, nominal: float = 54.0, meter: Meter | None = None) -> float:
    found = reading_likelihood(
        with_level(*pieces), [Volts("loaded_voltage", (volts,), "steady")], nominal, meter or Meter()
    )
    return float(found.table[0])


@pytest.mark.parametrize("volts", [48.0, 54.0, 59.0, 63.5])
def test_a_normal_of_a_normal_nominal_is_a_normal(volts: float) -> None:
    """A meter of fixed error at a multiple of the nominal: errors add in quadrature (JCGM 100:2008, 5.1.2)."""
    meter = Meter(percent=0, counts=40, resolution_volts=0.1)
    sd = sqrt((4 / sqrt(3)) ** 2 + (1.1 * LABEL_SD * 54) ** 2)
    wanted = stats.norm.pdf(volts, 1.1 * 54, sd)
    assert pytest.approx(wanted, rel=1e-6) == density_of(volts, Piece(1, "normal", 1.1, 1e-9), meter=meter)


@pytest.mark.parametrize("volts", [0.0, 0.1, 0.4])
def test_volts_about_zero_are_a_folded_normal(volts: float) -> None:
    """A meter is read without its sign: at 0 V the density is twice a normal's (Leone, Nelson & Nottingham 1961)."""
    meter = Meter(percent=0, counts=3, resolution_volts=0.1)
    wanted = 2 * stats.norm.pdf(volts, 0, 0.3 / sqrt(3))
    assert pytest.approx(wanted, rel=1e-6) == density_of(volts, Piece(1, "normal", 0, 1e-9), meter=meter)


def test_a_uniform_is_flat_inside_and_half_as_high_at_its_edge() -> None:
    piece, wide = Piece(1, "uniform", 0.5, 1.5), 1 / 54.0
    # E[1 / nominal] = 1 / 54 (1 + .03^2 + ...), the first terms of the delta method
    assert pytest.approx(wide * (1 + LABEL_SD**2), rel=1e-5) == density_of(54.0, piece)
    assert pytest.approx(0.5, abs=0.03) == density_of(81.0, piece) / wide
    assert density_of(100.0, piece) < 1e-6


def test_a_rail_is_one_of_the_usual_rails_below_the_nominal() -> None:
    meter = Meter(percent=0, counts=3, resolution_volts=0.1)
    piece = Piece(1, "rail", 0, 1e-9)
    at = {rail: density_of(rail, piece, nominal=54.0, meter=meter) for rail in RAILS}
    peak = stats.norm.pdf(0, 0, 0.3 / sqrt(3))
    for rail in RAILS:
        assert pytest.approx(peak / len(RAILS), rel=1e-4) == at[rail]
    assert density_of(15.0, piece, meter=meter) < 1e-8
    # with a nominal of 22 V only 12 and 18 V lie below it
    assert pytest.approx(peak / 2, rel=0.01) == density_of(12.0, piece, nominal=22.0, meter=meter)
    assert density_of(24.0, piece, nominal=22.0, meter=meter) < 1e-5 * peak
    # and where none lies below it, the lowest is taken
    assert pytest.approx(peak, rel=1e-4) == density_of(12.0, piece, nominal=8.0, meter=meter)


def test_a_density_integrates_to_one_over_all_readings_a_meter_can_show() -> None:
    """Here with a meter whose error does not grow with the reading, so that the density is one of the reading."""
    meter = Meter(percent=0, counts=3, resolution_volts=0.1)
    grid = np.linspace(0, 150, 2001)
    for piece in (
        Piece(1, "normal", 1, 0.04),
        Piece(1, "uniform", 0.4, 0.75),
        Piece(1, "rail", 0, 0.03),
        Piece(1, "normal", 0, 0.01),
    ):
        values = [density_of(float(volts), piece, meter=meter) for volts in grid]
        assert pytest.approx(1, abs=2e-3) == integrate.simpson(values, x=grid)


def test_the_nodes_of_the_nominal_carry_its_mean_and_spread() -> None:
    volts, weights = nominal_nodes(54.0, backlight().nominal)
    mean = float(weights @ volts)
    assert pytest.approx(1, abs=1e-12) == weights.sum()
    assert pytest.approx(54.0, rel=1e-12) == mean
    assert pytest.approx(LABEL_SD * 54, rel=1e-9) == sqrt(weights @ (volts - mean) ** 2)
    volts, weights = nominal_nodes(None, backlight().nominal)
    assert pytest.approx(1, abs=1e-12) == weights.sum()
    # a log-uniform's mean (high - low) / log(high / low)
    assert pytest.approx((HIGH - LOW) / log(HIGH / LOW), rel=1e-4) == weights @ volts
    own = replace(backlight().nominal, volts=88.0)
    np.testing.assert_allclose(nominal_nodes(None, own)[0], nominal_nodes(88.0, own)[0])


# -- the meter ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("percent", "counts", "resolution_volts", "volts", "limit"),
    [  # "+-(% of reading + counts)": arithmetic, no source
        (1.0, 3, 0.1, 120.0, 1.5),
        (0.5, 3, 0.001, 2.0, 0.013),
        (0.08, 2, 0.001, 2.0, 0.0036),
        (0.03, 10, 0.001, 79.999, 0.0339997),
    ],
)
def test_a_meter_is_off_by_percent_and_counts_rectangular(
    percent: float, counts: float, resolution_volts: float, volts: float, limit: float
) -> None:
    # JCGM 100:2008, 4.3.7: half-width over the square root of three
    assert pytest.approx(limit / sqrt(3)) == Meter(percent, counts, resolution_volts).sd_volts(volts)


def test_a_digital_voltmeter_has_the_uncertainty_of_the_guide() -> None:
    # JCGM 100:2008, 4.3.7 example 2: 14e-6 of .928571 V and 2e-6 of the 1 V range, half-width 15 uV, u = 8.7 uV
    assert pytest.approx(8.7e-6, abs=0.05e-6) == Meter(14e-4, 1, 2e-6).sd_volts(0.928571)


def test_the_relative_error_of_a_meter_grows_as_the_reading_falls() -> None:
    relative = [Meter().sd_volts(volts) / volts for volts in (200, 60, 10, 1)]
    assert sorted(relative) == relative


def test_a_worse_meter_says_less() -> None:
    """At the nominal itself the likelihood of "normal" against "off" falls as the meter gets worse."""
    model = backlight()
    ratios = []
    for percent in (0.1, 0.8, 3.0, 10.0):
        table = reading_likelihood(
            model, [Volts("loaded_voltage", (54.0,), "steady")], 54.0, Meter(percent, 3, 0.1)
        ).table[:, 0]
        states = model.observations["loaded_voltage"].states
        ratios.append(float(table[states.index("normal")] / table[states.index("off_level")]))
    assert sorted(ratios, reverse=True) == ratios


def test_the_folded_normal_of_these_tests_is_the_one_of_scipy() -> None:
    for volts, mean, sd in ((0.0, 0.0, 0.2), (0.3, 0.1, 0.2), (54.0, 50.0, 2.0), (24.0, 24.0, 1.6)):
        assert pytest.approx(stats.foldnorm.pdf(volts, mean / sd, scale=sd)) == folded_normal(volts, mean, sd)


# -- several readings --------------------------------------------------------------------------------------------------


def test_the_order_of_readings_is_irrelevant() -> None:
    readings = [
        Volts("loaded_voltage", (0.2,), "steady"),
        Volts("open_voltage", (61.0,), "max"),
        Volts("open_voltage", (0.0,), "settled"),
    ]
    one = reading_likelihood(backlight(), readings, None, Meter())
    other = reading_likelihood(backlight(), readings[::-1], None, Meter())
    assert one.nodes == ("loaded_voltage", "open_voltage", "off_output")
    assert other.nodes == ("open_voltage", "loaded_voltage", "off_output")
    np.testing.assert_allclose(one.table, other.table.transpose(1, 0, 2), rtol=1e-12)


@pytest.mark.parametrize("nominal", [54.0, None])
def test_two_readings_tell_of_each_other_through_the_nominal(nominal: float | None) -> None:
    """Equal volts loaded and unplugged fit one nominal; the product of each by itself does not know that it is one."""
    model = backlight()
    first, second = Volts("loaded_voltage", (50.0,), "steady"), Volts("open_voltage", (60.0,), "max")
    joint = reading_likelihood(model, [first, second], nominal, Meter()).table
    singles = [reading_likelihood(model, [reading], nominal, Meter()).table for reading in (first, second)]
    product = singles[0][:, None, :] * singles[1][None, :, :]
    normal = model.observations["loaded_voltage"].states.index("normal")
    limit = model.observations["open_voltage"].states.index("rises_then_off")
    assert abs(log(joint[normal, limit, 0] / product[normal, limit, 0])) > (0.1 if nominal else 0.5)


def test_zero_loaded_and_a_rail_unplugged_cannot_both_be_a_driver_that_is_off() -> None:
    """What the output shows when off is one fact of the set: 0 loaded rules a rail passed through out."""
    model = backlight()

    def driver(*texts: str) -> float:
        return 1 - float(believe(model, Case(parse_events(model, texts), nominal_volts=54.0)).marginal("driver")[0])

    assert driver("loaded_voltage=24", "open_voltage=24") > 1.5 * driver("loaded_voltage=0", "open_voltage=24")
    belief = believe(model, Case(parse_events(model, ["loaded_voltage=0", "open_voltage=24"]), nominal_volts=54.0))
    assert belief.marginal("off_output")[0] > 0.9


def test_several_points_on_one_feed_are_one_reading_at_their_median() -> None:
    def table(*points: float) -> Floats:
        return reading_likelihood(backlight(), [Volts("loaded_voltage", points, "steady")], 54.0, Meter()).table

    np.testing.assert_array_equal(table(54.0), table(54.0, 54.0, 54.0, 54.0, 54.0))
    np.testing.assert_array_equal(table(54.0), table(53.0, 54.0, 300.0))
    assert np.abs(table(54.0) - table(40.0)).max() > 1e-3


def test_an_over_range_reading_is_flat() -> None:
    over = Volts("open_voltage", (float("inf"),), "max")
    alone = reading_likelihood(backlight(), [over], None, Meter()).table
    np.testing.assert_allclose(alone, alone.flat[0])
    with_it = reading_likelihood(backlight(), [Volts("loaded_voltage", (54.0,), "steady"), over], 54.0, Meter()).table
    without = likelihood_of("loaded_voltage", "steady", 54.0, 54.0)
    np.testing.assert_allclose(with_it, np.broadcast_to(without[:, None, :], with_it.shape))


def test_an_observation_without_volts_cannot_be_read() -> None:
    with pytest.raises(ValueError, match="sound is not read in volts"):
        reading_likelihood(backlight(), [Volts("sound", (5.0,), "steady")], None, Meter())


# -- outliers ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("volts", [0.0, 5.4, 24.0, 54.0, 65.0, 117.0, 540.0, 1500.0])
@pytest.mark.parametrize("nominal", [54.0, None])
def test_no_reading_rules_anything_out_and_odds_move_by_a_bounded_factor(volts: float, nominal: float | None) -> None:
    """Between the floor and the highest peak, a folded normal of the meter's error at 0 V, lies every Bayes factor."""
    model = backlight()
    most = 2 / (sqrt(2 * pi) * Meter().sd_volts(0)) / FLOOR
    before = believe(model, Case())
    for observation in ("loaded_voltage", "loaded_voltage_peak", "open_voltage"):
        assert pytest.approx(FLOOR) == outlier_density(model, observation)
        belief = believe(model, Case(parse_events(model, [f"{observation}={volts:g}"]), nominal_volts=nominal))
        assert np.all(belief.targets[before.targets > 0] > 0)
        moved = np.log(belief.targets[before.targets > 0] / before.targets[before.targets > 0])
        assert moved.max() - moved.min() <= log(most)
        table = likelihood_of(observation, "max" if observation != "loaded_voltage" else "steady", volts, nominal)
        assert table.min() >= FLOOR * (1 - 1e-12)


def test_a_slipped_decimal_sign_moves_the_odds_hardly_at_all() -> None:
    """540 V for 54.0 V fits no state: every state has the outliers' share, and the diagnosis stays where it was."""
    model = backlight()
    before, after = (
        believe(
            model, Case(parse_events(model, ("sound=present", "flashlight=image_seen", *texts)), nominal_volts=54.0)
        )
        for texts in ((), ("loaded_voltage=540",))
    )
    np.testing.assert_allclose(after.targets, before.targets, atol=1e-6)


def test_one_slip_among_good_evidence_does_not_turn_the_diagnosis() -> None:
    model = backlight()
    good = (
        "sound=present",
        "flashlight=image_seen",
        "startup_flash=flash_then_off",
        "open_voltage=63",
        "strip_tester=dark",
    )
    belief = believe(model, Case(parse_events(model, (*good, "loaded_voltage=54")), nominal_volts=54.0))
    assert belief.marginal("strips")[0] < 0.25
