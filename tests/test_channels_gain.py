"""The gain of separate channels: against quadrature, against drawing at random, in its limits, and its stated error."""

from collections.abc import Iterator
from functools import cache
from itertools import combinations, pairwise
from math import comb
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from labels import label
from scipy import special, stats
from small_models import write_model
from test_channels import half_dark_text

from faultnet.case import Case, believe, parse_events
from faultnet.cpt import Floats, Ints
from faultnet.engine.interface import Belief
from faultnet.errors import ModelProblem
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.model.volts import USUAL_CHANNELS
from faultnet.plan.bands import band_reading
from faultnet.ranking import rank_tests
from faultnet.ranking.volts import CHANNELS_ERROR_BITS, ReadingGains
from faultnet.readings import Meter, Nominal, Spread, grid, predict
from faultnet.readings.sample import Cell, sample_readings

NOMINALS = (54.0, None)
OUTLIERS = 0.02 / 400
STATES = ("all_alike", "one_zero", "two_zero", "more_zero", "some_low", "one_different")
ODD: dict[str, tuple[tuple[str, ...], int, int]] = {
    "all_alike": ((), 0, 0),
    "one_zero": (("zero",), 1, 1),
    "two_zero": (("zero",), 2, 2),
    "more_zero": (("zero",), 3, 16),
    "some_low": (("low",), 1, 15),
    "one_different": (("low", "other"), 1, 1),
}
"""What `half_dark` says of its channels, written a second time: the odd levels and how many are odd."""


@cache
def model_with(*changes: tuple[str, str]) -> Model:
    with TemporaryDirectory() as folder:
        text = half_dark_text(Path(folder))
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        return load_model(write_model(Path(folder), text), use_cache=False)


def of_channels(n: int) -> Model:
    return model_with(("usual_channels: 5", f"usual_channels: {n}"))


def gains(model: Model, case: Case) -> tuple[float, float]:
    return ReadingGains(model, case, believe(model, case)).gains_bits("channels")


def bits(joint: Floats) -> float:
    """I(row ; column), by the textbook's sum (Cover & Thomas, Elements of Information Theory, 2.28)."""
    joint = joint / joint.sum()
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0)
    there = joint > 0
    return float((joint[there] * np.log2(joint[there] / apart[there])).sum())


def groups(model: Model, belief: Belief) -> tuple[Floats, Floats]:
    """P(state of the channels, components) for all their joint states, and for what needs work.

    Joint states that make every state of the channels as likely are one: no reading tells them apart.
    """
    joint = belief.joint(("channels", *model.components))
    number: Ints = np.zeros(1, dtype=np.intp)
    for component in model.components:
        to_decide = np.array(model.compiled.to_decide[component])
        number = (number[:, None] * 100 + to_decide).reshape(-1)
    flat = joint.reshape(len(joint), -1)
    needs_work = np.stack([flat[:, number == each].sum(axis=1) for each in np.unique(number)], axis=1)
    return _merged(flat), _merged(needs_work)


def _merged(joint: Floats) -> Floats:
    joint = joint[:, joint.sum(axis=0) > 0]
    _, number = np.unique((joint / joint.sum(axis=0)).round(12), axis=1, return_inverse=True)
    return np.stack([joint[:, number.reshape(-1) == each].sum(axis=1) for each in range(number.max() + 1)], axis=1)


def nodes(nominal: float | None, n_nominals: int, n_common: int) -> tuple[Floats, Floats, Floats]:
    """Nominals, common deviations and weights, ``(n,)`` each: by their middles, independent of the program's nodes."""
    if nominal is None:
        nominals = 24 * (200 / 24) ** ((np.arange(n_nominals) + 0.5) / n_nominals)
        by_nominal = np.full(n_nominals, 1 / n_nominals)
    else:
        steps = np.linspace(-5, 5, n_nominals)
        nominals, by_nominal = nominal * (1 + 0.03 * steps), stats.norm.pdf(steps) / stats.norm.pdf(steps).sum()
    common = np.linspace(-5, 5, n_common)
    weights = np.outer(by_nominal, stats.norm.pdf(common) / stats.norm.pdf(common).sum())
    return np.repeat(nominals, n_common), np.tile(common, n_nominals), weights.reshape(-1)


