"""An answer as JSON: plain numbers and words, the layout promised by `schema_version`."""

from dataclasses import asdict
from math import isinf
from typing import Any

from faultnet.case import Case
from faultnet.case.doubts import doubts
from faultnet.case.entry import written
from faultnet.case.events import Event, Finding, RepairOutcome, SoftFinding, set_aside
from faultnet.case.words import describe_event, made_again
from faultnet.diagnosis import BetterFit, Diagnosis, NextModel, Surprise
from faultnet.model import Model
from faultnet.model.words import disclaimer
from faultnet.model.work import Step
from faultnet.ranking import Outcome, RankedTest, Ranking
from faultnet.ranking.quote import price_changes
from faultnet.ranking.result import Advice
from faultnet.readings import Nominal, Spread
from faultnet.repairs import Money, RankedRepair
from faultnet.repairs.price import Pricing, spent_so_far

SCHEMA_VERSION = 1
MONEY = "money of the shop"
UNITS = {
    "probability": "1",
    "gain": "bit",
    "entropy": "bit",
    "weights": "bit",
    "log_evidence": "nat",  # a reading in volts counts with its density in 1/V
    "minutes": "min",
    "cost": MONEY,
    "expected_cost": MONEY,
    "expected_total": MONEY,
    "evsi": MONEY,
    "money": MONEY,
    "parts": MONEY,
    "hourly_rate": f"{MONEY} per hour",
    "nominal_volts": "V",
    "nominal": "V; its spread as a share of them",
    "meter": "% of reading; counts of the last digit; updates in 1/s; the last digit in V",
    "size_inches": "inch",
    "hazard": "0 none to 4 panel opened",
}

Json = dict[str, Any]


def answer_json(
    model: Model, case: Case, diagnosis: Diagnosis, ranking: Ranking, fits_better: BetterFit | None = None
) -> Json:
    """The whole answer of `faultnet next`."""
    held = ranking.held_because
    return {
        "schema_version": SCHEMA_VERSION,
        "model": diagnosis.model,
        "version": diagnosis.version,
        "file": model.file,
        "digest": model.digest,
        "shares_of": None if not (model.pooled and model.shares_of) else {model.pooled.column: model.shares_of},
        **_assumed_json(case, diagnosis, ranking),
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
        "readings": [asdict(told) for told in diagnosis.readings],
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
        "tests": [
            {**test_json(t), "on_top": ranking.on_top.get(t.test), "held_because": held.get(("test", t.test))}
            for t in ranking.tests
        ],
        "held_back": [{"kind": h.kind, "id": h.id, "hazard": h.hazard, "reason": h.reason} for h in ranking.held_back],
        "repairs": [repair_json(repair) for repair in ranking.repairs],
        "money": money_json(model, case, ranking),
        "advice": advice_json(ranking.advice),
        "units": _units(ranking.settings.currency),
        "disclaimer": disclaimer(model),
    }


def advice_json(advice: Advice) -> Json:
    """The advice, and how far it looks: one step, or a whole plan with the bounds of its expected cost."""
    return {
        "kind": advice.kind,
        "id": advice.id,
        "why": advice.why,
        "verdict": advice.verdict or None,
        "looks_ahead": "one step" if advice.costs is None else "plan",
        "expected_cost": None if advice.costs is None else {"low": advice.costs[0], "high": advice.costs[1]},
    }


def _assumed_json(case: Case, diagnosis: Diagnosis, ranking: Ranking) -> Json:
    """What the answer was worked out with besides the events: null where it is not known."""
    return {
        "nominal_volts": None if case.nominal is None else case.nominal.volts,
        "nominal": None if case.nominal is None else nominal_json(case.nominal),
        "meter": asdict(case.meter),
        "size_inches": case.inches,
        "bench": ranking.bench.as_dict(),
        "trained": ranking.settings.trained,
        "settings": asdict(ranking.settings),
        "draws": diagnosis.interval_draws,
        "seed": diagnosis.seed,
    }


