"""What volts say: densities against scipy, integrals over the nominal against quadrature and Monte Carlo."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache
from math import exp, log, pi, sqrt

import numpy as np
import pytest
from labels import label
from scipy import integrate, special, stats

from faultnet.case import Case, believe, parse_events
from faultnet.cpt import Floats
from faultnet.engine.evidence import Likelihood
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.model.volts import Level, Piece, ReadingModel
from faultnet.readings import Meter, Nominal, Spread, Volts, nominal_nodes, outlier_density, reading_likelihood

LABEL_SD = 0.03  # how far a printed nominal is off, reasoned (trade: label .03)
LOW, HIGH = 24.0, 200.0  # volts; what sets have when nothing is printed, reasoned
RAILS = (12.0, 18.0, 24.0, 30.0)
FLOOR = 0.03 / 400  # share of outliers over the range they may lie in, reasoned

Density = Callable[[float], float]


@cache
def backlight() -> Model:
    return load_model("backlight")


def read_together(
    model: Model, readings: Sequence[Volts], nominal: float | None, meter: Meter | None = None
) -> Likelihood:
    """The likelihood of readings taken with one meter on a set with this label."""
    own = meter or Meter()
    return reading_likelihood(model, [replace(each, meter=own) for each in readings], label(nominal))


# -- a second implementation -------------------------------------------------------------------------------------------


def piece_density(piece: Piece, volts: float, nominal: float, meter_sd: float) -> float:
    """One piece of a mixture at one nominal. The ends of a uniform are soft by 1.5 %; a rail lies softly below 95 %."""
    if piece.kind == "uniform":
        low, high = piece.first * nominal, piece.second * nominal
        soft = sqrt((0.015 * nominal) ** 2 + meter_sd**2)
        both = sum(special.ndtr((v - low) / soft) - special.ndtr((v - high) / soft) for v in (volts, -volts))
        return float(both / (high - low))
    sd = sqrt((piece.second * nominal) ** 2 + meter_sd**2)
    if piece.kind == "rail":
        chances = [special.ndtr((0.95 - rail / nominal) / 0.03) + 1e-12 * (rail == min(RAILS)) for rail in RAILS]
        return sum(c * folded_normal(volts, r, sd) for c, r in zip(chances, RAILS, strict=True)) / sum(chances)
    return folded_normal(volts, piece.first * nominal, sd)


def folded_normal(volts: float, mean: float, sd: float) -> float:
    """scipy.stats.foldnorm.pdf(volts, mean / sd, scale=sd), faster (Leone, Nelson & Nottingham 1961)."""
    both = exp(-0.5 * ((volts - mean) / sd) ** 2) + exp(-0.5 * ((volts + mean) / sd) ** 2)
    return both / (sd * sqrt(2 * pi))


def state_density(observation: str, hold: str, state: str, off_output: str, volts: float) -> Density:
    """The density of a reading in one state as a function of the nominal, outliers mixed in."""
    reading = backlight().observations[observation].reading
    assert reading is not None

    def mixture(levels: Sequence[Level]) -> tuple[Piece, ...]:
        return next(level for level in levels if level.when.get("off_output", off_output) == off_output).mixture

    def mixed(pieces: Sequence[Piece], nominal: float) -> float:
        return sum(piece.share * piece_density(piece, volts, nominal, Meter().sd_volts(volts)) for piece in pieces)

    pieces, settled = mixture(reading.levels[hold][state]), mixture(reading.levels["settled"][state])
    pulse = reading.start_pulse.get(state, 0.0) * (hold == "max")
    missed, cut = Meter().pulse_missed, Meter().pulse_shortened - Meter().pulse_missed
    partly = [Piece(p.share, "uniform", 0, 0.9 * (p.second if p.kind == "uniform" else p.first)) for p in pieces]

    def density(nominal: float) -> float:
        whole = (1 - pulse * (missed + cut)) * mixed(pieces, nominal)
        if pulse:
            whole += pulse * (missed * mixed(settled, nominal) + cut * mixed(partly, nominal))
        return float(0.97 * whole + FLOOR)

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
    edges = (0.05, 0.3, 0.4, 0.5, 0.6, 0.75, 0.846, 0.94, 0.95, 1.0, 1.08, 1.15, 1.2, 1.215, 1.35)
    return sorted({volts / edge for edge in edges if volts} | {rail / 0.95 for rail in RAILS})


def likelihood_of(observation: str, hold: str, volts: float, nominal: float | None) -> Floats:
    """``(n_states, off_output)``."""
    found = read_together(backlight(), [Volts(observation, (volts,), hold)], nominal, Meter())
    assert (observation, "off_output") == found.nodes
    return found.table


HELD = [
    ("loaded_voltage", "steady"),
    ("loaded_voltage_peak", "max"),
    ("open_voltage", "max"),
    ("open_voltage", "settled"),
]


@pytest.mark.parametrize(("observation", "hold"), HELD)
@pytest.mark.parametrize("nominal", [37.0, 54.0, 132.0, None])
def test_every_density_agrees_with_adaptive_quadrature(observation: str, hold: str, nominal: float | None) -> None:
    """scipy.integrate.quad over the nominal, to 1e-8 of the largest density of the reading."""
    model = backlight()
    for volts in (0.0, 12.0, 24.1, 38.0, 51.0, 65.0, 150.0):
        table = likelihood_of(observation, hold, volts, nominal)
        for row, state in enumerate(model.observations[observation].states):
            for column, off_output in enumerate(model.conditions["off_output"].states):
                density = state_density(observation, hold, state, off_output, volts)
                wanted = over_nominal(density, nominal, kinks_of(volts))
                assert abs(wanted - table[row, column]) < 1e-8 * table.max(), (state, off_output, volts)


@pytest.mark.parametrize("nominal", [54.0, None])
def test_two_readings_that_share_nominal_and_off_output_agree_with_monte_carlo(nominal: float | None) -> None:
    """A mean over 20,000 drawn nominals, within four times its own error."""
    model = backlight()
    rng = np.random.default_rng(11)
    if nominal is None:
        drawn = np.exp(rng.uniform(log(LOW), log(HIGH), 20000))
    else:
        drawn = nominal * (1 + LABEL_SD * rng.standard_normal(20000))
    loaded, unplugged = 46.0, 63.0
    readings = [Volts("loaded_voltage", (loaded,), "steady"), Volts("open_voltage", (unplugged,), "max")]
    found = read_together(model, readings, nominal, Meter())
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
        error = 4 * products.std() / sqrt(len(products)) + 1e-12 * products.mean()
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
    found = read_together(with_level(*pieces), [Volts("loaded_voltage", (volts,), "steady")], nominal, meter)
    return float(found.table[0])


@pytest.mark.parametrize("volts", [48.0, 54.0, 59.0, 63.5])
def test_a_normal_of_a_normal_nominal_is_a_normal(volts: float) -> None:
    """A meter of fixed error at a multiple of the nominal: errors add in quadrature (JCGM 100:2008, 5.1.2)."""
    meter = Meter(percent=0, counts=40, range_digit_volts=0.1)
    sd = sqrt(4**2 / 3 + 0.1**2 / 12 + (1.1 * LABEL_SD * 54) ** 2)
    wanted = stats.norm.pdf(volts, 1.1 * 54, sd)
    assert pytest.approx(wanted, rel=1e-6) == density_of(volts, Piece(1, "normal", 1.1, 1e-9), meter=meter)


@pytest.mark.parametrize("volts", [0.0, 0.1, 0.4])
def test_volts_about_zero_are_a_folded_normal(volts: float) -> None:
    """A meter is read without its sign: at 0 V the density is twice a normal's (Leone, Nelson & Nottingham 1961)."""
    meter = Meter(percent=0, counts=3, range_digit_volts=0.1)
    wanted = 2 * stats.norm.pdf(volts, 0, sqrt(0.3**2 / 3 + 0.1**2 / 12))
    assert pytest.approx(wanted, rel=1e-6) == density_of(volts, Piece(1, "normal", 0, 1e-9), meter=meter)


