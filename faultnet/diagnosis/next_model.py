"""Which model goes on from what a model found out, or none."""

import numpy as np

from faultnet.case.case import Case
from faultnet.diagnosis.result import NextModel
from faultnet.engine.interface import Belief
from faultnet.model.model import Model


def next_model(model: Model, case: Case, belief: Belief) -> NextModel | None:
    """Where to go on from the likeliest state of the condition the model continues by; None when it never does.

    No model is named for a set of which it is likelier than not that none fits. belief: that of the case.
    """
    if model.onward is None:
        return None
    condition = model.onward.condition
    chances = belief.marginal(condition)
    likeliest = int(np.argmax(chances))
    state = model.conditions[condition].states[likeliest]
    continuation = model.onward.states.get(state)
    if continuation is None:
        return NextModel(condition, state, float(chances[likeliest]), {}, ())
    refused: list[tuple[str, str, float, str]] = []
    for name, reasons in continuation.unless.items():
        states = model.conditions[name].states
        if name in case.given:  # a condition that nothing hangs on does not remember it
            given = np.eye(len(states))[states.index(case.given[name])]
        else:
            given = belief.joint((condition, name))[likeliest] / chances[likeliest]
        refused += [(name, s, float(given[states.index(s)]), why) for s, why in reasons.items()]
    refused = [reason for reason in refused if reason[2] > 0]
    fits = all(sum(r[2] for r in refused if r[0] == name) < 0.5 for name in continuation.unless)
    return NextModel(condition, state, float(chances[likeliest]), continuation.models if fits else {}, tuple(refused))