def _units(currency: str) -> Json:
    """The units of the answer, money in the shop's currency where that is known."""
    return {what: unit.replace(MONEY, currency or MONEY) for what, unit in UNITS.items()}


def nominal_json(nominal: Nominal) -> Json:
    """What is known of a set's voltages. relative_sd: of few readings the scale of a Student t with dof, else null."""
    return {
        "volts": nominal.volts,
        "relative_sd": None if nominal.loaded is None else nominal.loaded.relative_sd,
        "dof": _dof(nominal.loaded),
        "source": nominal.source,
        "readings": nominal.readings,
        "unplugged_volts": None if nominal.unplugged is None else nominal.unplugged.volts,
        "unplugged_relative_sd": None if nominal.unplugged is None else nominal.unplugged.relative_sd,
        "unplugged_dof": _dof(nominal.unplugged),
        "unplugged_readings": nominal.unplugged_readings,
    }


def _dof(spread: Spread | None) -> float | None:
    return None if spread is None or isinf(spread.dof) else spread.dof


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
        if questions := doubts(event, model):
            entry["doubts"] = list(questions)
        if notes := made_again(case, number):
            entry["notes"] = list(notes)
        listed.append(entry)
    return listed


def _event_json(event: Event) -> Json:
    if isinstance(event, RepairOutcome):
        return {"kind": "repair", "name": "+".join(event.made), "repairs": list(event.made), "works": event.works}
    circumstances = {"symptom": event.symptom, "by": event.by}
    if isinstance(event, Finding):
        return {"kind": "finding", "name": event.observation, "state": event.state, **circumstances}
    if isinstance(event, SoftFinding):
        return {"kind": "soft", "name": event.observation, "likelihoods": dict(event.likelihoods), **circumstances}
    return {
        "kind": "reading",
        "name": event.observation,
        "unit": "V",
        "meter": event.meter or None,
        "points": ["OL" if p is not None and isinf(p) else p for p in event.points],
        "hold": event.hold,
        "against": event.against,
        **circumstances,
    }


def surprise_json(model: Model, case: Case, surprise: Surprise) -> Json:
    """A surprise with the event it is about."""
    about = None if surprise.event is None else describe_event(model, case.events[surprise.event])
    told = {"kind": surprise.kind, "about": about, "value": surprise.value, "unit": surprise.unit}
    if surprise.event is not None:
        return {**told, "events": [surprise.event]}
    return {**told, "events": list(surprise.apart), "events_value": surprise.apart_nats}


def money_json(model: Model, case: Case, ranking: Ranking) -> Json | None:
    """What the case costs by repairs alone, and what knowing the faulty parts would save; null without repairs."""
    money = ranking.money
    if money is None:
        return None
    return {
        "currency": ranking.settings.currency or None,
        "giving_up": float(money.now.stopping[0]),
        "working_set_worth": money.giving_up,
        "repair_only": float(money.now.least[0]),
        "evpi": money.perfect_information,
        "price": price_json(model, case, money, ranking),
    }


def price_json(model: Model, case: Case, money: Money, ranking: Ranking) -> Json | None:
    """The price to name, and what would change it; null where no course ends repaired."""
    pricing = Pricing(money, spent_so_far(money, case))
    if pricing.now is None:
        return None
    changes = price_changes(model, pricing, ranking)
    return {**asdict(pricing.now), "spent": pricing.spent, "changes": [asdict(change) for change in changes]}


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
        "expected_total": test.expected_total,
        "evsi": test.evsi,
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
    """One repair; its cost is that of doing it once, its expected cost that of the whole job with it first."""
    return {
        "repair": repair.repair,
        "named_right": repair.named_right,
        "cures": repair.cures,
        "expected_cost": repair.expected_total,
        "cost": repair.cost,
        "parts": [repair.parts_low, repair.parts_high],
        **step_json(repair.step),
        "held_because": repair.held_because or None,
        "advice": repair.advice,
    }
