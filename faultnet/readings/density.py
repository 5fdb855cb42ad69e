"""How likely a voltage is at a level of a reading, for every nominal that is integrated over.

All densities are in 1/V and of the magnitude: a meter's reading is entered without its sign.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property, reduce
from math import exp, isinf, lgamma, log, pi, sqrt
from operator import add

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.volts import Piece, ReadingModel
from faultnet.readings.grid import Grid, common_sd
from faultnet.readings.meter import FULL_SHARE, Meter
from faultnet.readings.nominal import Spread
from faultnet.readings.normal import normal_cdf

EDGE_SD = 0.015
"""Nothing physical ends sharply: the ends of a uniform piece are soft by this ratio to the nominal (reasoned)."""

_FAR = 8.0
_AROUND, _AROUND_WEIGHTS = np.polynomial.hermite_e.hermegauss(41)


@dataclass(frozen=True, eq=False)
class Taken:
    """Volts that were read, ``(n_volts, 1)``, how they were taken, and what is integrated over.

    Densities of levels are kept: states and conditions share many.
    """

    volts: Floats
    hold: str
    meter: Meter
    grid: Grid
    _levels: dict[tuple[tuple[Piece, ...], float | None], Floats] = field(default_factory=dict)

    @cached_property
    def sd_volts(self) -> Floats:
        return self.meter.sd_volts(self.volts)

    def level(self, mixture: tuple[Piece, ...], channel_sd: float | None = None) -> Floats:
        """Density of each reading at a level: ``(n_volts, n)``.

        channel_sd: of separate channels, how far one is from the others.
        """
        key = (mixture, channel_sd)
        if key not in self._levels:
            self._levels[key] = reduce(add, (piece.share * self._piece(piece, channel_sd) for piece in mixture))
        return self._levels[key]

    def _piece(self, piece: Piece, channel_sd: float | None) -> Floats:
        is_common = channel_sd is not None and piece.kind in ("normal", "limit") and common_sd(piece, channel_sd) > 0
        grid = self.grid if is_common else self.grid.by_nominal
        density = _piece_density(piece, self.volts, self.sd_volts, grid, channel_sd)
        return density if is_common else np.repeat(density, self.grid.n_common, axis=1)


def state_density(reading: ReadingModel, state: str, at: Mapping[str, str], taken: Taken) -> Floats:
    """Density of each reading in a state, outliers mixed in, at every node of the grid: ``(n_volts, n)``.

    at: states of the conditions it hangs on. A state that is a start pulse in part of its cases shows, with the chances
    of the meter, as it does when settled, as anything up to a share of its level, or in full.
    """
    mixture = reading.level(state, taken.hold, at).mixture
    density = taken.level(mixture)
    pulse = reading.start_pulse.get(state, 0.0) if taken.hold == "max" else 0.0
    if pulse:
        missed, shortened = taken.meter.pulse_missed, taken.meter.pulse_shortened - taken.meter.pulse_missed
        settled = taken.level(reading.level(state, "settled", at).mixture)
        seen = missed * settled + shortened * taken.level(_up_to_full(mixture))
        density = (1 - pulse * (missed + shortened)) * density + pulse * seen
    return with_outliers(reading, density)


def with_outliers(reading: ReadingModel, density: Floats) -> Floats:
    """The density with the share of readings that say nothing."""
    return (1 - reading.outlier_share) * density + reading.outlier_share / reading.up_to_volts


def _up_to_full(mixture: tuple[Piece, ...]) -> tuple[Piece, ...]:
    """Anything from 0 to the share of the level that counts as full: what max hold makes of a pulse cut short."""
    pieces = []
    for piece in mixture:
        top = FULL_SHARE * (piece.second if piece.kind == "uniform" else piece.first)
        pieces.append(piece if piece.kind == "rail" or top <= 0 else Piece(piece.share, "uniform", 0.0, top))
    return tuple(pieces)


def _piece_density(piece: Piece, volts: Floats, sd: Floats, grid: Grid, channel_sd: float | None) -> Floats:
    nominals = grid.nominals
    if piece.kind == "uniform":
        return _soft_uniform(volts, piece.first * nominals, piece.second * nominals, _together(EDGE_SD * nominals, sd))
    if piece.kind == "rail":
        widths = _together(piece.second * nominals, sd)
        weighed = zip(grid.rail_weights, grid.rails.input_rails_volts, strict=True)
        return sum((weight * _folded_normal(volts, np.array(rail), widths) for weight, rail in weighed), np.zeros(()))
    if piece.kind == "limit" and grid.limit is not None:
        known = [spread_density(grid.limit, *each) for each in zip(volts.flat, sd.flat, strict=True)]
        return np.broadcast_to(np.reshape(known, volts.shape), (len(volts), len(nominals)))
    if channel_sd is None:
        return _folded_normal(volts, piece.first * nominals, _together(piece.second * nominals, sd))
    own = min(channel_sd, piece.second)
    mean = (piece.first + common_sd(piece, channel_sd) * grid.common) * nominals
    return _folded_normal(volts, mean, _together(own * nominals, sd))


def _together(one: Floats, other: Floats) -> Floats:
    """Two independent errors as one: `np.hypot` at a fifth of its time, since nothing here is huge or tiny."""
    return np.sqrt(one * one + other * other)


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
    density: Floats = np.exp(-0.5 * ((volts - mean) / sd) ** 2)
    if np.any(mean < _FAR * sd.max(axis=0)):  # else nothing lies below 0 V
        density += np.exp(-0.5 * ((volts + mean) / sd) ** 2)
    density /= sd * sqrt(2 * np.pi)
    return density


def _soft_uniform(volts: Floats, low: Floats, high: Floats, edge_sd: Floats) -> Floats:
    """Density of the magnitude of what lies anywhere between two ends, each blurred by a normal error."""
    ends = np.stack([high, low])[:, None]
    at_high, at_low = normal_cdf((ends - volts) / edge_sd)
    inside = at_high - at_low
    near = volts[:, 0] < _FAR * edge_sd.max() + max(0.0, -float(low.min()))  # 0 V: what lies below is folded over
    if near.any():
        at_high, at_low = normal_cdf((ends + volts[near]) / edge_sd[near])
        inside[near] += at_high - at_low
    density: Floats = inside / (high - low)
    return density
