"""A model of one hidden cause that all columns are findings about, before anything is learned of it."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from faultnet.cpt import Floats
from faultnet.estimator.called import Names
from faultnet.estimator.columns import Column, column_id
from faultnet.model import ModeId, Model, Strength
from faultnet.model.imported import with_network

CAUSE = "cause"


def model_of_one_cause(columns: Mapping[str, Column], labels: Sequence[object]) -> tuple[Model, Names]:
    """A network whose rows are all even, and the names of the cause's states. columns: by their names.

    The first state of a component is that nothing is wrong with it, which does not occur here.
    """
    states = [f"class_{number}" for number in range(len(labels))]
    words = dict(zip(states, map(str, labels), strict=True))
    shares = [0.0, *(1 / len(states) for _ in states)]
    nodes = {CAUSE: _node("component", CAUSE, {"none": "none", **words}, (), np.array([shares]))}
    for number, (name, column) in enumerate(columns.items()):
        n_states = len(column.states)
        if n_states > 1:
            even = np.full((len(states) + 1, n_states), 1 / n_states)
            own = dict(zip(column.states, column.words, strict=True))
            nodes[column_id(number)] = _node("observation", name, own, (CAUSE,), even)
    return with_network(_empty(), nodes), {state: (ModeId(CAUSE, state),) for state in states}


def _node(kind: str, label: str, states: Mapping[str, str], given: Sequence[str], rows: Floats) -> dict[str, Any]:
    return {
        "kind": kind,
        "label": label,
        "states": tuple(states),
        "labels": dict(states),
        "given": tuple(given),
        "table": rows.tolist(),
    }


def _empty() -> Model:
    return Model(
        id="one_cause",
        title="one hidden cause",
        about="Made of a table without a model.",
        version="one_cause@0",
        complaint="",
        complaint_state="",
        confirmed_by={},
        second_fault_share=0.0,
        strength=Strength(0.0, 0.0),
        components={},
        groups={},
        conditions={},
        collateral=(),
        rails={},
        observations={},
        nominal=None,
        tests={},
        repairs={},
        setups={},
    )
