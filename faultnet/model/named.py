"""The cause of a job as somebody names it who knows: a leaf that hangs on all components.

Of several faults at once any may be named, each as likely as the others. So the chances of all names add to 1 for every
set, jobs with names in the proportions that a model says change nothing of it, and what is learned from names and what
is forecast of them is one and the same distribution.
"""

from collections.abc import Mapping
from dataclasses import replace
from math import prod

import numpy as np

from faultnet.cpt import Table
from faultnet.errors import UsageProblem
from faultnet.model.faults import mode_indicator
from faultnet.model.model import Model
from faultnet.model.nodes import ModeId, Observation
from faultnet.network import Network, Node

NAMED = "named cause"
"""The leaf's id; with its blank it is none that a file can have, or that anybody can type."""

NO_NAME = "no name"
"""The leaf's last state: something that none of the names is about."""

MOST_STATES = 2**18
"""Joint states of the components that names can be told from."""


def with_names(model: Model, names: Mapping[str, tuple[ModeId, ...]]) -> Model:
    """The model with a leaf that says by which of these names somebody who knows called the cause.

    names: the failure modes that each name is for, none for that nothing is faulty. No mode is in two of them.
    UsageProblem: too many components can be faulty at once.
    """
    if (n_joint := prod(len(component.states) for component in model.components.values())) > MOST_STATES:
        raise UsageProblem(
            f"{model.id} has {n_joint} joint states of its components, and causes are named in at most {MOST_STATES}. "
            "Make a model whose components are those that are told apart."
        )
    leaf = Observation(
        id=NAMED,
        label=NAMED,
        short=NAMED,
        also=(),
        states=(*names, NO_NAME),
        state_labels={},
        given=tuple(model.components),
        table=(),
        reading=None,
        repeats_independently=False,
        needs_symptom=False,
    )
    return replace(model, names=names, also_seen={**model.also_seen, NAMED: leaf})


def with_named_leaf(model: Model, network: Network) -> Network:
    """The network with that leaf, where the model has names; a row for each way in which the names share."""
    if not model.names:
        return network
    is_mode = mode_indicator(model).astype(np.intp)
    n_faults, modes = is_mode.sum(axis=1), list(model.modes)
    parts = [
        is_mode[:, [modes.index(mode) for mode in own]].sum(axis=1) if own else n_faults == 0
        for own in model.names.values()
    ]
    of_all = np.maximum(n_faults, 1)
    shares = np.column_stack([*parts, of_all - np.sum(parts, axis=0), of_all])
    rows, row_of = np.unique(shares, axis=0, return_inverse=True)
    sizes = [len(component.states) for component in model.components.values()]
    leaf = Table(rows[:, :-1] / rows[:, -1:], row_of.reshape(sizes))
    return Network.of([*network, Node(NAMED, model.visible[NAMED].states, tuple(model.components), leaf)])
