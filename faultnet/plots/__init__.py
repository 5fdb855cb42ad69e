"""Numbers over axes, through matplotlib's objects: readable in print without colour, the same bytes each time."""

from faultnet.plots.figure import save
from faultnet.plots.rates import draw_comebacks, draw_rates
from faultnet.plots.reliability import draw_reliability

__all__ = ["draw_comebacks", "draw_rates", "draw_reliability", "save"]
