"""How a set stands on the bench after what was done to it."""

from faultnet.case.case import Case
from faultnet.case.events import RepairOutcome
from faultnet.model.model import Model
from faultnet.model.work import BenchState, prepare


def bench_after_events(model: Model, case: Case) -> BenchState:
    """How the set stands on the bench after the tests and repairs of a case, from how it came in."""
    revealed_by = {observation: test for test in model.tests.values() for observation in test.reveals}
    bench = BenchState()
    for event in case.events:
        done = model.repairs[event.repair] if isinstance(event, RepairOutcome) else revealed_by.get(event.observation)
        if done is not None:
            bench = prepare(bench, done.needs, model.setups).bench_after
        if isinstance(event, RepairOutcome):  # whether it works was seen on a set put together again and switched on
            bench = bench.after(mains="on", led_cable="in", panel="closed")
    return bench
