"""What a reading not yet taken may show: volts to integrate over, and their densities in every state."""

from collections.abc import Mapping, Sequence

import numpy as np

from faultnet.cpt import Floats
from faultnet.model.model import Model
from faultnet.readings.density import Grid, Taken, state_density
from faultnet.readings.likelihood import Volts, reading_model, standings, states_density
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
    seen = list(dict.fromkeys(reading.observation for reading in earlier))
    sizes = [len(model.observations[o].states) for o in seen]
    conditions_sizes = [len(model.conditions[c].states) for c in conditions]
    table = np.empty((len(volts), *sizes, len(states), *conditions_sizes))
    by_standing = table.reshape(len(volts), int(np.prod(sizes, dtype=int)), len(states), -1)
    for number, at in enumerate(standings(model, conditions)):
        before = _before(model, seen, earlier, at, grid)  # (n_nominals, earlier states)
        taken = Taken(how.default_hold, at, meter, grid)
        for column, state in enumerate(states):
            shown = weights[:, None] * state_density(how, state, volts[:, None], taken)
            shown /= shown.sum(axis=0)  # a meter's error depends on what it shows, so a density adds to nearly 1
            by_standing[:, :, column, number] = shown @ before
    return table


def _before(model: Model, seen: Sequence[str], earlier: Sequence[Volts], at: Mapping[str, str], grid: Grid) -> Floats:
    """Likelihood of the earlier readings at every node of the grid, weighed by it: ``(n, earlier states)``."""
    total: Floats = grid.weights[:, None]
    for observation in seen:
        own = states_density(model, observation, [r for r in earlier if r.observation == observation], at, grid)
        total = (total[:, :, None] * own[:, None, :]).reshape(len(total), -1)
    return total
