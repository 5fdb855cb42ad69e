"""What each open test is worth in money: made first, with repairs alone after each of its outcomes.

One step ahead: the expected cost of repair with one observation (Heckerman, Breese & Rommelse 1995), not a plan.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from faultnet.cpt import Floats
from faultnet.ranking.result import RankedTest
from faultnet.ranking.volts import ReadingGains
from faultnet.repairs.money import Money


def sets_of_faults(money: Money, gains: ReadingGains, test: RankedTest) -> Floats:
    """P(outcome, set of faulty components): ``(n_outcomes, 2**n_components)``.

    Outcomes of a reading are the volts that the meter may show; where channels are read apart, their states, which
    tell more than volts do.
    """
    if gains.prices(money.model.tests[test.test]):
        return gains.by_volts(test.reveals[0], money.set_of_state)
    return money.faults_of(gains.belief.outcomes(test.reveals))


def with_money(money: Money, tests: Sequence[RankedTest], faults: Sequence[Floats]) -> list[RankedTest]:
    """The tests with their expected totals and the value of what they show. faults: as `sets_of_faults` gives them."""
    if not tests:
        return []
    rows = [np.vstack([shown, shown.sum(axis=0)]) / shown.sum() for shown in faults]  # the last: before it is seen
    costs = money.by_repairs(np.concatenate(rows))
    priced, end = [], 0
    whole = np.concatenate(rows).sum(axis=1)
    for test, own in zip(tests, rows, strict=True):
        start, end = end, end + len(own)
        outcomes = slice(start, end - 1)
        seen_for_nothing = float(costs.least[outcomes].sum())
        more = whole[:, None] * money.dearer_from(test.step.bench_after)
        after = float(costs.with_dearer_firsts(more)[outcomes].sum())
        evsi = max(0.0, float(costs.least[end - 1]) - seen_for_nothing)
        priced.append(replace(test, expected_total=test.cost + after, evsi=evsi))
    return priced
