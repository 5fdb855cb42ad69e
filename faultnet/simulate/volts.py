"""Volts that a meter shows of a set in some state, drawn piece by piece: not through any density."""

from collections.abc import Mapping

import numpy as np

from faultnet.model.volts import NominalRange, Piece, ReadingModel
from faultnet.readings import Meter
from faultnet.readings.density import EDGE_SD
from faultnet.readings.grid import RAIL_BELOW, RAIL_BELOW_SD
from faultnet.readings.meter import FULL_SHARE
from faultnet.readings.normal import normal_cdf


def drawn_volts(
    how: ReadingModel,
    state: str,
    hold: str,
    at: Mapping[str, str],
    nominal: float,
    rails: NominalRange,
    meter: Meter,
    rng: np.random.Generator,
) -> float:
    """What the meter shows, in V. at: states of the conditions that the level hangs on; nominal: the set's own."""
    if rng.random() < how.outlier_share:
        return float(rng.uniform(0, how.up_to_volts))
    is_pulse = hold == "max" and rng.random() < how.start_pulse.get(state, 0.0)
    seen = rng.random() if is_pulse else 1.0
    if seen < meter.pulse_missed:
        hold = "settled"
    mixture = how.level(state, hold, at).mixture
    shares = np.array([piece.share for piece in mixture])
    piece = mixture[int(rng.choice(len(mixture), p=shares / shares.sum()))]
    if meter.pulse_missed <= seen < meter.pulse_shortened and piece.kind != "rail":
        top = FULL_SHARE * (piece.second if piece.kind == "uniform" else piece.first)
        piece = Piece(1.0, "uniform", 0.0, max(top, 0.0))
    true = abs(_piece(piece, nominal, rails, rng))
    return float(abs(true + float(meter.sd_volts(np.array(true))) * rng.standard_normal()))


def _piece(piece: Piece, nominal: float, rails: NominalRange, rng: np.random.Generator) -> float:
    if piece.kind == "uniform":
        return nominal * (rng.uniform(piece.first, piece.second) + EDGE_SD * rng.standard_normal())
    if piece.kind == "rail":
        volts = np.array(rails.input_rails_volts)
        chances = normal_cdf((RAIL_BELOW - volts / nominal) / RAIL_BELOW_SD) + 1e-12 * (volts == volts.min())
        return float(rng.choice(volts, p=chances / chances.sum())) + piece.second * nominal * rng.standard_normal()
    return nominal * (piece.first + piece.second * rng.standard_normal())
