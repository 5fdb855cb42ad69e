"""How much wider than at one time a band must be to hold at all times at once."""

import numpy as np
from scipy.linalg import eigh_tridiagonal
from scipy.optimize import brentq
from scipy.special import logit
from scipy.stats import norm

_CELLS = 100
_LOWEST, _HIGHEST = 1e-3, 12.0


def critical_value(start: float, end: float, level: float) -> float:
    """How many deviations a Brownian bridge keeps within from `start` to `end` of its course, with this chance.

    0 < start <= end < 1. The bridge over its own deviation is a stationary Ornstein-Uhlenbeck process on the scale of
    half the logit (Nair 1984), and `chance_inside` says how long such a one stays. At a single moment it is the normal
    quantile.
    """
    lasting = float(logit(end) - logit(start)) / 2
    found = float(brentq(lambda width: chance_inside(width, lasting) - level, _LOWEST, _HIGHEST, xtol=1e-6))
    return max(found, float(norm.ppf((1 + level) / 2)))  # the grid is a little too narrow: 1 in 5,000


def chance_inside(width: float, lasting: float) -> float:
    """P(a stationary Ornstein-Uhlenbeck process, standard normal at each time, stays within +-width so long).

    lasting: in units of the time in which its correlation falls to 1/e. Fokker-Planck's equation with absorbing ends
    on a grid of half the interval (the other half mirrors it), by its eigenvalues.
    """
    step = width / _CELLS
    density = norm.pdf((np.arange(_CELLS) + 0.5) * step)
    flow = norm.pdf(np.arange(_CELLS + 1) * step) / step**2
    flow[0] = 0.0  # as much comes over the middle as goes
    flow[-1] *= 2  # the end is half a cell away
    between = -flow[1:-1] / np.sqrt(density[1:] * density[:-1])
    rates, vectors = eigh_tridiagonal((flow[:-1] + flow[1:]) / density, between)
    shares = (np.sqrt(density * step) @ vectors) ** 2
    return float(2 * (shares * np.exp(-rates * lasting)).sum())
