"""A plan as JSON."""

from typing import Any

from faultnet.case.words import describe_event
from faultnet.model.words import disclaimer
from faultnet.plan import Branch, Plan, PlanStep
from faultnet.workshop.understanding import Understood

SCHEMA_VERSION = 1

Json = dict[str, Any]


def plan_json(told: Understood, plan: Plan) -> Json:
    """The whole answer of `faultnet plan`."""
    model = told.model
    return {
        "schema_version": SCHEMA_VERSION,
        "model": model.id,
        "version": model.version,
        "events": [describe_event(model, event) for event in told.case.events],
        "currency": plan.currency,
        "expected_cost": {"low": plan.cost.lower, "high": plan.cost.upper, "is_exact": plan.cost.is_exact},
        "without_constraints": None
        if plan.free is None
        else {"low": plan.free.lower, "high": plan.free.upper, "is_exact": plan.free.is_exact},
        "bits_per_minute_cost": plan.bits_per_minute,
        "giving_up_cost": plan.giving_up,
        "tests": list(plan.tests),
        "left_out": plan.left_out,
        "bands": {
            band.observation: {
                "lost_bits": band.lost_bits,
                "volts": [{"from": b.low_volts, "to": b.high_volts, "taken_for": b.state} for b in band.bands],
            }
            for band in plan.banded.values()
        },
        "taken_as_done": list(plan.taken_as_done),
        "blocked": list(plan.blocked),
        "nodes": plan.nodes,
        "plan": _step(plan.first),
        "disclaimer": disclaimer(model),
    }


def _step(step: PlanStep) -> Json:
    made = step.step
    return {
        "kind": step.kind,
        "id": step.id,
        "label": step.label,
        "reached": step.reached,
        "expected_cost": step.expected_cost,
        "suspects": [{"component": c, "probability": p} for c, p in step.suspects],
        "setup": [] if made is None else list(made.setup),
        "minutes": 0.0 if made is None else float(made.minutes),
        "setup_minutes": 0.0 if made is None else float(made.setup_minutes),
        "hazard": 0 if made is None else made.hazard,
        "cautions": [] if made is None else [caution.text for caution in made.cautions],
        "harm": step.harm,
        "branches": [_branch(branch) for branch in step.branches],
    }


def _branch(branch: Branch) -> Json:
    return {
        "state": branch.state,
        "chance": branch.chance,
        "then": None if branch.then is None else _step(branch.then),
    }
