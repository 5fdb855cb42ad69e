"""Readings of separate channels that may be shown: a sample spread evenly over what the set may be doing.

Sixteen channels leave no room for a grid of volts. Readings are drawn instead: in every state (and every standing of
the conditions), in rare states more often than they come up, and with uniform numbers that are even over any stretch of
them (Richtmyer's sequence; Niederreiter 1992). The same case always draws the same readings.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import count, islice
from math import isqrt

import numpy as np

from faultnet.cpt import Floats, Ints
from faultnet.model.volts import Piece, ReadingModel
from faultnet.readings.channels import odd_numbers
from faultnet.readings.density import EDGE_SD
from faultnet.readings.grid import Grid, common_sd
from faultnet.readings.meter import Meter
from faultnet.readings.normal import normal_quantile

_OTHERS = 3
"""Uniform numbers a reading takes besides two for each channel: the nominal, the common deviation, how many are odd."""


@dataclass(frozen=True, eq=False)
class Cell:
    """One standing to draw readings in: a state, the conditions' states, and how likely every node of the grid is."""

    state: str
    at: Mapping[str, str]
    weights: Floats
    share: float


def sample_readings(
    reading: ReadingModel, cells: list[Cell], n_channels: int, meter: Meter, grid: Grid, size: int
) -> Floats:
    """Readings of so many channels, ``(size, n_channels)`` in V, drawn from the cells by their shares, which add to 1.

    Since it makes no difference which channels are odd, the first ones are.
    """
    drawn = np.searchsorted(np.cumsum([cell.share for cell in cells]), (np.arange(size) + 0.5) / size)
    drawn = np.minimum(drawn, len(cells) - 1)
    even = _even_numbers(size, _OTHERS + 2 * n_channels)
    readings = np.empty((size, n_channels))
    for number in np.unique(drawn).tolist():
        here = drawn == number
        readings[here] = _from_cell(reading, cells[number], n_channels, meter, grid, even[here])
    return readings


def _from_cell(reading: ReadingModel, cell: Cell, n_channels: int, meter: Meter, grid: Grid, even: Floats) -> Floats:
    """Readings in one standing, ``(n, n_channels)``; even: uniform numbers ``(n, 3 + 2 * n_channels)``."""
    node = _nodes(cell.weights.reshape(-1, grid.n_common), even[:, 0], even[:, 1])[:, None]
    pattern = reading.patterns[cell.state]
    numbers = odd_numbers(pattern, n_channels)
    is_odd = np.arange(n_channels) < numbers.start + (even[:, 2:3] * len(numbers)).astype(np.intp)
    which, step = even[:, _OTHERS : _OTHERS + n_channels], normal_quantile(even[:, _OTHERS + n_channels :])
    is_outlier = which < reading.outlier_share
    within = np.where(is_outlier, 0.0, (which - reading.outlier_share) / (1 - reading.outlier_share))

    def of(names: Sequence[str]) -> Floats:
        mixtures = [reading.level(name, reading.default_hold, cell.at).mixture for name in names]
        pieces = [replace(piece, share=piece.share / len(names)) for mixture in mixtures for piece in mixture]
        return _of_pieces(pieces, reading.channel_sd, meter, grid, node, within, step)

    volts = of((pattern.rest,))
    if pattern.odd:
        volts = np.where(is_odd, of(pattern.odd), volts)
    return np.where(is_outlier, which / reading.outlier_share * reading.up_to_volts, volts)


def _even_numbers(size: int, n: int) -> Floats:
    """Numbers between 0 and 1, ``(size, n)``: a half and multiples of the roots of the first primes, without wholes."""
    primes = list(islice((p for p in count(2) if all(p % q for q in range(2, isqrt(p) + 1))), n))
    even: Floats = (0.5 + np.arange(1, size + 1)[:, None] * np.sqrt(np.array(primes))) % 1.0
    return even


def _nodes(weights: Floats, first: Floats, second: Floats) -> Ints:
    """Nodes of the grid drawn by their weights ``(n_nominals, n_common)``: a nominal, then a common deviation."""
    by_nominal = np.cumsum(weights.sum(axis=1))
    nominal = np.minimum(np.searchsorted(by_nominal / by_nominal[-1], first), len(weights) - 1)
    by_common = np.cumsum(weights[nominal], axis=1)
    common = (by_common < second[:, None] * by_common[:, -1:]).sum(axis=1)
    nodes: Ints = nominal * weights.shape[1] + np.minimum(common, weights.shape[1] - 1)
    return nodes


def _of_pieces(
    pieces: Sequence[Piece], channel_sd: float, meter: Meter, grid: Grid, node: Ints, within: Floats, step: Floats
) -> Floats:
    """Volts of a mixture: `within` says which piece and where in it, `step` how far its normal error is off."""
    volts, low = np.zeros_like(within), 0.0
    for piece in pieces:
        inside = np.clip((within - low) / piece.share, 0.0, 1.0)
        volts = np.where(within >= low, _of_piece(piece, channel_sd, meter, grid, node, inside, step), volts)
        low += piece.share
    return volts


def _of_piece(
    piece: Piece, channel_sd: float, meter: Meter, grid: Grid, node: Ints, inside: Floats, step: Floats
) -> Floats:
    """Volts of one piece as a meter shows them: the same law as `density._piece_density`, forwards."""
    nominals, sd = grid.nominals[node], 0.0
    if piece.kind == "uniform":
        mean, sd = (piece.first + (piece.second - piece.first) * inside) * nominals, EDGE_SD
    elif piece.kind == "rail":
        cumulated = np.cumsum(grid.rail_weights[:, node[:, 0]], axis=0)
        rail = (cumulated[:, :, None] < inside).sum(axis=0)
        rails = np.array(grid.rails.input_rails_volts)
        mean, sd = rails[np.minimum(rail, len(rails) - 1)], piece.second
    elif piece.kind == "limit" and grid.limit is not None:
        known, weights = grid.limit.nodes()
        mean = np.interp(inside, np.cumsum(weights), known)
    else:
        sd = min(channel_sd, piece.second)
        mean = (piece.first + common_sd(piece, channel_sd) * grid.common[node]) * nominals
    shown: Floats = np.abs(mean + np.hypot(sd * nominals, meter.sd_volts(np.abs(mean))) * step)
    return shown
