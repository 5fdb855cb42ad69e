"""How likely a voltage is at a level of a reading, for every nominal that is integrated over.

All densities are in 1/V and of the magnitude: a meter's reading is entered without its sign.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from math import exp, isinf, lgamma, log, pi, sqrt

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.volts import Level, NominalRange, Piece, ReadingModel
from faultnet.readings.meter import FULL_SHARE, Meter
from faultnet.readings.nominal import Spread
from faultnet.readings.normal import normal_cdf

EDGE_SD = 0.015
"""Nothing physical ends sharply: the ends of a uniform piece are soft by this ratio to the nominal (reasoned)."""

RAIL_BELOW, RAIL_BELOW_SD = 0.95, 0.03
"""A boost is fed from a rail below its output: below this ratio to the nominal, softly (reasoned)."""

_AROUND, _AROUND_WEIGHTS = np.polynomial.hermite_e.hermegauss(41)


@dataclass(frozen=True, eq=False)
class Grid:
    """Nominals to integrate over and, for separate channels, the common deviation of a set from its level.

    nominals, common, weights: ``(n,)``, weights adding to 1; common in standard deviations, 0 for a single feed.
    """

    nominals: Floats
    common: Floats
    weights: Floats
    rails: NominalRange
    limit: Spread | None

    @cached_property
    def rail_weights(self) -> Floats:
        """How likely each usual input rail is at every nominal: ``(n_rails, n)``; the lowest where none lies below."""
        rails = np.array(self.rails.input_rails_volts)[:, None]
        below = normal_cdf((RAIL_BELOW - rails / self.nominals) / RAIL_BELOW_SD)
        below[np.argmin(rails)] += 1e-12
        weights: Floats = below / below.sum(axis=0)
        return weights


@dataclass(frozen=True, eq=False)
class Taken:
    """How a reading was taken: hold mode, states of the conditions it hangs on, meter, and what is integrated over."""

    hold: str
    at: Mapping[str, str]
    meter: Meter
    grid: Grid


def state_density(reading: ReadingModel, state: str, volts: Floats, taken: Taken) -> Floats:
    """Density of readings in a state, outliers mixed in, at every node of the grid: ``(n_volts, n)``.

    volts: ``(n_volts, 1)``.
    A state that is a start pulse in part of its cases shows, with the chances of the meter, as it does when settled, as
    anything up to a share of its level, or in full.
    """
    level = reading.level(state, taken.hold, taken.at)
    density = level_density(level, volts, taken)
    pulse = reading.start_pulse.get(state, 0.0) if taken.hold == "max" else 0.0
    if pulse:
        missed, shortened = taken.meter.pulse_missed, taken.meter.pulse_shortened - taken.meter.pulse_missed
        settled = level_density(reading.level(state, "settled", taken.at), volts, taken)
        partly = level_density(_up_to_full(level), volts, taken)
        seen = missed * settled + shortened * partly + (1 - missed - shortened) * density
        density = (1 - pulse) * density + pulse * seen
    return with_outliers(reading, density)


def with_outliers(reading: ReadingModel, density: Floats) -> Floats:
    """The density with the share of readings that say nothing."""
    return (1 - reading.outlier_share) * density + reading.outlier_share / reading.up_to_volts


def _up_to_full(level: Level) -> Level:
    """Anything from 0 to the share of the level that counts as full: what max hold makes of a pulse cut short."""
    pieces = []
    for piece in level.mixture:
        top = FULL_SHARE * (piece.second if piece.kind == "uniform" else piece.first)
        pieces.append(piece if piece.kind == "rail" or top <= 0 else Piece(piece.share, "uniform", 0.0, top))
    return Level(level.when, tuple(pieces))


def level_density(level: Level, volts: Floats, taken: Taken, channel_sd: float | None = None) -> Floats:
    """Density of readings at a level: ``(n_volts, n)``.

    volts: ``(n_volts, 1)``. channel_sd: of separate channels, how far one is from the others.
    """
    sd = taken.meter.sd_volts(volts)
    first, *more = (p.share * _piece_density(p, volts, sd, taken.grid, channel_sd) for p in level.mixture)
    return sum(more, first)


def _piece_density(piece: Piece, volts: Floats, sd: Floats, grid: Grid, channel_sd: float | None) -> Floats:
    nominals = grid.nominals
    if piece.kind == "uniform":
        return _soft_uniform(volts, piece.first * nominals, piece.second * nominals, np.hypot(EDGE_SD * nominals, sd))
    if piece.kind == "rail":
        widths = np.hypot(piece.second * nominals, sd)
        weighed = zip(grid.rail_weights, grid.rails.input_rails_volts, strict=True)
        return sum((weight * _folded_normal(volts, np.array(rail), widths) for weight, rail in weighed), np.zeros(()))
    if piece.kind == "limit" and grid.limit is not None:
        known = [spread_density(grid.limit, *each) for each in zip(volts.flat, sd.flat, strict=True)]
        return np.broadcast_to(np.reshape(known, volts.shape), (len(volts), len(nominals)))
    if channel_sd is None:
        return _folded_normal(volts, piece.first * nominals, np.hypot(piece.second * nominals, sd))
    own = min(channel_sd, piece.second)
    mean = (piece.first + sqrt(piece.second**2 - own**2) * grid.common) * nominals
    return _folded_normal(volts, mean, np.hypot(own * nominals, sd))


def spread_density(known: Spread, volts: float, sd: float) -> float:
    """Density of a reading of a voltage that is known as far as `known` says, read with this standard uncertainty.

    Integrated over whichever of the two is narrower, the other being smooth there.
    """
    scale = known.relative_sd * known.volts
    if isinf(known.dof):
        return float(_folded_normal(np.array(volts), np.array(known.volts), np.hypot(scale, sd)))
    if sd < scale:
        return float(_log_student(volts + sd * _AROUND, known) @ _AROUND_WEIGHTS) / sqrt(2 * pi)
    nodes, weights = known.nodes()
    return float(_folded_normal(np.array(volts), nodes, np.full(len(nodes), sd)) @ weights)


def _log_student(volts: Floats, known: Spread) -> Floats:
    """Density in 1/V of a voltage whose logarithm is Student t; 0 at no volts and below."""
    positive = np.maximum(volts, 1e-9)
    t = np.log(positive / known.volts) / known.relative_sd
    constant = exp(lgamma((known.dof + 1) / 2) - lgamma(known.dof / 2) - 0.5 * log(known.dof * pi))
    density = constant * (1 + t**2 / known.dof) ** (-(known.dof + 1) / 2) / (known.relative_sd * positive)
    return np.where(volts > 0, density, 0.0)


def _folded_normal(volts: Floats, mean: Floats, sd: Floats) -> Floats:
    scale = 1 / (sd * sqrt(2 * np.pi))
    folded: Floats = scale * (np.exp(-0.5 * ((volts - mean) / sd) ** 2) + np.exp(-0.5 * ((volts + mean) / sd) ** 2))
    return folded


def _soft_uniform(volts: Floats, low: Floats, high: Floats, edge_sd: Floats) -> Floats:
    """Density of the magnitude of what lies anywhere between two ends, each blurred by a normal error."""

    def up_to(end: Floats) -> Floats:
        return normal_cdf((end - volts) / edge_sd) + normal_cdf((end + volts) / edge_sd)

    density: Floats = (up_to(high) - up_to(low)) / (high - low)
    return density
