"""Whether the findings of a case fit another complaint better than the one it was brought in for."""

from dataclasses import dataclass

import numpy as np

from faultnet.case.case import Case
from faultnet.case.events import Finding, SoftFinding
from faultnet.case.steps import believe
from faultnet.errors import ModelProblem, Problem
from faultnet.model.model import Model
from faultnet.model.neighbours import Comparison, Translation


@dataclass(frozen=True)
class BetterFit:
    """Another kind of trouble that fits better. ratio: its probability over that of this model's complaint, above 1.

    model: the one asked; state and complaint: of its condition, with their words; events: the findings in its words.
    """

    model: str
    state: str
    label: str
    complaint: str
    complaint_label: str
    ratio: float
    events: tuple[SoftFinding, ...]


def translated(model: Model, case: Case) -> tuple[SoftFinding, ...]:
    """The findings of a case that say something about its complaint, in the words of the model to compare with.

    Those that count for the set as it came in, while the symptom showed. A state there that fits several of ours is
    shared evenly among them.
    """
    if model.comparison is None:
        return ()
    place, first = case.order(model).place, next(case.epochs())
    found: list[SoftFinding] = []
    for number in sorted(n for n, there in place.items() if there in first):
        event = case.events[number]
        if not isinstance(event, Finding | SoftFinding) or event.symptom != "showing":
            continue
        known = model.comparison.findings.get(event.observation)
        if known is not None and (likelihoods := _likelihoods(known, event)):
            found.append(SoftFinding(known.observation, likelihoods, by=event.by))
    return tuple(found)


def _likelihoods(known: Translation, event: Finding | SoftFinding) -> tuple[tuple[str, float], ...]:
    """P(what was seen | state there), up to a factor; empty when nothing there fits what was seen."""
    own = {event.state: 1.0} if isinstance(event, Finding) else dict(event.likelihoods)
    theirs = dict.fromkeys(state for states in known.states.values() for state in states)
    shared = {t: [own.get(s, 0.0) for s, states in known.states.items() if t in states] for t in theirs}
    likelihoods = {t: sum(values) / len(values) for t, values in shared.items()}
    return tuple((t, value) for t, value in likelihoods.items() if value > 0)


def better_fit(model: Model, other: Model, events: tuple[SoftFinding, ...]) -> BetterFit | None:
    """The kind of trouble that these findings make likelier, in the other model, than this model's complaint, or None.

    events: from `translated`. ModelProblem when the other model does not know a name that is used of it.
    """
    comparison = model.comparison
    if comparison is None or not events:
        return None
    if problems := strange_names(comparison, other):
        raise ModelProblem(model.id, [Problem("compare_with", problem) for problem in problems])
    condition = other.conditions[comparison.condition]
    chances = believe(other, Case(events)).marginal(condition.id)
    own, best = condition.states.index(comparison.state), int(np.argmax(chances))
    if not chances[best] > chances[own]:
        return None
    ratio = float(chances[best] / chances[own]) if chances[own] > 0 else float("inf")
    state = condition.states[best]
    return BetterFit(
        other.id, state, condition.words(state), comparison.state, condition.words(comparison.state), ratio, events
    )


def strange_names(comparison: Comparison, other: Model) -> list[str]:
    """What a comparison says of another model and that model does not know."""
    condition = other.conditions.get(comparison.condition)
    if condition is None:
        return [f"{other.id} has no condition {comparison.condition}"]
    strange = []
    if comparison.state not in condition.states:
        strange.append(f"{condition.id} of {other.id} has no state {comparison.state}")
    for translation in comparison.findings.values():
        seen = other.observations.get(translation.observation)
        if seen is None:
            strange.append(f"{other.id} has no observation {translation.observation}")
            continue
        named = dict.fromkeys(state for states in translation.states.values() for state in states)
        strange += [f"{seen.id} of {other.id} has no state {state}" for state in named if state not in seen.states]
    return strange