def level_density(volts: Floats, level: str, nominals: Floats, common: Floats, meter: Meter) -> Floats:
    """Density of ``(n_volts, 1)`` at a level at every node, outliers mixed in, from the model file's words by scipy."""
    sd = meter.sd_volts(volts)
    if level in ("normal", "zero"):
        first, together = (1.0, np.sqrt(0.04**2 - 0.01**2)) if level == "normal" else (0.0, 0.0)
        width = np.hypot(0.01 * nominals, sd)
        mean = (first + together * common) * nominals
        density = sum(np.exp(-0.5 * ((side * volts - mean) / width) ** 2) for side in (1, -1))
        density /= width * np.sqrt(2 * np.pi)
    else:
        low, high = {"low": (0.5, 0.97), "other": (0.0, 1.4)}[level]
        width = np.hypot(0.015 * nominals, sd)
        density = np.zeros_like(volts * nominals)
        for sign in (1, -1):
            z_high, z_low = (high * nominals - sign * volts) / width, (low * nominals - sign * volts) / width
            density += special.ndtr(z_high) - special.ndtr(z_low)
        density /= (high - low) * nominals
    result: Floats = 0.98 * density + OUTLIERS
    return result


def choices(state: str, n: int) -> Iterator[tuple[float, tuple[str, ...]]]:
    """Every assignment of levels to channels in a state, with its chance."""
    odd, at_least, at_most = ODD[state]
    numbers = range(min(at_least, n), min(at_most, n) + 1)
    for k in numbers:
        which = list(combinations(range(n), k))
        for chosen in which:
            for levels in [()] if not odd else np.array(np.meshgrid(*[odd] * k)).T.reshape(-1, k):
                at = dict(zip(chosen, map(str, levels), strict=True))
                chance = 1 / len(numbers) / len(which) / max(1, len(odd)) ** k
                yield chance, tuple(at.get(channel, "normal") for channel in range(n))


def volt_nodes() -> tuple[Floats, Floats]:
    """Volts and what each stands for: even from 0, then even in their logarithm."""
    edges = np.concatenate([np.linspace(0, 12, 81)[:-1], np.geomspace(12, 330, 450), [400]])
    return (edges[1:] + edges[:-1]) / 2, np.diff(edges)


@pytest.mark.parametrize("nominal", NOMINALS)
@pytest.mark.parametrize("n", [1, 2])
def test_one_and_two_channels_are_what_quadrature_says(n: int, nominal: float | None) -> None:
    model, case = of_channels(n), Case((), nominal=label(nominal))
    volts, widths = volt_nodes()
    nominals, common, weights = nodes(nominal, 61 if nominal else 250, 13)
    density = {
        level: level_density(volts[:, None], level, nominals, common, Meter()) * widths[:, None]
        for level in ("normal", "zero", "low", "other")
    }
    shown = []
    for state in STATES:
        each: Floats = np.zeros([len(volts)] * n)
        for chance, levels in choices(state, n):
            first, *second = (density[level] for level in levels)
            each += chance * ((first * weights) @ second[0].T if second else first @ weights)
        shown.append(each.reshape(-1) / each.sum())
    wanted = [bits(np.array(shown).T @ group) for group in groups(model, believe(model, case))]
    np.testing.assert_allclose(gains(model, case), wanted, atol=CHANNELS_ERROR_BITS)


def draw(state: str, n: int, nominal: float | None, meter: Meter, rng: np.random.Generator) -> list[float]:
    """Channels of one set in a state, drawn from the words of the model file."""
    loaded = 24 * (200 / 24) ** rng.random() if nominal is None else nominal * (1 + 0.03 * rng.standard_normal())
    common = rng.standard_normal()
    odd, at_least, at_most = ODD[state]
    k = int(rng.integers(min(at_least, n), min(at_most, n) + 1))
    chosen = set(rng.choice(n, k, replace=False).tolist())
    volts = []
    for channel in range(n):
        level = str(rng.choice(odd)) if channel in chosen else "normal"
        if level in ("normal", "zero"):
            mean = 1 + np.sqrt(0.04**2 - 0.01**2) * common if level == "normal" else 0.0
            true = mean + 0.01 * rng.standard_normal()
        else:
            low, high = {"low": (0.5, 0.97), "other": (0.0, 1.4)}[level]
            true = rng.uniform(low, high) + 0.015 * rng.standard_normal()
        shown = abs(true * loaded + float(meter.sd_volts(abs(true * loaded))) * rng.standard_normal())
        volts.append(400 * rng.random() if rng.random() < 0.02 else shown)
    return volts