def test_a_uniform_is_flat_inside_and_half_as_high_at_its_edge() -> None:
    piece, wide = Piece(1, "uniform", 0.5, 1.5), 1 / 54.0
    # E[1 / nominal] = 1 / 54 (1 + .03^2 + ...), the first terms of the delta method
    assert pytest.approx(wide * (1 + LABEL_SD**2), rel=1e-5) == density_of(54.0, piece)
    assert pytest.approx(0.5, abs=0.03) == density_of(81.0, piece) / wide
    assert density_of(100.0, piece) < 1e-6


def test_a_rail_is_one_of_the_usual_rails_below_the_nominal() -> None:
    meter = Meter(percent=0, counts=3, range_digit_volts=0.1)
    piece = Piece(1, "rail", 0, 1e-9)
    at = {rail: density_of(rail, piece, nominal=54.0, meter=meter) for rail in RAILS}
    peak = stats.norm.pdf(0, 0, sqrt(0.3**2 / 3 + 0.1**2 / 12))
    for rail in RAILS:
        assert pytest.approx(peak / len(RAILS), rel=1e-4) == at[rail]
    assert density_of(15.0, piece, meter=meter) < 1e-8
    # with a nominal of 22 V only 12 and 18 V lie below it
    assert pytest.approx(peak / 2, rel=0.01) == density_of(12.0, piece, nominal=22.0, meter=meter)
    assert density_of(24.0, piece, nominal=22.0, meter=meter) < 1e-3 * peak
    # and where none lies below it, the lowest is taken
    assert pytest.approx(peak, rel=1e-4) == density_of(12.0, piece, nominal=8.0, meter=meter)


