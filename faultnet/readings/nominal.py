"""What is known of the nominal voltage of a set: from a label, calculated from the LEDs, from the shop's list, or not.

The *nominal* is the voltage at the LED plug of a working set. Unplugged, a good driver goes to its over-voltage limit;
where the shop's list knows that voltage too, it takes the place of the usual ratio to the nominal.
"""

from dataclasses import dataclass
from functools import cache
from math import ceil, inf, isinf, log

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.volts import NominalRange

LABEL_RELATIVE_SD = 0.03
CALCULATED_RELATIVE_SD = 0.08
"""How far a printed and a calculated nominal are off, one standard deviation (reasoned)."""

USUAL_FORWARD_VOLTS = 3.1
"""Of one white LED with one die; with two dies about 6.2 V (common practice, no source)."""

_PANEL, _NODES_A_PANEL = 0.12, 4
FINE = 3
"""How fine nodes are where a likelihood is wanted to 1e-8; a fineness of 1 does for a gain to 1e-4 bit."""

_KNOWN_REACH = 8.0
_TAILED_REACH = 6.5
"""In units of asinh: a Student t is followed out to 330 of its scales."""


@dataclass(frozen=True)
class Spread:
    """A voltage that is known but for a relative error: Student t on the relative (dof inf: normal) scale.

    volts: its centre. relative_sd: scale of the error as a share of the centre. dof: degrees of freedom.
    """

    volts: float
    relative_sd: float
    dof: float = inf

    def nodes(self, fineness: int = FINE) -> tuple[Floats, Floats]:
        """Voltages and weights for integrating over it, both ``(n,)``, weights adding to 1.

        Evenly spaced in a variable where the density and all its derivatives fade at the edges: there the trapezoid
        rule is exact to rounding. A normal error is added, a Student t one multiplied (it is one of the logarithm).
        """
        if isinf(self.dof):
            steps = np.linspace(-_KNOWN_REACH, _KNOWN_REACH, 50 * fineness + 1)
            weights = np.exp(-0.5 * steps**2)
            return self.volts * (1 + self.relative_sd * steps), weights / weights.sum()
        even = np.linspace(-_TAILED_REACH, _TAILED_REACH, 100 * fineness + 1)
        steps = np.sinh(even)
        density = np.exp(-(self.dof + 1) / 2 * np.log1p(steps**2 / self.dof))
        weights = density * np.cosh(even)
        return self.volts * np.exp(self.relative_sd * steps), weights / weights.sum()


@dataclass(frozen=True)
class Nominal:
    """What is known of a set's voltages. loaded: the nominal itself; unplugged: its over-voltage limit, if known.

    source: where the nominal is from, `label`, `calculated` or `list`; an unplugged voltage is always from the list.
    readings, unplugged_readings: how many stand in the list behind each, 0 for what is from elsewhere.
    """

    loaded: Spread | None
    source: str
    unplugged: Spread | None = None
    readings: int = 0
    unplugged_readings: int = 0

    @classmethod
    def label(cls, volts: float) -> "Nominal":
        """A printed nominal."""
        return cls(Spread(volts, LABEL_RELATIVE_SD), "label")

    @classmethod
    def calculated(cls, leds_in_series: int, forward_volts: float = USUAL_FORWARD_VOLTS) -> "Nominal":
        """LEDs in series times the forward voltage of one."""
        return cls(Spread(leds_in_series * forward_volts, CALCULATED_RELATIVE_SD), "calculated")

    @property
    def volts(self) -> float | None:
        """The middle of the nominal, None where only the unplugged voltage is known."""
        return None if self.loaded is None else self.loaded.volts


def nominal_nodes(known: Spread | None, spread: NominalRange, fineness: int = FINE) -> tuple[Floats, Floats]:
    """Nominal voltages and their weights, about a known one, else log-uniform over what such sets have.

    Both ``(n,)``; the weights add to 1.
    """
    if known is None and spread.volts is not None:
        known = Spread(spread.volts, LABEL_RELATIVE_SD)
    if known is not None:
        return known.nodes(fineness)
    return _log_uniform_nodes(spread.low_volts, spread.high_volts, fineness)


@cache
def _log_uniform_nodes(low_volts: float, high_volts: float, fineness: int) -> tuple[Floats, Floats]:
    """Gauss-Legendre nodes in panels narrow against the width of any level (Davis & Rabinowitz 1984, 2.7)."""
    width = log(high_volts / low_volts)
    n_panels = ceil(width / _PANEL)
    nodes, weights = np.polynomial.legendre.leggauss(_NODES_A_PANEL * fineness)
    places = (np.arange(n_panels)[:, None] + (nodes + 1) / 2).reshape(-1) / n_panels
    return low_volts * np.exp(width * places), np.tile(weights / 2, n_panels) / n_panels
