"""Sets and readings drawn from the model: are the probabilities after two readings as often true as they say?

One joint test: the Brier score and the reliability over ten groups against their own distribution when every
probability is right (Spiegelhalter 1986; chi-square of the groups' sums), together at the .001 level.
"""

from functools import cache
from math import sqrt

import numpy as np
import pytest
from labels import label
from scipy import stats

from faultnet.case import Case, believe, parse_events
from faultnet.cpt import Floats
from faultnet.files import load_model
from faultnet.model.model import Model
from faultnet.model.volts import ReadingModel
from faultnet.readings import Meter
from faultnet.readings.density import Taken, state_density
from faultnet.readings.grid import grid_of

FIRST, SECOND = "loaded_voltage", "open_voltage"
HOLDS = {FIRST: "steady", SECOND: "max"}
LEVEL = 0.001
AT_ONCE = 500


@cache
def backlight() -> Model:
    return load_model("backlight")


@cache
def states_and_driver() -> Floats:
    """P(states of both readings, off output, driver faulty | confirmed complaint): ``(5, 4, 2, 2)``."""
    model = backlight()
    belief = believe(model, Case(parse_events(model, ["sound=present", "flashlight=image_seen"])))
    joint = belief.joint((FIRST, SECOND, "off_output", "driver"))
    return np.stack([joint[..., 0], joint[..., 1:].sum(axis=-1)], axis=-1)


def read(how: ReadingModel, state: str, hold: str, off: str, nominal: Floats, rng: np.random.Generator) -> Floats:
    """Volts a meter shows in this state, one for each nominal, drawn piece by piece and not through any density."""
    n, meter = len(nominal), Meter()

    def level(name: str) -> Floats:
        mixture = next(x for x in how.levels[name][state] if x.when.get("off_output", off) == off).mixture
        chosen = rng.choice(len(mixture), size=n, p=[piece.share for piece in mixture])
        volts = np.empty(n)
        for number, piece in enumerate(mixture):
            if piece.kind == "uniform":
                drawn = rng.uniform(piece.first, piece.second, n) + 0.015 * rng.standard_normal(n)
            elif piece.kind == "rail":
                rails = np.array([12.0, 18.0, 24.0, 30.0])
                chances = stats.norm.cdf((0.95 - rails[:, None] / nominal) / 0.03) + 1e-12 * (rails == 12)[:, None]
                below = np.cumsum(chances / chances.sum(axis=0), axis=0)
                drawn = rails[(rng.random(n) > below).sum(axis=0)] / nominal + piece.second * rng.standard_normal(n)
            else:
                drawn = piece.first + piece.second * rng.standard_normal(n)
            volts = np.where(chosen == number, drawn, volts)
        return volts

    ratio = level(hold)
    if hold == "max" and state in how.start_pulse:
        is_pulse, seen = rng.random(n) < how.start_pulse[state], rng.random(n)
        missed, cut = meter.pulse_missed, meter.pulse_shortened
        mixture = how.levels[hold][state][0].mixture
        chosen = rng.choice(len(mixture), size=n, p=[piece.share for piece in mixture])
        tops = np.array([piece.second if piece.kind == "uniform" else piece.first for piece in mixture])[chosen]
        partly = rng.uniform(0, 0.9, n) * tops + 0.015 * rng.standard_normal(n)
        ratio = np.where(is_pulse & (seen < cut), partly, ratio)
        ratio = np.where(is_pulse & (seen < missed), level("settled"), ratio)
    volts = np.abs(ratio * nominal)
    volts = np.abs(volts + meter.sd_volts(volts) * rng.standard_normal(n))
    return np.where(rng.random(n) < how.outlier_share, rng.uniform(0, how.up_to_volts, n), volts)


def drawn(n: int, nominal: float | None, seed: int) -> tuple[Floats, Floats, Floats]:
    """Volts of both readings and whether the driver is faulty, of n sets."""
    model, rng = backlight(), np.random.default_rng(seed)
    table = states_and_driver()
    first, second, off, is_faulty = np.unravel_index(rng.choice(table.size, size=n, p=table.reshape(-1)), table.shape)
    spread = model.nominal
    assert spread is not None
    if nominal is None:
        own = spread.low_volts * (spread.high_volts / spread.low_volts) ** rng.random(n)
    else:
        own = nominal * (1 + 0.03 * rng.standard_normal(n))
    shown = {FIRST: np.empty(n), SECOND: np.empty(n)}
    for observation, states in ((FIRST, first), (SECOND, second)):
        how = model.observations[observation].reading
        assert how is not None
        for number, state in enumerate(model.observations[observation].states):
            for which, name in enumerate(model.conditions["off_output"].states):
                mine = (states == number) & (off == which)
                shown[observation][mine] = read(how, state, HOLDS[observation], name, own[mine], rng)
    return shown[FIRST], shown[SECOND], is_faulty.astype(float)


def predictions(first: Floats, second: Floats, nominal: float | None) -> Floats:
    """P(driver faulty | findings and both readings) of every set, by the densities under test."""
    model, grid = backlight(), grid_of(backlight(), label(nominal))
    found = []
    for start in range(0, len(first), AT_ONCE):
        part = slice(start, start + AT_ONCE)
        weight = np.zeros((len(first[part]), 2))
        for which, off in enumerate(model.conditions["off_output"].states):
            by_state = []
            for observation, volts in ((FIRST, first[part]), (SECOND, second[part])):
                how = model.observations[observation].reading
                assert how is not None
                taken = Taken(volts[:, None], HOLDS[observation], Meter(), grid)
                states = model.observations[observation].states
                by_state.append(np.stack([state_density(how, state, {"off_output": off}, taken) for state in states]))
            together = np.einsum("avn,bvn,n->vab", *by_state, grid.weights, optimize=True)
            weight += np.einsum("vab,abd->vd", together, states_and_driver()[:, :, which])
        found.append(weight[:, 1] / weight.sum(axis=1))
    return np.concatenate(found)


def joint_p_value(chances: Floats, true: Floats) -> float:
    """How unlikely the worse of Brier score and reliability is when all chances are right, for both together."""
    variance = chances * (1 - chances)
    excess = ((true - chances) ** 2 - variance).sum() / sqrt((variance * (1 - 2 * chances) ** 2).sum())
    groups = np.argsort(np.argsort(chances)) * 10 // len(chances)
    sums = np.bincount(groups, true - chances) ** 2 / np.bincount(groups, variance)
    worst = min(2 * stats.norm.sf(abs(excess)), stats.chi2.sf(sums.sum(), len(sums)))
    return float(min(1.0, 2 * worst))


def check(n: int, nominal: float | None) -> None:
    first, second, true = drawn(n, nominal, seed=17)
    chances = predictions(first, second, nominal)
    assert joint_p_value(chances, true) > LEVEL
    assert ((chances - true) ** 2).mean() < 0.92 * true.mean() * (1 - true.mean())  # readings do tell something
    wrong = np.clip(1.3 * chances, 0, 1)  # the test can fail: probabilities a third too high are found out
    assert joint_p_value(np.maximum(wrong, 1e-6) * (1 - 1e-9), true) < LEVEL


@pytest.mark.parametrize("nominal", [54.0, None])
def test_probabilities_after_two_readings_are_as_often_true_as_they_say(nominal: float | None) -> None:
    check(6_000, nominal)


@pytest.mark.slow
@pytest.mark.parametrize("nominal", [54.0, None])
def test_the_same_over_a_hundred_thousand_sets(nominal: float | None) -> None:
    check(100_000, nominal)
