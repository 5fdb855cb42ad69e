"""How much a fault probability hangs on numbers nobody measured: its interval over draws of the model's numbers.

Over the joint states that matter (`drawn`) it differs from one over all states by far less than its own error from 200
draws.
"""

from dataclasses import dataclass

import numpy as np

from faultnet.cpt import Floats
from faultnet.diagnosis.drawn_belief import DrawnBelief
from faultnet.engine.interface import Belief
from faultnet.engine.products import product

TAIL = 0.05


@dataclass(frozen=True, eq=False)
class Intervals:
    """The central 90 % of the probability of every state of a component or asked condition over the draws.

    low, high: for each of them ``(n_states,)``. states: how many joint states took part. n_draws: draws used.
    """

    low: dict[str, Floats]
    high: dict[str, Floats]
    states: int
    n_draws: int


def fault_intervals(drawn: DrawnBelief, belief: Belief) -> Intervals:
    """Intervals of P(state | case) of components and asked conditions; each holds that of the model's own numbers.

    An asked condition that nothing hangs on has only its own share to vary. belief: by the model's own numbers.
    """
    model, engine, kept = drawn.drawn.model, drawn.drawn.engine, drawn.drawn.kept
    posterior = drawn.over(frozenset())
    low: dict[str, Floats] = {}
    high: dict[str, Floats] = {}
    for node in (*model.components, *model.asked):
        if node in model.components:
            chances = product(posterior, np.eye(len(model.states_of(node)))[engine.axes.index[node].reshape(-1)[kept]])
        else:
            chances = drawn.of_condition(node)
        chances = np.sort(chances, axis=0)
        point = belief.marginal(node)
        low[node] = np.minimum(chances[int(TAIL * len(chances))], point)
        high[node] = np.maximum(chances[int((1 - TAIL) * len(chances))], point)
    return Intervals(low, high, len(kept), drawn.n_draws)
