"""What a reading not yet taken may show: volts to integrate over, and their densities in every state."""

from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np

from faultnet.cpt import Floats
from faultnet.engine.products import product
from faultnet.model.model import Model
from faultnet.model.volts import ReadingModel
from faultnet.readings.channels import channels_densities
from faultnet.readings.density import Taken, state_density
from faultnet.readings.grid import Grid
from faultnet.readings.likelihood import Volts, reading_model, standings, taken_together, weighed_together
from faultnet.readings.meter import Meter
from faultnet.readings.sample import Cell, sample_readings

_FIRST_PANEL_VOLTS, _FIRST_PANELS = 0.75, 2
_PANEL_SHARE = 0.1
_NODES_A_PANEL = 3
_HIGHEST_RATIO = 1.6
"""No level but that of outliers lies above this ratio to the nominal."""

SAMPLE_SIZE = 256
"""Readings of separate channels drawn for one gain."""

_NODES_AT_ONCE = 12_000
"""Numbers in one array while many readings are weighed: as many as stay in a processor's cache."""

_NEVER = 1e-300

_KEPT = 16
"""Grids, holds and meters whose densities are kept: some 3 MB each."""


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
    shown_volts, weights = _may_be_shown(grid, how.up_to_volts, how.default_hold, meter)
    states = model.observations[observation].states
    seen = taken_together(model, earlier, grid)
    sizes = [len(model.observations[o].states) for o in seen]
    conditions_sizes = [len(model.conditions[c].states) for c in conditions]
    table = np.empty((len(weights), *sizes, len(states), *conditions_sizes))
    by_standing = table.reshape(len(weights), int(np.prod(sizes, dtype=int)), len(states), -1)
    for number, at in enumerate(standings(model, conditions)):
        before = weighed_together(model, seen, at, grid)
        for column, state in enumerate(states):
            shown = weights[:, None] * state_density(how, state, at, shown_volts)
            shown /= shown.sum(axis=0)  # a meter's error depends on what it shows, so a density adds to nearly 1
            by_standing[:, :, column, number] = product(shown, before)
    return table


@lru_cache(maxsize=_KEPT)
def _may_be_shown(grid: Grid, up_to_volts: float, hold: str, meter: Meter) -> tuple[Taken, Floats]:
    """The volts that a meter may show, as if read, and their weights; kept, since densities are kept with them."""
    volts, weights = volt_nodes(grid, up_to_volts)
    return Taken(volts[:, None], hold, meter, grid), weights


def predicted_channels(
    model: Model,
    observation: str,
    meter: Meter,
    earlier: Sequence[Volts],
    conditions: Sequence[str],
    grid: Grid,
    n_channels: int,
    chances: Floats,
) -> Floats:
    """The same for so many separate channels: over readings drawn by `sample_readings`.

    chances: P(states) without the earlier readings, in the shape of the table but for its first axis.

    Each reading counts by its density over that of being drawn at all (a sample from a mixture: Owen & Zhou 2000).
    Then every column is made to add to its likelihood of the earlier readings, so that whatever the sample, the table
    is one of a meter that could be: its gain is never below 0, nor above that of the states themselves.
    """
    how, at = reading_model(model, observation), list(standings(model, conditions))
    seen = taken_together(model, earlier, grid)
    before = np.stack([weighed_together(model, seen, each, grid) for each in at])
    chance = chances.reshape(before.shape[2], -1, len(at))
    weights = np.einsum("tge,est->stg", before, chance)
    share = _shares_to_draw(weights.sum(axis=2))
    cells = [
        Cell(state, each, weights[s, t], float(share[s, t]))
        for s, state in enumerate(model.observations[observation].states)
        for t, each in enumerate(at)
        if share[s, t] > 0
    ]
    volts = sample_readings(how, cells, n_channels, meter, grid, SAMPLE_SIZE)
    table = _by_cell(how, model.observations[observation].states, at, volts, meter, grid, before)
    likely = np.maximum(weights.sum(axis=2), _NEVER)
    drawn = np.einsum("yest,est->y", table, chance * (share / likely))
    table /= drawn[:, None, None, None]
    table *= before.sum(axis=1).T[:, None, :] / np.maximum(table.sum(axis=0), _NEVER)
    shown: Floats = table.reshape(len(volts), *chances.shape)
    return shown


def _shares_to_draw(chances: Floats) -> Floats:
    """What share of a sample each state and standing gets, ``(n_states, n_standings)``: rare states more than they are.

    By the root of a state's chance: its gain hangs on its share, what is uncertain about it on the root of its sample.
    """
    of_state = chances.sum(axis=1, keepdims=True)
    shares: Floats = chances / np.sqrt(np.maximum(of_state, _NEVER))
    shares /= shares.sum()
    return shares


def _by_cell(
    how: ReadingModel,
    states: Sequence[str],
    at: Sequence[Mapping[str, str]],
    volts: Floats,
    meter: Meter,
    grid: Grid,
    before: Floats,
) -> Floats:
    """Density of each reading in every cell: ``(n_readings, n_earlier, n_states, n_standings)``.

    volts: ``(n_readings, n_channels)``. before: ``(n_standings, n, n_earlier)``, weights of the nodes.
    """
    table = np.empty((len(volts), before.shape[2], len(states), len(at)))
    n_rows = max(1, _NODES_AT_ONCE // len(grid.weights))
    for start in range(0, len(volts), n_rows):
        rows = slice(start, start + n_rows)
        taken = Taken(volts[rows].T.reshape(-1, 1), how.default_hold, meter, grid)
        for t, each in enumerate(at):
            for s, density in enumerate(channels_densities(how, states, each, taken, volts.shape[1])):
                table[rows, :, s, t] = density @ before[t]
    return table