def test_a_density_integrates_to_one_over_all_readings_a_meter_can_show() -> None:
    """Here with a meter whose error does not grow with the reading, so that the density is one of the reading."""
    meter = Meter(percent=0, counts=3, range_digit_volts=0.1)
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
    volts, weights = nominal_nodes(Spread(54.0, LABEL_SD), backlight().nominal)
    mean = float(weights @ volts)
    assert pytest.approx(1, abs=1e-12) == weights.sum()
    assert pytest.approx(54.0, rel=1e-12) == mean
    assert pytest.approx(LABEL_SD * 54, rel=1e-9) == sqrt(weights @ (volts - mean) ** 2)
    volts, weights = nominal_nodes(None, backlight().nominal)
    assert pytest.approx(1, abs=1e-12) == weights.sum()
    # a log-uniform's mean (high - low) / log(high / low)
    assert pytest.approx((HIGH - LOW) / log(HIGH / LOW), rel=1e-4) == weights @ volts
    own = replace(backlight().nominal, volts=88.0)
    np.testing.assert_allclose(nominal_nodes(None, own)[0], nominal_nodes(Spread(88.0, LABEL_SD), own)[0])


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
    assert pytest.approx(limit / sqrt(3)) == Meter(percent, counts, range_digit_volts=resolution_volts).limit_volts(
        volts
    ) / sqrt(3)


def test_a_digital_voltmeter_has_the_uncertainty_of_the_guide() -> None:
    # JCGM 100:2008, 4.3.7 example 2: 14e-6 of .928571 V and 2e-6 of the 1 V range, half-width 15 uV, u = 8.7 uV
    assert pytest.approx(8.7e-6, abs=0.05e-6) == Meter(14e-4, 1, range_digit_volts=2e-6).sd_volts(0.928571)


def test_a_hand_held_meter_has_the_uncertainty_of_the_calibration_example() -> None:
    # EA-4/02 M:2022, S9: a multimeter at 100 V d.c., last digit .1 V (.029 V), calibrator .011 V rectangular (.0064 V)
    # and a normal .001 V: u = .030 V (seen second-hand, recomputed)
    meter = Meter(percent=0.011, counts=0, range_digit_volts=0.1)
    assert pytest.approx(0.030, abs=0.0005) == sqrt(float(meter.sd_volts(100.0)) ** 2 + 0.001**2)


def test_the_relative_error_of_a_meter_grows_as_the_reading_falls_within_a_range() -> None:
    relative = [Meter().sd_volts(volts) / volts for volts in (199, 120, 60, 30, 21)]
    assert sorted(relative) == relative


