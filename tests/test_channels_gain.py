"""The gain of separate channels: against quadrature, against drawing at random, in its limits, and its stated error."""

from collections.abc import Iterator, Sequence
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from labels import label
from scipy import stats
from small_models import write_model
from test_channels import half_dark, half_dark_text

from faultnet.case import Case, believe, parse_events
from faultnet.cpt import Floats, Ints
from faultnet.engine.interface import Belief
from faultnet.errors import ModelProblem
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.plan.bands import band_reading
from faultnet.ranking import rank_tests
from faultnet.ranking.volts import CHANNELS_ERROR_BITS, ReadingGains
from faultnet.readings import Meter, predict

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
    """P(state of the channels, components) for all their joint states, and for what needs work."""
    joint = belief.joint(("channels", *model.components))
    number: Ints = np.zeros(1, dtype=np.intp)
    for component in model.components:
        to_decide = np.array(model.compiled.to_decide[component])
        number = (number[:, None] * 100 + to_decide).reshape(-1)
    flat = joint.reshape(len(joint), -1)
    return flat, np.stack([flat[:, number == each].sum(axis=1) for each in np.unique(number)], axis=1)


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
        density = stats.norm.pdf(volts, mean, width) + stats.norm.pdf(-volts, mean, width)
    else:
        low, high = {"low": (0.5, 0.97), "other": (0.0, 1.4)}[level]
        width = np.hypot(0.015 * nominals, sd)
        density = np.zeros_like(volts * nominals)
        for sign in (1, -1):
            z_high, z_low = (high * nominals - sign * volts) / width, (low * nominals - sign * volts) / width
            density += np.abs(stats.norm.cdf(z_high) - stats.norm.cdf(z_low))
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
    edges = np.concatenate([np.linspace(0, 12, 161)[:-1], np.geomspace(12, 330, 700), [400]])
    return (edges[1:] + edges[:-1]) / 2, np.diff(edges)


@pytest.mark.parametrize("nominal", NOMINALS)
@pytest.mark.parametrize("n", [1, 2])
def test_one_and_two_channels_are_what_quadrature_says(n: int, nominal: float | None) -> None:
    model, case = of_channels(n), Case((), nominal=label(nominal))
    volts, widths = volt_nodes()
    nominals, common, weights = nodes(nominal, 121 if nominal else 420, 21)
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
    nominals, common, weights = nodes(nominal, 61 if nominal else 240, 13)
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
            picks = [by_count[k] / stats.binom(len(volts), 0.5).pmf(k) / 2 ** len(volts) for k in numbers]
            found[row, column] = np.mean(picks, axis=0) @ weights
    return found


N_DRAWN = 300


@pytest.mark.parametrize("nominal", NOMINALS)
@pytest.mark.parametrize("n", [5, 16])
def test_many_channels_are_what_readings_drawn_at_random_say(n: int, nominal: float | None) -> None:
    """What the pattern would tell less what is left of it after each reading: that varies least.

    300 readings drawn in each state, by their chances; from the standard error of the mean, four of them are allowed.
    """
    model, case, rng = of_channels(n), Case((), nominal=label(nominal)), np.random.default_rng(4 + n)
    by_group = groups(model, believe(model, case))
    wanted, errors = [bits(group) for group in by_group], [0.0, 0.0]
    for number, state in enumerate(STATES):
        readings = np.array([draw(state, n, nominal, Meter(), rng) for _ in range(N_DRAWN)])
        likely = state_likelihoods(readings, nominal, Meter())
        for which, group in enumerate(by_group):
            left = [bits(row[:, None] * group) for row in likely]
            chance = float(group[number].sum())
            wanted[which] -= chance * float(np.mean(left))
            errors[which] += (chance * float(np.std(left))) ** 2 / N_DRAWN
    for gain, about, error in zip(gains(model, case), wanted, np.sqrt(errors), strict=True):
        assert error < CHANNELS_ERROR_BITS / 2
        assert abs(gain - about) < CHANNELS_ERROR_BITS + 4 * error
