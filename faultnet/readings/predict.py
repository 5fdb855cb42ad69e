"""What a reading not yet taken may show: volts to integrate over, and their densities in every state."""

from collections.abc import Sequence

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.model import Model
from faultnet.readings.density import Grid, Taken, state_density
from faultnet.readings.likelihood import Volts, reading_model, standings, taken_together, weighed_together
from faultnet.readings.meter import Meter

_FIRST_PANEL_VOLTS, _FIRST_PANELS = 0.75, 2
_PANEL_SHARE = 0.1
_NODES_A_PANEL = 3
_HIGHEST_RATIO = 1.6
"""No level but that of outliers lies above this ratio to the nominal."""


def volt_nodes(grid: Grid, up_to_volts: float) -> tuple[Floats, Floats]:
    """Volts and weights for integrating over what a meter may show, both ``(n,)``, the weights in V.

    Gauss-Legendre panels no wider than the levels: 0.75 V at first, then a tenth of the volts; above all
    levels a single one, where only outliers lie.
    """
    top = min(_HIGHEST_RATIO * float(grid.nominals[grid.weights > 1e-9].max()), up_to_volts)
    edges = [_FIRST_PANEL_VOLTS * n for n in range(_FIRST_PANELS + 1)]
    while edges[-1] < top:
        edges.append(min(edges[-1] + max(_FIRST_PANEL_VOLTS, _PANEL_SHARE * edges[-1]), top))
    edges = [edge for edge in edges if edge < up_to_volts] + [up_to_volts]
    nodes, weights = np.polynomial.legendre.leggauss(_NODES_A_PANEL)
    low, width = np.array(edges[:-1])[:, None], np.diff(edges)[:, None]
    return (low + width * (nodes + 1) / 2).reshape(-1), (width * weights / 2).reshape(-1)


def predicted(
    model: Model, observation: str, meter: Meter, earlier: Sequence[Volts], conditions: Sequence[str], grid: Grid
) -> Floats:
    """P(each volt node | states), beside the likelihood of the readings taken before, with which it shares a nominal.

    ``(n_volts, *states of the earlier observations, n_states, *states of the conditions)``: for each combination the
    likelihood of the earlier readings, spread over what this one may show.
    """
    how = reading_model(model, observation)
    volts, weights = volt_nodes(grid, how.up_to_volts)
    states = model.observations[observation].states
    seen = taken_together(model, earlier, grid)
    shown_volts = Taken(volts[:, None], how.default_hold, meter, grid)
    sizes = [len(model.observations[o].states) for o in seen]
    conditions_sizes = [len(model.conditions[c].states) for c in conditions]
    table = np.empty((len(volts), *sizes, len(states), *conditions_sizes))
    by_standing = table.reshape(len(volts), int(np.prod(sizes, dtype=int)), len(states), -1)
    for number, at in enumerate(standings(model, conditions)):
        before = weighed_together(model, seen, at, grid)
        for column, state in enumerate(states):
            shown = weights[:, None] * state_density(how, state, at, shown_volts)
            shown /= shown.sum(axis=0)  # a meter's error depends on what it shows, so a density adds to nearly 1
            by_standing[:, :, column, number] = shown @ before
    return table
