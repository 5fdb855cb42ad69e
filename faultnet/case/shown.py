"""Which state an event shows: of a reading in volts the likeliest one, of an unclear finding as well."""

from collections.abc import Iterator, Sequence

import numpy as np

from faultnet.case.case import Case
from faultnet.case.events import Reading, RepairOutcome, SoftFinding
from faultnet.case.steps import counted_events, volts_of
from faultnet.cpt import Floats
from faultnet.engine.interface import Belief
from faultnet.model.model import Model
from faultnet.readings import reading_likelihood


def states_shown(model: Model, case: Case, belief: Belief) -> Iterator[tuple[str, str]]:
    """Each observation that counts, with the state it shows, in the order entered.

    Of volts, the state that is likeliest by them and by all else that is believed.
    """
    for number in counted_events(model, case):
        event = case.events[number]
        if isinstance(event, RepairOutcome):
            continue
        if isinstance(event, Reading):
            likelihood = np.array(list(likelihood_by_state(model, case, event).values()))
            states = model.observations[event.observation].states
            yield event.observation, states[int(np.argmax(likelihood * belief.marginal(event.observation)))]
        elif isinstance(event, SoftFinding):
            yield event.observation, max(event.likelihoods, key=lambda item: item[1])[0]
        else:
            yield event.observation, event.state


def likelihood_by_state(model: Model, case: Case, event: Reading) -> dict[str, float]:
    """Likelihood of a reading in each state, the largest 1, before anything is seen of the conditions it hangs on."""
    found = reading_likelihood(model, [volts_of(case, event)], case.nominal)
    table = over_conditions(model, case, found.table, found.nodes[1:])
    states = model.observations[event.observation].states
    return {state: float(value / table.max()) for state, value in zip(states, table, strict=True)}


def over_conditions(model: Model, case: Case, table: Floats, conditions: Sequence[str]) -> Floats:
    """A table whose last axes are conditions, at their shares or in the states given for the case."""
    for name in reversed(conditions):
        condition = model.conditions[name]
        given = [float(state == case.given[name]) for state in condition.states] if name in case.given else None
        table = table @ np.array(given or condition.shares)
    return table
