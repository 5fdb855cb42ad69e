"""What a case tells of the nodes of a network, in words for a box: what was seen, what is given, what was repaired."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from faultnet.case import Case
from faultnet.case.events import RepairOutcome
from faultnet.case.steps import counted_events
from faultnet.case.words import state_words, told_words
from faultnet.model import Model


@dataclass(frozen=True)
class Told:
    """seen: of each node looked at what was seen; given: conditions whose state is known; repaired: of components."""

    seen: Mapping[str, str] = field(default_factory=dict)
    given: Mapping[str, str] = field(default_factory=dict)
    repaired: Mapping[str, str] = field(default_factory=dict)


def told_by(model: Model, case: Case | None) -> Told:
    """What a case tells; nothing of none. Of what was seen twice, the last that counts."""
    if case is None:
        return Told()
    seen, repaired, counted = _complaint(model, case), dict[str, str](), counted_events(model, case)
    last_repair = max((n for n, event in enumerate(case.events) if isinstance(event, RepairOutcome)), default=-1)
    for number in counted:
        event = case.events[number]
        if isinstance(event, RepairOutcome):
            outcome = "the set works" if event.works else "still not"
            repaired |= {part: f"repaired: {outcome}" for made in event.made for part in model.repairs[made].fixes}
        else:
            before = ", before the repair" if number < last_repair else ""
            seen[event.observation] = told_words(model, event).replace(" V", "\u00a0V") + before
    given = {id_: model.conditions[id_].words(state) for id_, state in case.given.items()}
    return Told(seen, given, repaired)


def _complaint(model: Model, case: Case) -> dict[str, str]:
    """What the set was brought in for, where that counts as seen."""
    if not case.with_complaint or not model.complaint or case.tells(model.complaint):
        return {}
    return {model.complaint: state_words(model.observations[model.complaint], model.complaint_state)}