def test_a_worse_meter_says_less() -> None:
    """At the nominal itself the likelihood of "normal" against "off" falls as the meter gets worse."""
    model = backlight()
    ratios = []
    for percent in (0.1, 0.8, 3.0, 10.0):
        table = read_together(
            model, [Volts("loaded_voltage", (54.0,), "steady")], 54.0, Meter(percent, 3, range_digit_volts=0.1)
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
    one = read_together(backlight(), readings, None, Meter())
    other = read_together(backlight(), readings[::-1], None, Meter())
    assert one.nodes == ("loaded_voltage", "open_voltage", "off_output")
    assert other.nodes == ("open_voltage", "loaded_voltage", "off_output")
    np.testing.assert_allclose(one.table, other.table.transpose(1, 0, 2), rtol=1e-12)


@pytest.mark.parametrize("nominal", [54.0, None])
def test_two_readings_tell_of_each_other_through_the_nominal(nominal: float | None) -> None:
    """Equal volts loaded and unplugged fit one nominal; the product of each by itself does not know that it is one."""
    model = backlight()
    first, second = Volts("loaded_voltage", (50.0,), "steady"), Volts("open_voltage", (60.0,), "max")
    joint = read_together(model, [first, second], nominal, Meter()).table
    singles = [read_together(model, [reading], nominal, Meter()).table for reading in (first, second)]
    product = singles[0][:, None, :] * singles[1][None, :, :]
    normal = model.observations["loaded_voltage"].states.index("normal")
    limit = model.observations["open_voltage"].states.index("rises_then_off")
    assert abs(log(joint[normal, limit, 0] / product[normal, limit, 0])) > (0.1 if nominal else 0.5)


def test_zero_loaded_and_a_rail_unplugged_cannot_both_be_a_driver_that_is_off() -> None:
    """What the output shows when off is one fact of the set: 0 loaded rules a rail passed through out."""
    model = backlight()

    def driver(*texts: str) -> float:
        return 1 - float(believe(model, Case(parse_events(model, texts), nominal=label(54.0))).marginal("driver")[0])

    assert driver("loaded_voltage=24", "open_voltage=24") > 1.5 * driver("loaded_voltage=0", "open_voltage=24")
    belief = believe(model, Case(parse_events(model, ["loaded_voltage=0", "open_voltage=24"]), nominal=label(54.0)))
    assert belief.marginal("off_output")[0] > 0.9


def test_several_points_on_one_feed_are_one_reading_at_their_median() -> None:
    def table(*points: float) -> Floats:
        return read_together(backlight(), [Volts("loaded_voltage", points, "steady")], 54.0, Meter()).table

    np.testing.assert_array_equal(table(54.0), table(54.0, 54.0, 54.0, 54.0, 54.0))
    np.testing.assert_array_equal(table(54.0), table(53.0, 54.0, 300.0))
    assert np.abs(table(54.0) - table(40.0)).max() > 1e-3


def test_an_over_range_reading_is_flat() -> None:
    over = Volts("open_voltage", (float("inf"),), "max")
    alone = read_together(backlight(), [over], None, Meter()).table
    np.testing.assert_allclose(alone, alone.flat[0])
    with_it = read_together(backlight(), [Volts("loaded_voltage", (54.0,), "steady"), over], 54.0, Meter()).table
    without = likelihood_of("loaded_voltage", "steady", 54.0, 54.0)
    np.testing.assert_allclose(with_it, np.broadcast_to(without[:, None, :], with_it.shape))


def test_an_observation_without_volts_cannot_be_read() -> None:
    with pytest.raises(ValueError, match="sound is not read in volts"):
        read_together(backlight(), [Volts("sound", (5.0,), "steady")], None, Meter())


# -- outliers ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("volts", [0.0, 5.4, 24.0, 54.0, 65.0, 117.0, 540.0, 1500.0])
@pytest.mark.parametrize("nominal", [54.0, None])
def test_no_reading_rules_anything_out_and_odds_move_by_a_bounded_factor(volts: float, nominal: float | None) -> None:
    """Between the floor and the highest peak, a folded normal of the meter's error at 0 V, lies every Bayes factor."""
    model = backlight()
    most = 2 / (sqrt(2 * pi) * Meter().sd_volts(0)) / FLOOR
    before = believe(model, Case())
    for observation in ("loaded_voltage", "loaded_voltage_peak", "open_voltage"):
        assert pytest.approx(FLOOR) == outlier_density(model, Volts(observation, (5.0,), "steady"))
        belief = believe(model, Case(parse_events(model, [f"{observation}={volts:g}"]), nominal=label(nominal)))
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
            model, Case(parse_events(model, ("sound=present", "flashlight=image_seen", *texts)), nominal=label(54.0))
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
    belief = believe(model, Case(parse_events(model, (*good, "loaded_voltage=54")), nominal=label(54.0)))
    assert belief.marginal("strips")[0] < 0.25


# -- how fast a meter is -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("updates_per_second", "missed", "shortened"),
    [
        (2.5, 0.21, 0.61),
        (4.0, 0.10, 0.39),
        (10.0, 0.01, 0.08),
    ],
)
def test_a_slow_meter_misses_and_shortens_start_pulses(
    updates_per_second: float, missed: float, shortened: float
) -> None:
    """Against a simulation: windows back to back, a pulse at any phase, log-normal in length (median .4 s, sigma .8).

    The rates in the table were computed beforehand on the same reasoned law.
    """
    meter = Meter(updates_per_second=updates_per_second)
    rng = np.random.default_rng(4)
    windows = 0.4 * np.exp(0.8 * rng.standard_normal(400_000)) * updates_per_second
    phase = rng.random(400_000)  # where in a window the pulse begins
    numbers = np.arange(1, 40)[:, None]
    inside = np.minimum(windows, 1 - phase)
    inside = np.maximum(inside, np.clip(windows - (numbers - phase), 0, 1).max(axis=0))
    assert abs(np.mean(inside < 0.9) - meter.pulse_shortened) < 0.003
    no_update = windows < 1 - phase  # the pulse ends before the update at the end of its first window
    assert abs(np.mean(no_update) - meter.pulse_missed) < 0.003
    assert pytest.approx(missed, abs=0.006) == meter.pulse_missed
    assert pytest.approx(shortened, abs=0.006) == meter.pulse_shortened