def state_likelihoods(readings: Floats, nominal: float | None, meter: Meter) -> Floats:
    """Density of each reading ``(n_readings, n)`` in every state, ``(n_readings, n_states)``.

    The choices of odd channels are counted from a product of polynomials, one for each channel (numpy.polynomial's
    convolution, written out); `test_counting_the_choices_is_listing_them` has the same by listing.
    """
    nominals, common, weights = nodes(nominal, 51 if nominal else 200, 9)
    found = np.empty((len(readings), len(STATES)))
    for row, volts in enumerate(readings):
        of = {
            level: level_density(volts[:, None], level, nominals, common, meter)
            for level in ("normal", "zero", "low", "other")
        }
        for column, state in enumerate(STATES):
            odd, at_least, at_most = ODD[state]
            other = sum(of[level] for level in odd) / len(odd) if odd else of["normal"]
            numbers = range(min(at_least, len(volts)), min(at_most, len(volts)) + 1)
            by_count = np.zeros((numbers[-1] + 1, len(weights)))
            by_count[0] = 1
            for one, two in zip(of["normal"], np.broadcast_to(other, of["normal"].shape), strict=True):
                shifted = np.vstack([np.zeros(len(weights)), by_count[:-1]])
                by_count = by_count * one + shifted * two
            picks = [by_count[k] / comb(len(volts), k) for k in numbers]
            found[row, column] = np.mean(picks, axis=0) @ weights
    return found


def by_drawing(n: int, nominal: float | None, n_drawn: int) -> Iterator[tuple[float, float]]:
    """Both gains and their standard errors: what the pattern would tell, less what is left of it after a reading.

    That varies least. As many readings are drawn in each state as its chance says, and fifty more.
    """
    model, rng = of_channels(n), np.random.default_rng(4 + n)
    by_group = groups(model, believe(model, Case((), nominal=label(nominal))))
    chances = by_group[0].sum(axis=1)
    likely = []
    for state, chance in zip(STATES, chances.tolist(), strict=True):
        readings = [draw(state, n, nominal, Meter(), rng) for _ in range(50 + round(n_drawn * chance))]
        likely.append(state_likelihoods(np.array(readings), nominal, Meter()))
    for group in by_group:
        left = [np.array([bits(row[:, None] * group) for row in rows]) for rows in likely]
        error = [chance * each.std() / np.sqrt(len(each)) for chance, each in zip(chances, left, strict=True)]
        mean = sum(chance * each.mean() for chance, each in zip(chances, left, strict=True))
        yield bits(group) - float(mean), float(np.hypot.reduce(error))


LARGE = [pytest.param(n, 20_000, marks=[pytest.mark.slow, pytest.mark.timeout(3000)]) for n in (5, 16)]


@pytest.mark.parametrize("nominal", NOMINALS)
@pytest.mark.parametrize(("n", "n_drawn"), [(5, 1500), (16, 700), *LARGE])
def test_many_channels_are_what_readings_drawn_at_random_say(n: int, n_drawn: int, nominal: float | None) -> None:
    found = gains(of_channels(n), Case((), nominal=label(nominal)))
    for gain, (drawn, error) in zip(found, by_drawing(n, nominal, n_drawn), strict=True):
        assert error < CHANNELS_ERROR_BITS / 3
        assert abs(gain - drawn) < CHANNELS_ERROR_BITS


