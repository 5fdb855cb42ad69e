"""Repairs: what each would cure now, what doing it costs, and the gates it must pass."""

from dataclasses import dataclass

from faultnet.case.bench import bench_after_events
from faultnet.case.case import Case
from faultnet.case.events import RepairOutcome
from faultnet.case.steps import believe, repair_steps
from faultnet.engine.evidence import Change
from faultnet.engine.interface import Belief
from faultnet.model.model import Model
from faultnet.model.work import BenchState, Choices, Repair, Step
from faultnet.repairs.gates import Proof, gate_of
from faultnet.repairs.money import Money, money_of
from faultnet.repairs.prices import repair_price
from faultnet.settings import ShopSettings
from faultnet.words import percent


@dataclass(frozen=True)
class RankedRepair:
    """A repair. named_right: P(what it is judged by is faulty). cures: P(the set works afterwards).

    cost: time, parts at mid price and the hazard's price of doing it once. expected_total: of the whole job where it
    is made first and repairs alone follow, with failures, harm, comebacks and giving up; None where it is not known.
    gate: how sure the shop wants to be. waits_for: what must be looked at first; unproved: of which nothing that proves
    it was seen. held_because: why not now, or "".
    """

    repair: str
    label: str
    judged: str
    named_right: float
    gate: float
    waits_for: Choices
    unproved: tuple[Proof, ...]
    cures: float
    cost: float
    parts_low: float
    parts_high: float
    step: Step
    held_because: str
    advice: str
    expected_total: float | None = None


def rank_repairs(
    model: Model,
    case: Case,
    bench: BenchState | None = None,
    settings: ShopSettings | None = None,
    belief: Belief | None = None,
    money: Money | None = None,
) -> tuple[RankedRepair, ...]:
    """Every repair, the likeliest cure first. belief, money: those of the case, where the caller has them already."""
    bench, settings = bench or bench_after_events(model, case), settings or ShopSettings()
    known = believe(model, case) if belief is None else belief
    if money is None:
        money = money_of(model, known, bench, case.inches, settings)
    ranked = [_rank(model, case, known, repair, bench, settings, money) for repair in model.repairs.values()]
    return tuple(sorted(ranked, key=lambda r: -r.cures))


def cure_chance(model: Model, belief: Belief, repair: str) -> float:
    """P(the set works after this repair): what it leaves alone is ok, and it makes ok what it touches."""
    steps = repair_steps(model, RepairOutcome(repair, works=True))
    made_ok = {step.node: step.matrix[:, 0] for step in steps if isinstance(step, Change)}
    left = belief.targets
    for component in reversed(list(model.components.values())):
        by_state = left.reshape(-1, len(component.states))
        left = by_state @ made_ok[component.id] if component.id in made_ok else by_state[:, 0]
    return float(left[0])


def _rank(
    model: Model,
    case: Case,
    belief: Belief,
    repair: Repair,
    bench: BenchState,
    settings: ShopSettings,
    money: Money | None,
) -> RankedRepair:
    price = repair_price(model, repair, bench, case.inches, settings)
    total = None if money is None else money.beginning_with(repair)
    gains_nothing = "" if money is None else money.dearer_than_giving_up(repair)
    gate = gate_of(model, case, belief, repair, price, settings, gains_nothing)
    return RankedRepair(
        repair=repair.id,
        label=repair.label,
        judged=_judged_words(model, repair, belief),
        named_right=gate.named_right,
        gate=gate.sure,
        waits_for=gate.waits_for,
        unproved=gate.unproved,
        cures=cure_chance(model, belief, repair.id),
        cost=price.done,
        parts_low=price.parts_low,
        parts_high=price.parts_high,
        step=price.step,
        held_because=gate.held_because,
        advice=repair.advice,
        expected_total=total,
    )


def _judged_words(model: Model, repair: Repair, belief: Belief) -> str:
    """What the repair is judged by; of a group, how likely the repaired parts themselves are faulty."""
    labels = " and ".join(model.components[c].label for c in repair.fixes)
    if not repair.judged_by:
        return f"the {labels}"
    own = 1 - float(belief.joint(repair.fixes).flat[0])
    return f"the {model.groups[repair.judged_by].label} ({labels} {percent(own)})"
