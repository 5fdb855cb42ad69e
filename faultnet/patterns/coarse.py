"""Volts rounded to preferred numbers, so that readings that say nearly the same are counted together.

The numbers are those of IEC 60063 (E96: 96 a decade, steps of 2.4 %), which everybody at a bench knows from resistors.
"""

from dataclasses import replace
from math import inf, isinf, log10

from faultnet.case.events import Event, Reading
from faultnet.model import Model
from faultnet.readings import Nominal, Spread, middle

USUAL_A_DECADE = 96
LEAST_VOLTS = 0.05
"""Below this a reading is 0 V."""

_DOFS = (1.0, 2.0, 3.0, 4.0, 6.0, 9.0, 14.0, 20.0, 30.0, inf)


def coarse_volts(volts: float, a_decade: int) -> float:
    """The nearest preferred number on the logarithmic scale; `inf` stays. a_decade: 0 leaves them as they are."""
    if isinf(volts) or not a_decade:
        return volts
    return 0.0 if volts < LEAST_VOLTS else float(f"{10 ** (round(a_decade * log10(volts)) / a_decade):.3g}")


def coarse(model: Model, event: Event, a_decade: int) -> Event:
    """An event with its volts rounded; of a feed read at several points the one value that it counts for."""
    if not isinstance(event, Reading) or event.set_aside is not None or not a_decade:
        return event
    how = model.visible[event.observation].reading
    points = event.reached if how is not None and how.has_channels else (middle(event.reached),)
    return replace(event, points=tuple(coarse_volts(point, a_decade) for point in points))


def coarse_nominal(nominal: Nominal | None, a_decade: int) -> Nominal | None:
    """What is known of a set's voltages with the volts rounded, their spread to one digit, and without its history."""
    if nominal is None or not a_decade:
        return nominal
    loaded, unplugged = (_spread(each, a_decade) for each in (nominal.loaded, nominal.unplugged))
    return Nominal(loaded, nominal.source, unplugged)


def _spread(spread: Spread | None, a_decade: int) -> Spread | None:
    if spread is None:
        return None
    dof = min(_DOFS, key=lambda each: abs(1 / each - 1 / spread.dof))
    return Spread(coarse_volts(spread.volts, a_decade), float(f"{spread.relative_sd:.1g}"), dof)