FEED = """\
  feed:
    label: voltage at the feed
    kind: reading
    states: [there, low]
    given: [driver]
    mark: reasoned
    table:
      - {when: {driver: ok}, p: [0.97, 0.03]}
      - {p: [0.6, 0.4]}
    reading:
      unit: V
      hold: steady
      outliers: {share: 0.02, up_to_volts: 400}
      mark: reasoned
      levels:
        there: [{mix: [{normal: [1, 0.04]}]}]
        low: [{mix: [{uniform: [0.3, 0.95]}]}]
"""
AGE = "conditions:\n  age: {label: age, states: [young, old], shares: [0.5, 0.5], mark: reasoned}\n"
WITH_FEED = (
    ("setups:\n", FEED + "setups:\n"),
    ("tests:\n", "tests:\n  feed: {label: measure the feed, minutes: 1, hazard: 0, mark: reasoned}\n"),
    ("rails:\n", AGE + "rails:\n"),
    ("      channels: separate\n", "      given: [age]\n      channels: separate\n"),
    (
        "        normal: [{mix: [{normal: [1, 0.04]}]}]\n",
        "        normal:\n          - {when: {age: young}, mix: [{normal: [1, 0.04]}]}\n"
        "          - {when: {age: old}, mix: [{share: 0.8, normal: [0.96, 0.05]}, {share: 0.2, rail: 0.03}]}\n",
    ),
)
LISTED = Nominal(Spread(54.0, 0.006, 6.0), "list", readings=7)
EVERY_CASE: dict[str, tuple[int, Case]] = {
    f"{n} channels, {name}": (n, Case((), nominal=nominal, meter=meter))
    for n in (1, 3, 8, 16)
    for name, nominal, meter in (
        ("label", label(54.0), Meter()),
        ("unknown", None, Meter()),
        ("listed", LISTED, Meter(0.1, 1, 6000)),
        ("poor meter", label(54.0), Meter(15.0, 5)),
        ("poor meter, unknown", None, Meter(15.0, 5)),
    )
}


