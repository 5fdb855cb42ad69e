"""Volts as evidence: what a meter's reading says about the states of an observation."""

from faultnet.readings.likelihood import MOST_VOLTS, Volts, middle, outlier_density, reading_likelihood
from faultnet.readings.meter import METERS, Meter
from faultnet.readings.nominal import Nominal, Spread, nominal_nodes

__all__ = [
    "METERS",
    "MOST_VOLTS",
    "Meter",
    "Nominal",
    "Spread",
    "Volts",
    "middle",
    "nominal_nodes",
    "outlier_density",
    "reading_likelihood",
]
