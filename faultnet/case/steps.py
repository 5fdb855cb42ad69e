"""From the events of a case to the steps an engine takes, and the belief they lead to."""

from collections.abc import Iterable, Mapping

import numpy as np

from faultnet.case.case import Case
from faultnet.case.events import SYMPTOM_SHOWING, Finding, Reading, RepairOutcome, Seen, SoftFinding
from faultnet.case.sequence import Altered, Item, Together, sequence_of
from faultnet.cpt import Floats
from faultnet.engine.evidence import Change, Likelihood, Step, finding, soft_finding
from faultnet.engine.interface import Belief
from faultnet.model.model import Model
from faultnet.model.nodes import SET_WORKS
from faultnet.model.work import Alteration
from faultnet.readings import Volts, reading_likelihood


def believe(model: Model, case: Case) -> Belief:
    """What the model believes of the set now. ContradictoryEvidence when the events are impossible together."""
    return model.compiled.engine.belief(case_steps(model, case))


def counted_events(model: Model, case: Case) -> list[int]:
    """The numbers of the events that count: not superseded, and not set aside."""
    return sorted(case.order(model).place)


def readings_now(model: Model, case: Case) -> tuple[int, ...]:
    """The numbers of the readings that count and that one taken now is weighed with."""
    return case.order(model).readings[len(case.events)]


def case_steps(
    model: Model, case: Case, counted: Iterable[int] | None = None, *, altered_before: int | None = None
) -> list[Step]:
    """The steps of a case: what is known before, then its sequence (`sequence_of` says what the arguments are)."""
    items = sequence_of(model, case, counted, altered_before=altered_before)
    return [*before_the_bench(model, case), *(step for item in items for step in item_steps(model, case, item))]


def before_the_bench(model: Model, case: Case) -> list[Step]:
    """The steps of what is known of a case before its events."""
    brought_in_for = model.brought_in_for
    is_usual = case.with_complaint and brought_in_for is not None and not case.tells(brought_in_for[0])
    return known_before(model, case.given, with_complaint=is_usual)


def item_steps(model: Model, case: Case, item: Item) -> list[Step]:
    """The steps of one item of a sequence. case: what is known of the set's nominal and of the meters."""
    if isinstance(item, RepairOutcome):
        return repair_steps(model, item)
    if isinstance(item, Altered):
        return alteration_steps(model, item.made)
    if isinstance(item, Together):
        return _reading_steps(model, case, item.readings)
    return [_finding_step(model, item, chance_of_showing(model, item))]


def known_before(model: Model, given: Mapping[str, str], *, with_complaint: bool) -> list[Step]:
    """What is known before anything is seen on the bench: given conditions, and what the set was brought in for."""
    network = model.compiled.network
    steps: list[Step] = [finding(network, condition, state) for condition, state in given.items()]
    if with_complaint and model.brought_in_for is not None:
        steps.append(finding(network, *model.brought_in_for))
    return steps


def repair_steps(model: Model, outcome: RepairOutcome) -> list[Step]:
    """What repairs made at once change, and what their outcome says (Breese & Heckerman 1996).

    A repair made again works on what the one before has left: with another part of the same kind, whose chances do not
    hang on how the first went.
    """
    changes: list[Step] = []
    for repair in outcome.made:
        changes += [Change(part, replaced(model, repair, part)) for part in model.repairs[repair].fixes]
    return [*changes, finding(model.compiled.network, SET_WORKS, "yes" if outcome.works else "no")]


def replaced(
    model: Model, repair: str, component: str, *, success: float | None = None, arrives_faulty: float | None = None
) -> Floats:
    """P(state after a repair | state before) of a component it fixes: ``(n_states, n_states)``.

    success, arrives_faulty: chances in the place of the model's own.

    A faulty one becomes ok with the repair's `success`, which counts bad new parts as failures, or stays as it is. A
    good one that is replaced becomes faulty with `arrives_faulty`, in the modes in which such parts usually are.
    """
    made, modes = model.repairs[repair], model.components[component].modes
    shares = np.array([mode.share for mode in modes])
    drawn = shares / shares.sum() if shares.sum() > 0 else np.full(len(modes), 1 / len(modes))
    cured = made.success if success is None else success
    spoilt = made.arrives_faulty if arrives_faulty is None else arrives_faulty
    matrix: Floats = np.eye(1 + len(modes)) * (1 - cured)
    matrix[1:, 0] = cured
    matrix[0] = [1 - spoilt, *(spoilt * drawn)]
    return matrix


def alteration_steps(model: Model, alters: Iterable[Alteration]) -> list[Step]:
    """What doing a test may have changed: one change for each component, from the state it was in."""
    matrices: dict[str, Floats] = {}
    for made in alters:
        states = model.compiled.network[made.component].states
        matrix = matrices.setdefault(made.component, np.eye(len(states)))
        before = states.index(made.mode)
        matrix[before, before] = max(0.0, matrix[before, before] - made.chance)
        matrix[before, states.index(made.to)] += made.chance
    return [Change(component, matrix) for component, matrix in matrices.items()]


def _reading_steps(model: Model, case: Case, taken: Iterable[Reading]) -> list[Step]:
    """One likelihood for readings that are weighed together, or one for each chance that the symptom showed."""
    readings: dict[float, list[Volts]] = {}
    for event in taken:
        readings.setdefault(chance_of_showing(model, event), []).append(volts_of(case, event))
    return [reading_likelihood(model, volts, case.nominal, showing) for showing, volts in readings.items()]


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
