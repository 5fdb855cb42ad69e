"""The words of a plan, the same in the terminal and on the sheet."""

from collections.abc import Iterator

from faultnet.model import Model
from faultnet.plan import Plan, PlanStep
from faultnet.plan.result import Bounds
from faultnet.workshop.understanding import Understood

COMES_HERE_FROM = 0.02
"""Branches that fewer sets come to are only named."""

NO_FAULT_FROM = 0.5


def heading(model: Model) -> str:
    """What the plan is for."""
    return f"Plan: {model.title}"


def costs(plan: Plan) -> str:
    """What the costs are in and what they hold."""
    money = plan.currency or "the shop's money"
    return f"in {money}: time, hazards, parts, harm, comebacks, a working set lost"


def compared(plan: Plan) -> Iterator[tuple[str, str, str]]:
    """What the plan costs, and what other ways would: words, money, a note."""
    if plan.cost.is_exact:
        yield "this plan", _money(plan.cost.upper), "none is cheaper"
    else:
        yield "this plan", _money(plan.cost.upper), f"no plan costs less than {_money(plan.cost.lower)}"
    yield "giving up now", _money(plan.giving_up), "what a working set is worth"
    yield "most bits a minute", _money(plan.bits_per_minute), "the same gates and order"
    if plan.free is not None:
        least = "" if plan.free.is_exact else f", none below {_money(plan.free.lower)}"
        yield "without gates and order", _money(plan.free.upper), f"not advised{least}"
        yield "so they cost", *_cost_of_constraints(plan.cost, plan.free)


def _cost_of_constraints(cost: Bounds, free: Bounds) -> tuple[str, str]:
    """What the gates and the trade's order cost: the difference of the plans in hand, and its bounds."""
    low, high = max(0.0, cost.lower - free.upper), cost.upper - free.lower
    exact = cost.is_exact and free.is_exact
    return _money(max(0.0, cost.upper - free.upper)), "" if exact else f"between {_money(low)} and {_money(high)}"


def left_aside(plan: Plan) -> Iterator[str]:
    """What the plan does not follow."""
    yield f"chosen from: {', '.join(plan.tests) or 'no test'}; the repairs"
    if plan.left_out >= 0.0005:
        yield f"left out: {100 * plan.left_out:.1f} % of the probability (rare pairs of faults, three at once)"
    lost = [f"{band.observation} {band.lost_bits:.2f}" for band in plan.banded.values() if band.lost_bits >= 0.005]
    if lost:
        yield f"readings count by the state they most likely show; bits lost by that: {', '.join(lost)}"
    if plan.blocked:
        yield f"not in it, since none of these tests shows what must be seen first: {', '.join(plan.blocked)}"
    if plan.taken_as_done:
        yield f"taken as seen, since no test of the plan shows it: {', '.join(plan.taken_as_done)}"


def stop_words(told: Understood, step: PlanStep) -> str:
    """What ending the job means at a step."""
    if step.expected_cost < (1 - NO_FAULT_FROM) * _most_lost(told):
        return "no fault found: watch it"
    if not told.settings.trained:
        return "hand over to a trained person"
    return "stop: nothing allowed pays any more"


def _most_lost(told: Understood) -> float:
    from faultnet.repairs.prices import giving_up_price

    return giving_up_price(told.settings, told.case.inches)


def cautions_of(plan: Plan, shown: float) -> list[tuple[str, str]]:
    """Each caution of the steps that are shown, once, with the steps it is for; the widest first."""
    steps_of: dict[str, dict[str, None]] = {}
    all_steps: dict[str, None] = {}
    for step in plan.first.steps():
        if step.step is not None and step.reached >= shown:
            all_steps[step.id] = None
            for caution in step.step.cautions:
                steps_of.setdefault(caution.text, {})[step.id] = None
    widest = sorted(steps_of.items(), key=lambda item: -len(item[1]))
    return [(text, _where(list(ids), list(all_steps))) for text, ids in widest]


def _where(ids: list[str], all_ids: list[str]) -> str:
    """The steps that a caution is for: all, all but some, or some."""
    others = [id_ for id_ in all_ids if id_ not in ids]
    if not others:
        return "every step"
    return f"every step but {', '.join(others)}" if len(others) < len(ids) else ", ".join(ids)


def _money(value: float) -> str:
    return f"{value:.0f}"
