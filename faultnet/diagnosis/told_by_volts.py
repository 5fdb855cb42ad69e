"""What each reading says by itself: how well it fits every state, and how far it tells the likeliest faults apart."""

import numpy as np

from faultnet.case.believed import Believed
from faultnet.case.case import Case
from faultnet.case.events import Reading
from faultnet.case.order import current
from faultnet.case.shown import likelihood_by_state, over_conditions
from faultnet.cpt import Floats
from faultnet.diagnosis.result import ReadingTold
from faultnet.engine.interface import Belief
from faultnet.model.model import Model
from faultnet.readings.grid import grid_of
from faultnet.readings.likelihood import reading_model
from faultnet.readings.predict import predicted, volt_nodes

MODES_COMPARED = 3

BAND_CHANCE = 0.9
"""The volts shown for a state are the likeliest that hold this much of it."""


def told_by_volts(believed: Believed) -> tuple[ReadingTold, ...]:
    """What every reading that counts says, in the order entered."""
    model, case = believed.model, believed.case
    about_now = current(model, case.events)
    told = []
    for number, rest in believed.without.items():
        event = case.events[number]
        if isinstance(event, Reading) and rest.belief is not None:
            faults = _by_fault(model, believed.now, rest.belief) if number in about_now else {}
            told.append(ReadingTold(number, likelihood_by_state(model, case, event), faults))
    return tuple(told)


def _by_fault(model: Model, belief: Belief, before: Belief) -> dict[str, float]:
    """P(reading | mode, all else), relative: what the reading made of the chance of each mode.

    Of the likeliest components, before the reading or after it, each with its likeliest failure mode.
    """
    ratios: dict[str, float] = {}
    chances: dict[str, float] = {}
    for component in model.components.values():
        now, then = belief.marginal(component.id), before.marginal(component.id)
        n = 1 + int(np.argmax(np.maximum(now, then)[1:]))
        if then[n] > 0:
            mode = f"{component.id}.{component.states[n]}"
            ratios[mode], chances[mode] = float(now[n] / then[n]), float(max(now[n], then[n]))
    likeliest = sorted(chances, key=lambda mode: -chances[mode])[:MODES_COMPARED]
    best = max((ratios[mode] for mode in likeliest), default=0.0)  # none is left once the set works
    return {mode: ratios[mode] / best for mode in likeliest} if best > 0 else {}


def bands(model: Model, case: Case, observation: str) -> dict[str, tuple[float, float]]:
    """From where to where the likeliest volts of every state lie, as the meter would show them: low and high in V."""
    how = reading_model(model, observation)
    grid = grid_of(model, case.nominal, fineness=1)
    volts, _ = volt_nodes(grid, how.up_to_volts)
    shown = predicted(model, observation, case.meter, (), how.given, grid)
    shown = over_conditions(model, case, shown, how.given)
    states = model.observations[observation].states
    return {state: _likeliest(volts, shown[:, n]) for n, state in enumerate(states)}


def _likeliest(volts: Floats, chances: Floats) -> tuple[float, float]:
    """The ends of the shortest stretch of volts that holds `BAND_CHANCE`."""
    reached = np.concatenate([[0.0], np.cumsum(chances / chances.sum())])
    ends = [(float(volts[min(np.searchsorted(reached, low + BAND_CHANCE), len(volts)) - 1]), n)
            for n, low in enumerate(reached[:-1]) if low + BAND_CHANCE <= reached[-1]]  # fmt: skip
    width, n = min((end - float(volts[n]), n) for end, n in ends)
    return float(volts[n]), float(volts[n]) + width
