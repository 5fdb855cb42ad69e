"""How a set stands on the bench after what was done to it."""

from collections.abc import Mapping

from faultnet.case.case import Case
from faultnet.case.events import RepairOutcome
from faultnet.model.model import Model
from faultnet.model.work import BenchState, BenchTest, Step, prepare
from faultnet.settings import ShopSettings

TRIED_OUT = {"panel": "closed", "led_cable": "in", "cover": "on", "mains": "on"}
"""Whether a repair helped is seen on a set put together again and switched on: it is charged again, too."""


def bench_after_events(model: Model, case: Case, told: Mapping[int, Mapping[str, str]] | None = None) -> BenchState:
    """How the set stands on the bench after the tests and repairs of a case, from how it came in.

    told: how parts of the set-up were said to stand, after so many of the events.
    """
    told = told or {}
    bench = BenchState().after(**told.get(0, {}))
    for number, event in enumerate(case.events, start=1):
        if isinstance(event, RepairOutcome):
            for repair in event.made:
                bench = prepare(bench, model.repairs[repair].needs, model.setups, leaves=TRIED_OUT).bench_after
        elif (test := model.revealed_by.get(event.observation)) is not None:
            bench = prepare(bench, test.needs, model.setups, leaves=test.leaves).bench_after
        bench = bench.after(**told.get(number, {}))
    return bench


def test_step(model: Model, test: BenchTest, bench: BenchState, inches: float | None, settings: ShopSettings) -> Step:
    """The step of a test from how the bench stands.

    On a bench that may not do it with the cover off, with the cover back on where the test allows it and that helps.
    """

    def step(needs: Mapping[str, str]) -> Step:
        return prepare(
            bench,
            needs,
            model.setups,
            leaves=test.leaves,
            minutes=test.minutes,
            hazard=test.hazard,
            cautions=test.cautions,
            inches=inches,
        )

    usual = step(test.needs)
    if settings.may_do(usual.hazard) or "cover" in test.needs:
        return usual
    covered = step({**test.needs, "cover": "on"})
    return covered if settings.may_do(covered.hazard) else usual
