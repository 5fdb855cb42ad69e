"""From a case to a diagnosis."""

from collections.abc import Iterator

import numpy as np

from faultnet.case.believed import Believed
from faultnet.case.case import Case
from faultnet.case.events import RepairOutcome
from faultnet.cpt import Floats
from faultnet.diagnosis import explain
from faultnet.diagnosis.drawn_belief import N_DRAWS, DrawnBelief, drawn_belief
from faultnet.diagnosis.intervals import Intervals, fault_intervals
from faultnet.diagnosis.next_model import next_model
from faultnet.diagnosis.result import ConditionState, Diagnosis, Explanation, Fault
from faultnet.diagnosis.told_by_volts import told_by_volts
from faultnet.engine.interface import Belief
from faultnet.model.chances import LEAST_JOBS, SHARES, row_id
from faultnet.model.model import Model

LEADING = 3
EXPLANATIONS = 5


def diagnose(model: Model, case: Case, *, n_draws: int = N_DRAWS, seed: int = 0) -> Diagnosis:
    """Fault probabilities of a case with their intervals (none of an imported network), and the reasons for them.

    ContradictoryEvidence names the smallest set of findings that the model holds impossible together.
    """
    believed = Believed(model, case)
    return diagnosis_of(believed, drawn_or_none(believed, n_draws, seed), seed)


def drawn_or_none(believed: Believed, n_draws: int = N_DRAWS, seed: int = 0) -> DrawnBelief | None:
    """What is believed in draws of the model's numbers; None of an imported network, whose numbers are as they are.

    ContradictoryEvidence as of `diagnose`.
    """
    explain.belief_or_reason(believed)
    return None if believed.model.is_imported else drawn_belief(believed, n_draws, seed)


def diagnosis_of(believed: Believed, drawn: DrawnBelief | None, seed: int = 0) -> Diagnosis:
    """The same from what is believed already. seed: of the draws."""
    model, case, belief = believed.model, believed.case, explain.belief_or_reason(believed)
    intervals = None if drawn is None else fault_intervals(drawn, belief)
    n_faults = model.compiled.n_faults
    leading = sorted(model.components, key=lambda c: -float(1 - belief.marginal(c)[0]))[:LEADING]
    source = source_of(model, case)
    conditions = () if intervals is None else tuple(_conditions(model, belief, intervals, source))
    kinds = [f"{c.condition}.{c.state}" for c in sorted(conditions, key=lambda c: -c.probability)[:LEADING]]
    open_tests = [t.id for t in model.tests.values() if not set(t.reveals) <= case.known(model)]
    return Diagnosis(
        model=model.id,
        version=model.version,
        log_evidence=belief.log_evidence,
        entropy_bits=max(0.0, belief.entropy_bits),
        faults=tuple(_faults(model, belief, intervals, source)),
        conditions=conditions,
        next_model=next_model(model, case, belief),
        explanations=_explanations(model, belief.targets),
        groups={g.id: 1 - float(belief.joint(g.components).flat[0]) for g in model.groups.values()},
        nothing_found=float(belief.targets[n_faults == 0].sum()),
        two_or_more=float(belief.targets[n_faults >= 2].sum()),
        weights=explain.weights_of_evidence(believed, kinds or leading),
        surprises=explain.surprises(believed),
        readings=told_by_volts(believed),
        turns=explain.turns(model, belief, open_tests),
        inseparable=explain.inseparable(model, belief, open_tests),
        interval_draws=0 if intervals is None else intervals.n_draws,
        seed=seed,
    )


def _faults(model: Model, belief: Belief, intervals: Intervals | None, source: tuple[str, int]) -> Iterator[Fault]:
    """Every state of every component; without intervals the numbers are imported, and used as they are."""
    for component in model.components.values():
        chances = belief.marginal(component.id)
        for n, state in enumerate(component.states):
            chance = float(chances[n])
            if intervals is None:
                yield Fault(component.id, state, chance, None, None, "imported", 0)
            else:
                low, high = intervals.low[component.id][n], intervals.high[component.id][n]
                yield Fault(component.id, state, chance, float(low), float(high), *source)


def _conditions(
    model: Model, belief: Belief, intervals: Intervals, source: tuple[str, int]
) -> Iterator[ConditionState]:
    """Every state of every condition the model asks, with its interval."""
    for condition in model.asked:
        low, high, chances = intervals.low[condition], intervals.high[condition], belief.marginal(condition)
        for n, state in enumerate(model.conditions[condition].states):
            yield ConditionState(condition, state, float(chances[n]), float(low[n]), float(high[n]), *source)


def source_of(model: Model, case: Case) -> tuple[str, int]:
    """Where the numbers behind an answer are from, and how many past jobs its shares rest on.

    `seed`: from the file; `learned`: shares and rows of what was seen, each from at least 30 jobs; else `mixed`.
    """
    behind = model.jobs_behind
    seen = {event.observation for event in case.events if not isinstance(event, RepairOutcome)}
    rows = [row_id(o, n) for o in seen if o in model.observations for n in range(len(model.observations[o].written))]
    enough = [behind.get(id_, 0.0) >= LEAST_JOBS for id_ in (SHARES, *rows)]
    source = "learned" if all(enough) else "mixed" if any(behind.values()) else "seed"
    return source, round(behind.get(SHARES, 0.0))


def _explanations(model: Model, joint: Floats) -> tuple[Explanation, ...]:
    best = np.argsort(joint)[::-1][:EXPLANATIONS]
    is_mode = model.compiled.is_mode
    return tuple(
        Explanation(tuple(str(model.modes[n]) for n in np.flatnonzero(is_mode[state])), float(joint[state]))
        for state in best
        if joint[state] > 0
    )