@pytest.mark.parametrize("name", EVERY_CASE)
def test_the_sample_is_as_good_as_it_says(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Against sixteen times as many readings; whether nodes lie close enough is the next test."""
    n, case = EVERY_CASE[name]
    usual = gains(of_channels(n), case)
    monkeypatch.setattr(predict, "SAMPLE_SIZE", 16 * predict.SAMPLE_SIZE)
    np.testing.assert_allclose(usual, gains(of_channels(n), case), atol=CHANNELS_ERROR_BITS)


@pytest.mark.parametrize("name", [name for name in EVERY_CASE if name.startswith("3 ")])
def test_the_nodes_lie_close_enough(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same number of readings, over nominals three times as fine and common deviations six times."""
    n, case = EVERY_CASE[name]
    usual = gains(of_channels(n), case)
    monkeypatch.setattr(grid, "_COARSE", 3)
    monkeypatch.setattr(grid, "_COARSEST_STEP", 0.25)
    monkeypatch.setattr(grid, "_WIDTHS_A_STEP", 0.3)
    np.testing.assert_allclose(usual, gains(of_channels(n), case), atol=CHANNELS_ERROR_BITS)


VAGUE = (
    ("channel_sd: 0.01", "channel_sd: 0.035"),
    ("outliers: {share: 0.02, up_to_volts: 400}", "outliers: {share: 0.2, up_to_volts: 150}"),
    ("low: [{mix: [{uniform: [0.5, 0.97]}]}]", "low: [{mix: [{uniform: [0.8, 1.0]}]}]"),
    ("zero: [{mix: [{normal: [0, 0.01]}]}]", "zero: [{mix: [{uniform: [0, 0.9]}]}]"),
)
SHARED: dict[str, tuple[tuple[tuple[str, str], ...], tuple[str, ...], float | None]] = {
    "vague channels": (VAGUE, (), 54.0),
    "vague channels, nominal unknown": (VAGUE, (), None),
    "conditions": (WITH_FEED, (), 54.0),
    "after a feed": (WITH_FEED, ("feed=49",), 54.0),
    "after a feed, nominal unknown": (WITH_FEED, ("feed=49",), None),
    "after an odd feed, nominal unknown": (WITH_FEED, ("feed=21",), None),
}


@pytest.mark.parametrize("name", SHARED)
def test_with_conditions_and_readings_before_the_error_is_no_larger(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    changes, texts, nominal = SHARED[name]
    model = model_with(*changes)
    case = Case(parse_events(model, texts), nominal=label(nominal))
    usual = gains(model, case)
    assert 0 <= usual[1] <= usual[0]
    monkeypatch.setattr(predict, "SAMPLE_SIZE", 16 * predict.SAMPLE_SIZE)
    monkeypatch.setattr(grid, "_COARSEST_STEP", 0.75)
    np.testing.assert_allclose(usual, gains(model, case), atol=CHANNELS_ERROR_BITS)


@pytest.mark.parametrize("name", EVERY_CASE)
def test_readings_tell_no_more_than_the_pattern_behind_them(name: str) -> None:
    """Data processing (Cover & Thomas, Elements of Information Theory, 2.8): exactly, whatever the sample."""
    n, case = EVERY_CASE[name]
    model = of_channels(n)
    belief = believe(model, case)
    about_all, needs_work = gains(model, case)
    assert 0 <= needs_work <= about_all <= belief.gain_bits(("channels",))
    assert needs_work <= belief.gain_bits(("channels",), model.compiled.to_decide)


@pytest.mark.parametrize("size", [7, 20, 256])
@pytest.mark.parametrize("nominal", NOMINALS)
def test_however_few_readings_are_drawn_they_leave_the_belief_as_it_is(
    size: int, nominal: float | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is believed is the mean of what will be believed (law of total probability), so every column adds to 1."""
    monkeypatch.setattr(predict, "SAMPLE_SIZE", size)
    model, case = model_with(), Case((), nominal=label(nominal))
    belief = believe(model, case)
    found = ReadingGains(model, case, belief)
    joint = found.by_volts("channels", np.arange(model.compiled.table.axes.n_joint))
    np.testing.assert_allclose(joint.sum(axis=0) / joint.sum(), belief.targets, rtol=1e-9, atol=1e-15)
    assert 0 <= found.gains_bits("channels")[0] <= belief.gain_bits(("channels",))


def drawn_in(state: str, n: int, meter: Meter, outliers: float) -> Floats:
    """8192 readings in one state, with a label's nominal."""
    model = model_with(("outliers: {share: 0.02,", f"outliers: {{share: {outliers:f},"))
    how = model.observations["channels"].reading
    assert how is not None
    nodes_of = grid.grid_of(model, label(54.0), with_channels=True)
    return sample_readings(how, [Cell(state, {}, nodes_of.weights, 1.0)], n, meter, nodes_of, 8192)


def test_readings_are_drawn_with_every_error_there_is() -> None:
    """Moments in closed form: the nominal .03, together .04**2 - .01**2, a channel's own .01, and the meter (GUM)."""
    meter = Meter(3.0, 2)
    readings = drawn_in("all_alike", 3, meter, 1e-6)
    own = (0.01 * 54) ** 2 + float(meter.sd_volts(54.0)) ** 2
    shared = 54**2 * (0.03**2 + 0.04**2 - 0.01**2)
    np.testing.assert_allclose(readings.mean(axis=0), 54, rtol=2e-3)
    np.testing.assert_allclose(readings.var(axis=0), own + shared, rtol=0.03)
    apart = np.cov(readings.T)
    np.testing.assert_allclose(apart[np.triu_indices(3, 1)], shared, rtol=0.04)


@pytest.mark.parametrize(("state", "numbers"), [("one_zero", {1}), ("two_zero", {2}), ("more_zero", {3, 4, 5})])
def test_as_many_channels_are_drawn_odd_as_the_pattern_says(state: str, numbers: set[int]) -> None:
    """Each number as often."""
    counts = (drawn_in(state, 5, Meter(), 1e-6) < 10).sum(axis=1)
    assert set(np.unique(counts)) == numbers
    for number in numbers:
        assert np.mean(counts == number) == pytest.approx(1 / len(numbers), abs=0.01)


def test_outliers_are_drawn_anywhere_up_to_their_limit() -> None:
    readings = drawn_in("all_alike", 3, Meter(), 0.02)
    assert readings.max() <= 400
    for volts in (100, 200, 300):
        assert np.mean(readings > volts) == pytest.approx(0.02 * (400 - volts) / 400, abs=5e-4)


def test_a_worthless_meter_tells_next_to_nothing() -> None:
    worthless = Meter(counts=3000, range_digit_volts=10.0)
    assert max(gains(model_with(), Case((), nominal=label(54.0), meter=worthless))) < 0.02


@pytest.mark.parametrize("nominal", NOMINALS)
def test_with_ever_smaller_errors_a_reading_tells_what_its_pattern_does(nominal: float | None) -> None:
    """Where patterns exclude each other: channels all alike but for some at zero, or for one above."""
    found = []
    errors = ((0.05, 0.03, Meter(10, 9)), (0.005, 0.01, Meter()), (1e-5, 1e-3, Meter(0.02, 1, 60_000)))
    for share, channel_sd, meter in errors:
        model = model_with(
            ("channel_sd: 0.01", f"channel_sd: {channel_sd}"),
            ("outliers: {share: 0.02,", f"outliers: {{share: {share},"),
            ("low: [{mix: [{uniform: [0.5, 0.97]}]}]", "low: [{mix: [{uniform: [0.4, 0.7]}]}]"),
            ("other: [{mix: [{uniform: [0, 1.4]}]}]", "other: [{mix: [{uniform: [1.15, 1.4]}]}]"),
            ("odd: low, count: [1, 15]", "odd: low, count: [2, 2]"),
            ("odd: [low, other], count: [1, 1]", "odd: other, count: [1, 1]"),
            ("odd: zero, count: [3, 16]", "odd: zero, count: [3, 4]"),
        )
        case = Case((), nominal=label(nominal), meter=meter)
        belief = believe(model, case)
        pattern = belief.gain_bits(("channels",)), belief.gain_bits(("channels",), model.compiled.to_decide)
        found.append(np.array(pattern) - gains(model, case))
    assert all(np.all(more > less) for more, less in pairwise(found))
    np.testing.assert_allclose(found[-1], 0, atol=5e-4)


def test_the_same_case_has_the_same_gain() -> None:
    case = Case((), nominal=label(None))
    assert gains(model_with(), case) == gains(model_with(), case)


WITH_REPAIR = (
    (
        "rails:\n",
        "repairs:\n  new_string: {label: new string, fixes: [string_1], success: 0.9, arrives_faulty: 0,"
        " minutes_by_size: [9, 9, 9, 9], parts: [[5, 9], [5, 9], [5, 9], [5, 9]],"
        " harm: [0, 0, 0, 0], comeback: 0, hazard: 0, mark: reasoned}\nrails:\n",
    ),
)


def test_as_many_channels_are_counted_on_as_were_read_before_or_as_usual(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read before: before a repair of what they hang on, since which they would not be read again."""
    unsaid = model_with(("      usual_channels: 5\n", ""))
    assert gains(unsaid, Case(())) == gains(of_channels(USUAL_CHANNELS), Case(()))
    five, two = model_with(*WITH_REPAIR), model_with(*WITH_REPAIR, ("usual_channels: 5", "usual_channels: 2"))
    assert gains(five, Case(())) != gains(two, Case(()))
    read_before = Case(parse_events(five, ["channels=54,0", "new_string=not"]))
    assert "channels" in {test.test for test in rank_tests(five, read_before).tests}
    assert gains(five, read_before) == gains(two, read_before)
    counted: list[int] = []

    def watched(*given: Any) -> Floats:
        counted.append(given[6])
        return predict.predicted_channels(*given)

    monkeypatch.setattr("faultnet.ranking.volts.predicted_channels", watched)
    for texts in (["channels=54,0"], ["channels=54,0,54"], ["channels=54,0,54", "new_string=not", "channels=54,0"], []):
        gains(five, Case(parse_events(five, [*texts, "new_string=not"])))
    assert counted == [2, 3, 2, 5]


def test_the_list_of_tests_carries_these_gains() -> None:
    (test,) = rank_tests(model_with(), Case(())).tests
    assert (test.gain_bits, test.gain_repair_bits) == gains(model_with(), Case(()))


def test_a_plan_tells_channels_by_their_pattern() -> None:
    """Bands of volts are for one feed."""
    model, case = model_with(*WITH_FEED), Case(())
    found = ReadingGains(model, case, believe(model, case))
    assert band_reading(found, model.tests["channels"]) is None
    banded = band_reading(found, model.tests["feed"])
    assert banded is not None
    assert banded.observation == "feed"


def test_how_many_are_usual_goes_with_separate_channels() -> None:
    of_a_feed = ("      hold: steady\n      outliers", "      usual_channels: 3\n      hold: steady\n      outliers")
    with pytest.raises(ModelProblem, match="`usual_channels` goes with"):
        model_with(*WITH_FEED, of_a_feed)
