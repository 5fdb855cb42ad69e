"""The whole plan for a case: which tests to choose from, the search, and the tree that comes out."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from faultnet.case.case import Case
from faultnet.errors import UsageProblem
from faultnet.model.model import Model
from faultnet.model.work import BenchState
from faultnet.plan.compose import Composed, compose
from faultnet.plan.greedy import follow_bits_per_minute
from faultnet.plan.problem import MOST_TESTS
from faultnet.plan.result import Bounds, Branch, Plan, PlanStep
from faultnet.plan.search import Solved, remembered, search, unsolved
from faultnet.plan.walk import State, Walk
from faultnet.ranking import rank_tests
from faultnet.ranking.result import RankedTest, Ranking
from faultnet.repairs.prices import giving_up_price
from faultnet.settings import ShopSettings

USUAL_TESTS = 10
"""Tests a plan chooses from where nobody names them."""

WORTH_PLANNING_BITS = 0.01
_SUSPECTS = 3
_SUSPECT_FROM = 0.05
_TOO_RARE = 1e-6


def make_plan(
    model: Model,
    case: Case,
    *,
    tests: Sequence[str] | None = None,
    settings: ShopSettings | None = None,
    bench: BenchState | None = None,
    keep_going: Callable[[], bool] = lambda: True,
    keep_comparing: Callable[[], bool] | None = lambda: True,
) -> Plan:
    """The plan of least expected cost over tests, repairs and giving up, under the gates and the trade's order.

    tests: those to choose from (default: what repairs need to be proved, and the best others). keep_going is asked
    again and again whether to look further, keep_comparing the same for the plan without constraints; None leaves that
    out. UsageProblem: a test that is unknown or already made; a model without repairs.
    """
    settings = settings or ShopSettings()
    if not model.repairs:
        raise UsageProblem(f"{model.id} has no repairs, so there is nothing to plan for; ask faultnet next {model.id}")
    ranking = rank_tests(model, case, bench, settings)
    chosen = _usual_tests(ranking) if tests is None else _named_tests(model, ranking, tests)
    composed = compose(model, case, chosen, settings, bench)
    by_bits = follow_bits_per_minute(Walk(unsolved(composed.problem)))
    solved = search(composed.problem, keep_going, plans=remembered(by_bits.at))
    walk = Walk(solved)
    free = None
    if keep_comparing is not None:
        free = _bounds(search(replace(composed.problem, free=True), keep_comparing, plans=solved.memory))
    first = _read(composed, walk, walk.start)
    return Plan(
        first=first,
        cost=Bounds(solved.lower, min(solved.upper, first.expected_cost), solved.is_exact),
        free=free,
        bits_per_minute=by_bits.cost,
        giving_up=giving_up_price(settings, case.inches),
        tests=tuple(chosen),
        left_out=composed.hypotheses.left_out,
        banded=composed.banded,
        taken_as_done=composed.taken_as_done,
        blocked=composed.blocked,
        nodes=solved.nodes,
        currency=settings.currency,
    )


def _bounds(solved: Solved) -> Bounds:
    return Bounds(solved.lower, solved.upper, solved.is_exact)


def _named_tests(model: Model, ranking: Ranking, tests: Sequence[str]) -> list[str]:
    """The named tests. UsageProblem: unknown, already made, or too many."""
    still_open = {test.test for test in ranking.tests}
    problems = [
        f"{name}: {'already made' if name in model.tests else 'no test of ' + model.id}; open tests are "
        + ", ".join(sorted(still_open))
        for name in tests
        if name not in still_open
    ]
    if len(tests) > MOST_TESTS:
        problems.append(f"{len(tests)} tests are too many; a plan takes at most {MOST_TESTS}")
    if problems:
        raise UsageProblem(*problems)
    return list(dict.fromkeys(tests))


def _usual_tests(ranking: Ranking) -> list[str]:
    """What the likely repairs wait for, and the best others, as far as this bench may make them."""
    held = {back.id for back in ranking.held_back if back.kind == "test"}
    may = {test.test: test for test in ranking.tests if test.test not in held}
    shown_by = {leaf: test for test in may.values() for leaf in test.reveals}
    wanted: dict[str, None] = {}

    def want(test: RankedTest) -> None:
        if test.test not in wanted and len(wanted) < USUAL_TESTS:
            need(test.waits_for)
            wanted.setdefault(test.test)

    def need(choices: Sequence[Sequence[str]]) -> None:
        for choice in choices:
            able = [shown_by[o] for o in choice if o in shown_by]
            if able and not any(test.test in wanted for test in able):
                want(max(able, key=lambda test: test.worth))

    for repair in sorted(ranking.repairs, key=lambda r: -r.named_right):
        if repair.named_right >= _SUSPECT_FROM:
            need(repair.waits_for)
    for test in sorted(may.values(), key=lambda test: -test.worth):
        if test.gain_repair_bits >= WORTH_PLANNING_BITS:
            want(test)
    return list(wanted)


def _read(composed: Composed, walk: Walk, state: State) -> PlanStep:
    """The plan from a state on, with its exact expected cost."""
    action, problem = walk.planned(state), walk.problem
    n_tests, n_repairs, total = len(problem.tests), len(problem.repairs), state.total
    suspects = _suspects(composed, state)
    if action < n_tests:
        own = composed.tests[action]
        cost, branches = float(problem.tests[action].costs[state.bench]), []
        for outcome, after in walk.outcomes(state, action):
            chance = after.total / total
            then = _read(composed, walk, after) if after.total > _TOO_RARE else None
            cost += chance * (then.expected_cost if then else walk.by_repairs(after)[0] / after.total)
            shown = tuple(zip(composed.leaves[action], composed.outcomes[action][outcome], strict=True))
            branches.append(Branch("+".join(state for _, state in shown), chance, then, shown))
        step = composed.steps[action, state.bench]
        return PlanStep("test", own.id, own.label, total, cost, suspects, step, tuple(branches))
    if action < n_tests + n_repairs:
        number = action - n_tests
        repair, price = composed.repairs[number], composed.prices[number, state.bench]
        cured, after = walk.failure(state, number)
        cost = float(problem.repairs[number].costs[state.bench]) + cured / total * problem.repairs[number].comeback
        then = _read(composed, walk, after) if after.total > _TOO_RARE else None
        if after.total > 0:
            cost += then.expected_cost * after.total / total if then else walk.by_repairs(after)[0] / total
        ends = (Branch("works", cured / total, None), Branch("not", after.total / total, then))
        return PlanStep("repair", repair.id, repair.label, total, cost, suspects, price.step, ends, price.harm)
    lost = float(problem.stops[action - n_tests - n_repairs][problem.kinds] @ state.weights) / total
    return PlanStep("stop", "", "give up, or hand over", total, lost, suspects, None, ())


def _suspects(composed: Composed, state: State) -> tuple[tuple[str, float], ...]:
    """The likeliest faulty components, the likeliest first."""
    chances: dict[str, float] = {}
    by_kind = composed.problem.kinds
    for number, kind in enumerate(composed.hypotheses.kinds):
        mass = float(state.weights[by_kind == number].sum()) / state.total
        for component in kind:
            chances[component] = chances.get(component, 0.0) + mass
    ranked = sorted(chances.items(), key=lambda item: -item[1])
    return tuple((c, p) for c, p in ranked[:_SUSPECTS] if p >= _SUSPECT_FROM)