def test_a_slow_meter_weakens_every_peak_reading() -> None:
    """The ratio between the best and the worst state of a peak reading comes nearer to one as the meter gets slower."""
    for volts in (0.0, 34.0, 54.0, 64.0):
        ratios = []
        for updates in (2.5, 4.0, 10.0, 1000.0):
            reading = [Volts("loaded_voltage_peak", (volts,), "max")]
            table = read_together(backlight(), reading, 54.0, Meter(updates_per_second=updates)).table.mean(axis=1)
            states = backlight().observations["loaded_voltage_peak"].states
            above, others = states.index("above"), [n for n, s in enumerate(states) if s != "above"]
            ratios.append(abs(log(table[above] / table[others].max())))
        assert sorted(ratios) == ratios, volts


# -- a nominal that is known otherwise ---------------------------------------------------------------------------------


@pytest.mark.parametrize("dof", [3.0, 5.0, 12.0, 80.0])
def test_the_nodes_of_a_student_nominal_carry_its_distribution(dof: float) -> None:
    """Volts whose logarithm is Student t: chances below some volts against scipy.stats.t, by a smooth indicator."""
    spread = Spread(54.0, 0.04, dof)
    volts, weights = spread.nodes()
    for at in (48.0, 52.0, 54.0, 57.0, 66.0):
        soft = stats.norm.cdf((log(at) - np.log(volts)) / 0.02)
        wanted, _ = integrate.quad(
            lambda u, at=at: stats.t.pdf(u, dof) * stats.norm.cdf((log(at / 54.0) - 0.04 * u) / 0.02), -3000, 3000,
            points=[-200, -5, 0, 5, 200], limit=500,
        )  # fmt: skip
        assert abs(wanted - weights @ soft) < 2e-7


@pytest.mark.parametrize("dof", [3.0, 12.0, np.inf])
@pytest.mark.parametrize("volts", [0.5, 60.0, 64.0, 72.0])
def test_a_known_unplugged_voltage_takes_the_place_of_the_usual_limit(dof: float, volts: float) -> None:
    """Its predictive density, blurred by the meter, against scipy.integrate.quad."""
    known = Spread(64.0, 0.03, dof)
    nominal = Nominal(Spread(54.0, LABEL_SD), "list", unplugged=known)
    meter = Meter(percent=0.8, counts=3)
    model = with_level(Piece(1, "limit", 1.2, 0.1))
    found = reading_likelihood(model, [Volts("loaded_voltage", (volts,), "steady", meter)], nominal).table[0]
    sd = meter.sd_volts(volts)
    if np.isinf(dof):
        wanted = stats.foldnorm.pdf(volts, 64.0 / sqrt(sd**2 + 1.92**2), scale=sqrt(sd**2 + 1.92**2))
    else:
        wanted, _ = integrate.quad(
            lambda t: stats.t.pdf(t, dof) * folded_normal(volts, 64.0 * exp(0.03 * t), sd), -200, 200,
            points=[-5, 0, log(volts / 64) / 0.03, 5], limit=500,
        )  # fmt: skip
    assert abs(wanted - found) < 1e-8
