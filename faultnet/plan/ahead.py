"""The advice of the whole plan in place of the greedy one: its first step, with the bounds of what it costs."""

from collections.abc import Callable
from dataclasses import replace

from faultnet.case.case import Case
from faultnet.model.model import Model
from faultnet.plan.make import make_plan
from faultnet.ranking.result import Advice, Ranking


def look_ahead(model: Model, case: Case, ranking: Ranking, keep_going: Callable[[], bool]) -> Ranking:
    """The ranking with the first step of the cheapest plan found as its advice.

    The same ranking where the job ends anyway, or where the model has no repairs to plan.
    """
    if case.just_repaired or ranking.advice.verdict or ranking.money is None:
        return ranking
    plan = make_plan(
        model,
        case,
        settings=ranking.settings,
        bench=ranking.bench,
        keep_going=keep_going,
        keep_comparing=None,
    )
    low, high = plan.cost.lower, plan.cost.upper
    bounds = f"expected cost {high:.0f}" + (", none is cheaper" if plan.cost.is_exact else f", none below {low:.0f}")
    first = plan.first
    if first.kind != "stop":
        advice = Advice(first.kind, first.id, f"the cheapest plan found begins with it ({bounds})", costs=(low, high))
    elif any(back.needs_training for back in ranking.held_back):
        why = f"what this bench may do does not pay ({bounds}): hand over, with the probabilities so far"
        advice = Advice("hand_over", "", why, costs=(low, high))
    else:
        advice = Advice("stop", "", f"no plan found costs less than giving up now ({bounds})", costs=(low, high))
    return replace(ranking, advice=advice)
