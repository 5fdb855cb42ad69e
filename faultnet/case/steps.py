"""From the events of a case to the steps an engine takes, and the belief they lead to."""

from collections.abc import Iterable, Sequence

import numpy as np

from faultnet.case.case import Case
from faultnet.case.events import SYMPTOM_SHOWING, Finding, Reading, RepairOutcome, Seen, SoftFinding, set_aside
from faultnet.engine.evidence import Change, Likelihood, Step, finding, soft_finding
from faultnet.engine.interface import Belief
from faultnet.model.model import Model
from faultnet.model.nodes import SET_WORKS
from faultnet.readings import Volts, reading_likelihood


def believe(model: Model, case: Case) -> Belief:
    """What the model believes of the set now. ContradictoryEvidence when the events are impossible together."""
    return model.compiled.engine.belief(case_steps(model, case))


def counted_events(model: Model, case: Case) -> list[int]:
    """The numbers of the events that count: not superseded, and not set aside."""
    replaced = case.superseded(model)
    return [n for n, event in enumerate(case.events) if n not in replaced and set_aside(event) is None]


def case_steps(model: Model, case: Case, counted: Iterable[int] | None = None) -> list[Step]:
    """The steps of a case; `counted` are the numbers of the events to use (default: all that count).

    Readings of one epoch share the set's nominal; where it is unknown, those of another epoch are weighed apart.
    """
    use = set(counted_events(model, case) if counted is None else counted)
    network = model.compiled.network
    steps: list[Step] = [finding(network, condition, state) for condition, state in case.given.items()]
    brought_in_for = model.brought_in_for
    if case.with_complaint and brought_in_for is not None and not case.tells(brought_in_for[0]):
        steps.append(finding(network, *brought_in_for))
    for epoch in case.epochs():
        events = [case.events[n] for n in epoch if n in use]
        seen = [event for event in events if not isinstance(event, RepairOutcome)]
        steps.extend(_seen_steps(model, case, seen))
        for event in events:
            if isinstance(event, RepairOutcome):
                steps.extend(repair_steps(model, event))
    return steps


def repair_steps(model: Model, outcome: RepairOutcome) -> list[Step]:
    """What a repair changes, and what its outcome says (Breese & Heckerman 1996)."""
    repair = model.repairs[outcome.repair]
    network = model.compiled.network
    changes: list[Step] = []
    for component in repair.fixes:
        n = len(network[component].states)
        matrix = np.eye(n) * (1 - repair.success)
        matrix[:, 0] += repair.success
        changes.append(Change(component, matrix))
    return [*changes, finding(network, SET_WORKS, "yes" if outcome.works else "no")]


def _seen_steps(model: Model, case: Case, seen: Sequence[Seen]) -> list[Step]:
    steps: list[Step] = []
    readings: dict[float, list[Volts]] = {}
    for event in seen:
        showing = chance_of_showing(model, event)
        if isinstance(event, Reading):
            readings.setdefault(showing, []).append(volts_of(case, event))
        else:
            steps.append(_finding_step(model, event, showing))
    for showing, volts in readings.items():
        steps.append(reading_likelihood(model, volts, case.nominal, showing))
    return steps


def volts_of(case: Case, event: Reading) -> Volts:
    """A reading with the meter it was taken with."""
    return Volts(event.observation, event.reached, event.hold, case.meters[event.meter] if event.meter else case.meter)


def chance_of_showing(model: Model, event: Seen) -> float:
    """The chance that the symptom showed at the time, as far as this observation needs it."""
    return SYMPTOM_SHOWING[event.symptom] if model.visible[event.observation].needs_symptom else 1.0


def _finding_step(model: Model, event: Finding | SoftFinding, showing: float) -> Likelihood:
    network = model.compiled.network
    if isinstance(event, Finding):
        seen = finding(network, event.observation, event.state)
    else:
        seen = soft_finding(network, event.observation, dict(event.likelihoods))
    return Likelihood(seen.nodes, seen.table, showing)
