"""An answer as JSON: plain numbers and words, the layout promised by `schema_version`."""

from dataclasses import asdict
from math import isinf
from typing import Any

from faultnet.case import Case
from faultnet.case.entry import written
from faultnet.case.events import Event, Finding, RepairOutcome, SoftFinding, set_aside
from faultnet.case.words import describe_event
from faultnet.diagnosis import BetterFit, Diagnosis, NextModel, Surprise
from faultnet.model import Model
from faultnet.model.work import Step
from faultnet.ranking import Outcome, RankedTest, Ranking
from faultnet.repairs import RankedRepair

SCHEMA_VERSION = 1
DISCLAIMER = (
    "These are probabilities, not proof. The numbers behind them are reasoned, not measured. "
    "Local rules and licensed practice come first."
)

Json = dict[str, Any]


def answer_json(
    model: Model, case: Case, diagnosis: Diagnosis, ranking: Ranking, fits_better: BetterFit | None = None
) -> Json:
    """The whole answer of `faultnet next`."""
    return {
        "schema_version": SCHEMA_VERSION,
        "model": diagnosis.model,
        "version": diagnosis.version,
        "fits_better": None if fits_better is None else fits_better_json(fits_better),
        "events": events_json(model, case),
        "given": dict(case.given),
        "with_complaint": case.with_complaint,
        "log_evidence": diagnosis.log_evidence,
        "entropy_bits": diagnosis.entropy_bits,
        "faults": [asdict(fault) for fault in diagnosis.faults],
        "conditions": [asdict(state) for state in diagnosis.conditions],
        "continue_with": None if diagnosis.next_model is None else next_model_json(diagnosis.next_model),
        "joint": [{"faults": list(e.faults), "probability": e.probability} for e in diagnosis.explanations],
        "groups": dict(diagnosis.groups),
        "nothing_found": diagnosis.nothing_found,
        "two_or_more": diagnosis.two_or_more,
        "weights": [{"event": w.event, "component": w.component, "bits": w.bits} for w in diagnosis.weights],
        "surprises": [surprise_json(model, case, s) for s in diagnosis.surprises],
        "would_change": [
            {
                "test": t.test,
                "state": t.outcome,
                "chance": t.chance,
                "leading_component": t.leading,
                "probability": t.probability,
            }
            for t in diagnosis.turns
        ],
        "inseparable": [list(group) for group in diagnosis.inseparable],
        "tests": [test_json(test) for test in ranking.tests],
        "held_back": [{"kind": h.kind, "id": h.id, "hazard": h.hazard, "reason": h.reason} for h in ranking.held_back],
        "repairs": [repair_json(repair) for repair in ranking.repairs],
        "advice": {"kind": ranking.advice.kind, "id": ranking.advice.id, "why": ranking.advice.why},
        "disclaimer": DISCLAIMER,
    }


def fits_better_json(fit: BetterFit) -> Json:
    """The complaint that the findings fit better, and how to ask the model that knows it."""
    return {
        "family": fit.state,
        "label": fit.label,
        "over": fit.complaint,
        "ratio": None if isinf(fit.ratio) else fit.ratio,
        "model": fit.model,
        "events": [written(event) for event in fit.events],
    }


def next_model_json(onward: NextModel) -> Json:
    """Which model goes on, when each is the one, and what would leave none."""
    return {
        "condition": onward.condition,
        "state": onward.state,
        "probability": onward.probability,
        "models": [{"model": model, "when": when} for model, when in onward.models.items()],
        "refused": [
            {"condition": condition, "state": state, "probability": chance, "why": why}
            for condition, state, chance, why in onward.refused
        ],
    }


def events_json(model: Model, case: Case) -> list[Json]:
    """Every event as understood, and whether it counts."""
    replaced = case.superseded(model)
    listed = []
    for number, event in enumerate(case.events):
        entry: Json = {"understood": describe_event(model, event), **_event_json(event)}
        if number in replaced:
            entry["superseded_by"] = replaced[number]
        if reason := set_aside(event):
            entry["set_aside"] = reason
        listed.append(entry)
    return listed


def _event_json(event: Event) -> Json:
    if isinstance(event, RepairOutcome):
        return {"kind": "repair", "name": event.repair, "works": event.works}
    circumstances = {"symptom": event.symptom, "by": event.by}
    if isinstance(event, Finding):
        return {"kind": "finding", "name": event.observation, "state": event.state, **circumstances}
    if isinstance(event, SoftFinding):
        return {"kind": "soft", "name": event.observation, "likelihoods": dict(event.likelihoods), **circumstances}
    return {
        "kind": "reading",
        "name": event.observation,
        "unit": "V",
        "points": ["OL" if p is not None and isinf(p) else p for p in event.points],
        "hold": event.hold,
        "against": event.against,
        **circumstances,
    }


def surprise_json(model: Model, case: Case, surprise: Surprise) -> Json:
    """A surprise with the event it is about."""
    about = None if surprise.event is None else describe_event(model, case.events[surprise.event])
    return {"kind": surprise.kind, "about": about, "value": surprise.value, "unit": surprise.unit}


def step_json(step: Step) -> Json:
    """What a step needs, takes and warns of."""
    return {
        "minutes": step.minutes,
        "setup_minutes": step.setup_minutes,
        "hazard": step.hazard,
        "setup": list(step.setup),
        "cautions": [caution.text for caution in step.cautions],
        "bench_after": step.bench_after.as_dict(),
    }


def test_json(test: RankedTest) -> Json:
    """One ranked test."""
    return {
        "test": test.test,
        "gain_bits": test.gain_bits,
        "gain_repair_bits": test.gain_repair_bits,
        "cost": test.cost,
        **step_json(test.step),
        "side_effect": test.side_effect,
        "waits_for": [list(choice) for choice in test.waits_for],
        "outcomes": [
            {
                "state": o.state,
                "chance": o.chance,
                "leading_fault": o.leading_fault,
                "probability": o.probability,
                **_leading_conditions_json(o),
            }
            for o in test.outcomes
        ],
    }


def _leading_conditions_json(outcome: Outcome) -> Json:
    """The likeliest state of each condition that the model asks, where it asks any."""
    leading = [{"condition": c, "state": s, "probability": p} for c, s, p in outcome.leading_conditions]
    return {"conditions": leading} if leading else {}


def repair_json(repair: RankedRepair) -> Json:
    """One repair; its cost is that of doing it once."""
    return {
        "repair": repair.repair,
        "named_right": repair.named_right,
        "cures": repair.cures,
        "expected_cost": repair.cost,
        "parts": [repair.parts_low, repair.parts_high],
        **step_json(repair.step),
        "held_because": repair.held_because,
        "advice": repair.advice,
    }
