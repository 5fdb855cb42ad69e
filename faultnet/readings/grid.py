"""What is integrated over for the readings of one set: its nominal, and how far its channels are off it together."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import hypot, inf, sqrt

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.model import Model
from faultnet.model.volts import NominalRange, Piece, ReadingModel
from faultnet.readings.nominal import FINE, Nominal, Spread, nominal_nodes
from faultnet.readings.normal import normal_cdf

RAIL_BELOW, RAIL_BELOW_SD = 0.95, 0.03
"""A boost is fed from a rail below its output: below this ratio to the nominal, softly (reasoned)."""

_FINE_STEP, _FINE_REACH = 0.125, 7.0
"""Of the common deviation, in its standard deviations, where a likelihood is wanted to 1e-8."""

_COARSE, _COARSEST_STEP, _COARSE_REACH = 1, 1.5, 4.5
_WIDTHS_A_STEP = 1.75
"""Evenly spaced nodes this many standard deviations of a normal density apart integrate it to 0.4 %."""

_RARE = 1e-7
"""A nominal less likely than this, against the likeliest, makes no gain."""

_GRIDS_KEPT = 32


@dataclass(frozen=True, eq=False)
class Grid:
    """Nominals to integrate over and, for separate channels, the common deviation of a set from its level.

    nominals, common, weights: ``(n,)``, weights adding to 1; common in standard deviations, 0 for a single feed.
    n_common: how many nodes in a row share a nominal, each with another common deviation.
    """

    nominals: Floats
    common: Floats
    weights: Floats
    rails: NominalRange
    limit: Spread | None
    n_common: int = 1

    @cached_property
    def by_nominal(self) -> "Grid":
        """The nominals alone, for what does not hang on the common deviation."""
        if self.n_common == 1:
            return self
        nominals, weights = self.nominals[:: self.n_common], self.weights.reshape(-1, self.n_common).sum(axis=1)
        return Grid(nominals, np.zeros_like(nominals), weights, self.rails, self.limit)

    @cached_property
    def rail_weights(self) -> Floats:
        """How likely each usual input rail is at every nominal: ``(n_rails, n)``; the lowest where none lies below."""
        rails = np.array(self.rails.input_rails_volts)[:, None]
        below = normal_cdf((RAIL_BELOW - rails / self.nominals) / RAIL_BELOW_SD)
        below[np.argmin(rails)] += 1e-12
        weights: Floats = below / below.sum(axis=0)
        return weights


def grid_of(model: Model, nominal: Nominal | None, *, with_channels: bool = False, fineness: int = FINE) -> Grid:
    """What to integrate over for readings of one set. ValueError when the model knows nothing of nominal voltages."""
    if with_channels:
        return _with_common(*_nominals(model, nominal, fineness), _FINE_STEP, _FINE_REACH)
    return _of_one_feed(_rails(model), nominal, fineness)


@lru_cache(maxsize=_GRIDS_KEPT)
def _of_one_feed(rails: NominalRange, nominal: Nominal | None, fineness: int) -> Grid:
    """The same grid for the same voltages, so that what was worked out over it can be kept."""
    nominals, weights, limit = _nodes(rails, nominal, fineness)
    return Grid(nominals, np.zeros_like(nominals), weights, rails, limit)


def coarse_grid_of(model: Model, nominal: Nominal | None, readings: Sequence[ReadingModel]) -> Grid:
    """The same where a gain is wanted, of which some of these readings are: the nodes that it takes, and no more.

    The common deviation is blurred by a channel's own and by what is not known of the nominal; its nodes are no farther
    apart than that allows.
    """
    channels = [reading for reading in readings if reading.has_channels]
    if not channels:
        return grid_of(model, nominal, fineness=1)
    nominals, weights, rails, limit = _nominals(model, nominal, _COARSE)
    likely = weights > _RARE * weights.max()
    kept = weights[likely] / weights[likely].sum()
    known = inf if nominal is None or nominal.loaded is None else nominal.loaded.relative_sd
    step = min([_COARSEST_STEP, *(_step(reading, known) for reading in channels)])
    return _with_common(nominals[likely], kept, rails, limit, step, _COARSE_REACH)


def common_sd(piece: Piece, channel_sd: float) -> float:
    """How far the channels of a set are off a level together, as a ratio to the nominal: what is not their own."""
    return sqrt(max(0.0, piece.second**2 - channel_sd**2))


def _step(reading: ReadingModel, known: float) -> float:
    """How far apart nodes of the common deviation may be where the nominal is known to within `known` of itself."""
    levels = [level for by_name in reading.levels.values() for each in by_name.values() for level in each]
    pieces = [piece for level in levels for piece in level.mixture]
    widest = max((common_sd(p, reading.channel_sd) for p in pieces if p.kind in ("normal", "limit")), default=0.0)
    return _WIDTHS_A_STEP * hypot(reading.channel_sd, known) / widest if widest > 0 else inf


def _nominals(
    model: Model, nominal: Nominal | None, fineness: int
) -> tuple[Floats, Floats, NominalRange, Spread | None]:
    rails = _rails(model)
    nominals, weights, limit = _nodes(rails, nominal, fineness)
    return nominals, weights, rails, limit


def _rails(model: Model) -> NominalRange:
    if model.nominal is None:
        raise ValueError(f"{model.id} knows nothing of nominal voltages")
    return model.nominal


def _nodes(rails: NominalRange, nominal: Nominal | None, fineness: int) -> tuple[Floats, Floats, Spread | None]:
    loaded, unplugged = (None, None) if nominal is None else (nominal.loaded, nominal.unplugged)
    return *nominal_nodes(loaded, rails, fineness), unplugged


def _with_common(
    nominals: Floats, weights: Floats, rails: NominalRange, limit: Spread | None, step: float, reach: float
) -> Grid:
    """Every nominal with every common deviation, evenly spaced: nodes of a nominal in a row."""
    each_side = round(reach / step)
    common = step * np.arange(-each_side, each_side + 1)
    density = np.exp(-0.5 * common**2)
    together = np.outer(weights, density / density.sum()).reshape(-1)
    repeated, tiled = np.repeat(nominals, len(common)), np.tile(common, len(nominals))
    return Grid(repeated, tiled, together, rails, limit, n_common=len(common))
