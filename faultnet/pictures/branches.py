"""The part of a plan that fits a page: the steps that most sets come to, and where the rest goes on."""

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass

from faultnet.model import Model
from faultnet.plan import Branch, Plan, PlanStep
from faultnet.plan.words import outcome_words

COMES_HERE_FROM = 0.02
"""Branches that fewer sets come to are told as one."""

NO_FAULT_BELOW = 0.5
"""Stopping that costs less than this share of giving up is of a set that most likely works."""


@dataclass(frozen=True)
class Place:
    """Somewhere a plan comes to. answer: what was shown before, "" at the start; reached: the chance of coming here.

    step: what to do there, None at an end; words: of an end. goes_on: how many steps more there are and are not drawn.
    """

    answer: str
    reached: float
    step: PlanStep | None
    words: str
    goes_on: int
    places: tuple["Place", ...]

    def all(self) -> Iterator["Place"]:
        """This place and all after it, depth first."""
        yield self
        for place in self.places:
            yield from place.all()


def fitted(model: Model, plan: Plan, depth: int, fits: Callable[[Place], bool]) -> Place:
    """The plan as far as it fits: branches are followed where most sets come, at most `depth` steps deep."""
    followed: set[int] = set()
    drawn = place_of(model, plan, plan.first, followed, depth)
    for step in _likeliest(plan.first):
        larger = place_of(model, plan, plan.first, followed | {id(step)}, depth)
        if larger == drawn or not fits(larger):
            continue
        drawn, followed = larger, followed | {id(step)}
    return drawn


def whole(model: Model, plan: Plan, depth: int) -> Place:
    """The plan with every branch, `depth` steps deep."""
    return place_of(model, plan, plan.first, {id(step) for step in plan.first.steps()}, depth, rare=0.0)


def _likeliest(first: PlanStep) -> list[PlanStep]:
    """Every step after those that lead to it, the likeliest first."""
    return sorted(first.steps(), key=lambda step: -step.reached)


def place_of(
    model: Model,
    plan: Plan,
    step: PlanStep,
    followed: Collection[int],
    depth: int,
    *,
    answer: str = "",
    rare: float = COMES_HERE_FROM,
) -> Place:
    """A step as a place, its branches followed where it is one of `followed` and there is depth left."""
    if step.kind == "stop":
        return Place(answer, step.reached, None, _stop_words(plan, step), 0, ())
    branches = [branch for branch in step.branches if branch.chance > 0]
    common = [branch for branch in branches if branch.chance * step.reached >= rare]
    if id(step) not in followed or depth <= 1 or not common:
        return Place(answer, step.reached, step, "", sum(s.kind != "stop" for s in step.steps()) - 1, ())
    places = [_after(model, plan, step, branch, followed, depth, rare) for branch in common]
    places = list(_alike(places))
    if others := [branch for branch in branches if branch not in common]:
        places.append(_rare(model, step, others))
    return Place(answer, step.reached, step, "", 0, tuple(places))


def _alike(places: list[Place]) -> Iterator[Place]:
    """Places, those that end in the same way as one, where the first of them is."""
    for place in places:
        same = [p for p in places if place.step is None and p.step is None and p.words == place.words]
        if not same:
            yield place
        elif same[0] is place:
            answers = " / ".join(each.answer for each in same)
            yield Place(answers, sum(each.reached for each in same), None, place.words, 0, ())


def _after(
    model: Model, plan: Plan, step: PlanStep, branch: Branch, followed: Collection[int], depth: int, rare: float
) -> Place:
    answer = outcome_words(model, step, branch)
    if branch.then is None:
        return Place(answer, branch.chance * step.reached, None, _done_words(step, branch), 0, ())
    return place_of(model, plan, branch.then, followed, depth - 1, answer=answer, rare=rare)


def _rare(model: Model, step: PlanStep, branches: list[Branch]) -> Place:
    """What few sets show, all in one."""
    chance = sum(branch.chance for branch in branches) * step.reached
    named = " / ".join(outcome_words(model, step, branch) for branch in branches)
    more = sum(s.kind != "stop" for branch in branches if branch.then for s in branch.then.steps())
    return Place(f"rarer: {named}", chance, None, "ask again then", more, ())


def _done_words(step: PlanStep, branch: Branch) -> str:
    return "run it on test, close it" if step.kind == "repair" and branch.state == "works" else "ask again then"


def _stop_words(plan: Plan, step: PlanStep) -> str:
    return "no fault found: watch it" if step.expected_cost < NO_FAULT_BELOW * plan.giving_up else step.label
