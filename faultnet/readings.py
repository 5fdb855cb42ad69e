"""What readings in volts say about the states of their observations.

A reading is never cut into bins: each state has a distribution of the ratio to the nominal voltage, widened by the
meter's error and mixed with a share of outliers, and the nominal itself is integrated over what is known of it.
Readings taken on one set share its nominal and what its driver output shows when off, so they are weighed together.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from math import erf, isinf, log, sqrt

import numpy as np

from faultnet.cpt import Floats
from faultnet.engine.evidence import Likelihood
from faultnet.model.model import Model
from faultnet.model.volts import Level, NominalRange, Piece, ReadingModel

MOST_VOLTS = 1500.0
LABEL_RELATIVE_SD = 0.03
"""How far a printed nominal is off, one standard deviation (reasoned)."""

_UNKNOWN_NOMINAL_NODES = 240
_KNOWN_NOMINAL_NODES = 201
_KNOWN_NOMINAL_REACH = 8.0
_ROOT_TWO = sqrt(2.0)
_erf = np.frompyfunc(erf, 1, 1)


@dataclass(frozen=True)
class Meter:
    """Accuracy of a meter: +-(percent of reading + counts x resolution), rectangular (JCGM 100:2008, 4.3.7)."""

    percent: float = 0.8
    counts: float = 3
    resolution_volts: float = 0.1

    def sd_volts(self, volts: float) -> float:
        """Standard uncertainty of a reading: the half-width over the square root of three."""
        return (self.percent / 100 * volts + self.counts * self.resolution_volts) / sqrt(3)


@dataclass(frozen=True)
class Volts:
    """One reading: the points that were reached, in volts (`inf`: over range), and how the meter was set."""

    observation: str
    points: tuple[float, ...]
    hold: str

    @property
    def volts(self) -> float:
        """One feed read at several points is one reading: the median of its points."""
        return float(np.median(self.points))


def nominal_nodes(known: float | None, spread: NominalRange) -> tuple[Floats, Floats]:
    """Nominal voltages and their weights: normal about a known one, else log-uniform over what such sets have.

    Both ``(n,)``; the weights add to 1. Evenly spaced, since the trapezoid rule is exact to rounding for what is smooth
    and steady at the edges of what is not.
    """
    volts = known if known is not None else spread.volts
    if volts is not None:
        steps = np.linspace(-_KNOWN_NOMINAL_REACH, _KNOWN_NOMINAL_REACH, _KNOWN_NOMINAL_NODES)
        weights = np.exp(-0.5 * steps**2)
        return volts * (1 + LABEL_RELATIVE_SD * steps), weights / weights.sum()
    steps = (np.arange(_UNKNOWN_NOMINAL_NODES) + 0.5) / _UNKNOWN_NOMINAL_NODES
    low, high = log(spread.low_volts), log(spread.high_volts)
    return np.exp(low + (high - low) * steps), np.full(_UNKNOWN_NOMINAL_NODES, 1 / _UNKNOWN_NOMINAL_NODES)


def reading_likelihood(
    model: Model, readings: Sequence[Volts], nominal_volts: float | None, meter: Meter, showing: float = 1.0
) -> Likelihood:
    """The likelihood of the readings of one epoch, over the states of their observations and the conditions they share.

    In 1/V to the power of the number of readings. An over-range reading says nothing and gets a flat factor.
    """
    observations = list(dict.fromkeys(reading.observation for reading in readings))
    models = {o: _reading_model(model, o) for o in observations}
    conditions = list(dict.fromkeys(c for m in models.values() for c in m.given))
    if model.nominal is None:
        raise ValueError(f"{model.id} knows nothing of nominal voltages")
    nominals, weights = nominal_nodes(nominal_volts, model.nominal)
    axes = [
        *(len(model.observations[o].states) for o in observations),
        *(len(model.conditions[c].states) for c in conditions),
    ]
    table: Floats = np.empty(axes)
    for number, standing in enumerate(product(*(model.conditions[c].states for c in conditions))):
        at = dict(zip(conditions, standing, strict=True))
        by_node: Floats = weights.reshape(-1, *(1,) * len(observations))
        for axis, observation in enumerate(observations):
            densities: Floats = np.ones((len(nominals), len(model.observations[observation].states)))
            for reading in readings:
                if reading.observation == observation and not isinf(reading.volts):
                    states = model.observations[observation].states
                    densities = densities * _densities(
                        models[observation], reading, states, at, nominals, model.nominal, meter
                    )
            shape = [len(nominals)] + [1] * len(observations)
            shape[axis + 1] = densities.shape[1]
            by_node = by_node * densities.reshape(shape)
        table.reshape(*axes[: len(observations)], -1)[..., number] = by_node.sum(axis=0)
    return Likelihood((*observations, *conditions), table, showing)


def outlier_density(model: Model, observation: str) -> float:
    """Share of outliers times their density, in 1/V: what a reading weighs if it says nothing."""
    reading = _reading_model(model, observation)
    return reading.outlier_share / reading.up_to_volts


def _reading_model(model: Model, observation: str) -> ReadingModel:
    reading = model.observations[observation].reading
    if reading is None:
        raise ValueError(f"{observation} is not read in volts")
    return reading


def _densities(
    reading_model: ReadingModel,
    reading: Volts,
    states: Sequence[str],
    at: Mapping[str, str],
    nominals: Floats,
    spread: NominalRange,
    meter: Meter,
) -> Floats:
    """Density of the reading at every nominal in every state, outliers mixed in: ``(n_nominals, n_states)``, in 1/V."""
    levels = reading_model.levels.get(reading.hold, reading_model.levels[reading_model.default_hold])
    volts, sd = reading.volts, meter.sd_volts(reading.volts)
    columns = []
    for state in states:
        level = _level(levels[state], at)
        mixed = sum(piece.share * _piece_density(piece, volts, sd, nominals, spread) for piece in level.mixture)
        columns.append(
            (1 - reading_model.outlier_share) * mixed + reading_model.outlier_share / reading_model.up_to_volts
        )
    return np.stack(columns, axis=1)


def _level(levels: Sequence[Level], at: Mapping[str, str]) -> Level:
    return next(level for level in levels if all(at.get(c) == state for c, state in level.when.items()))


def _piece_density(piece: Piece, volts: float, sd: float, nominals: Floats, spread: NominalRange) -> Floats:
    """Density of a reading of `volts` under one piece of a mixture, at every nominal: ``(n,)``."""
    if piece.kind == "uniform":
        low, high = piece.first * nominals, piece.second * nominals
        density: Floats = (_normal_cdf((volts - low) / sd) - _normal_cdf((volts - high) / sd)) / (high - low)
        return density
    if piece.kind == "rail":
        rails = np.array(spread.input_rails_volts)[:, None]
        below = rails < 0.95 * nominals
        below = below | (~below.any(axis=0) & (rails == rails.min()))
        densities = _folded_normal(volts, rails, np.hypot(piece.second * nominals, sd))
        at_rails: Floats = (densities * below).sum(axis=0) / below.sum(axis=0)
        return at_rails
    return _folded_normal(volts, piece.first * nominals, np.hypot(piece.second * nominals, sd))


def _folded_normal(volts: float, mean: Floats, sd: Floats) -> Floats:
    """Density of the magnitude of a normal: a meter's reading is entered without its sign."""
    scale = 1 / (sd * sqrt(2 * np.pi))
    folded: Floats = scale * (np.exp(-0.5 * ((volts - mean) / sd) ** 2) + np.exp(-0.5 * ((volts + mean) / sd) ** 2))
    return folded


def _normal_cdf(z: Floats) -> Floats:
    return 0.5 * (1 + np.asarray(_erf(z / _ROOT_TWO), dtype=float))
