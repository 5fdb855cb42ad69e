"""The cheapest way when no test is left: exact, over all sets of repairs that failed."""

from typing import Any

import numpy as np

from faultnet.plan.bounds import best_stop, fail_kinds, gate_met
from faultnet.plan.compiled import inner


@inner()
def by_repairs(t: Any, mass: Any, bench: Any, ready: Any) -> Any:
    """The least cost by repairs alone, and the first action.

    Repairs done in another order leave the same, so what is left after a set of them is worked out once, and the
    largest sets are priced first.
    """
    n_tests, n_repairs, n_kinds = len(t.tests), len(t.repairs), len(mass)
    usable = _usable(t, mass, ready)
    n_sets, n_benches = 1 << len(usable), t.repairs_at.shape[1]
    left, totals = np.empty((n_sets, n_kinds)), np.empty(n_sets)
    left[0], totals[0] = mass, mass.sum()
    for failed in range(1, n_sets):
        last = 0
        while not (failed >> last) & 1:
            last += 1
        own, before = t.repairs[usable[last]], failed & (failed - 1)
        totals[failed] = fail_kinds(
            t.kind_moves, own.kind_move, own.kind_move_end, own.survives, left[before], left[failed]
        )
    least, first = np.empty((n_sets, n_benches)), 0
    for failed in range(n_sets - 1, -1, -1):
        stop, which = best_stop(t.stops, left[failed])
        for at in range(n_benches):
            if failed == 0 and at != bench:
                continue
            least[failed, at], first = stop, n_tests + n_repairs + which
            for n in range(len(usable)):
                own, here = t.repairs[usable[n]], t.repairs_at[usable[n], at]
                if (failed >> n) & 1 or totals[failed] * here.cost >= least[failed, at]:
                    continue
                if not gate_met(own.gate, t.judged[usable[n]], left[failed], totals[failed]):
                    continue
                then = failed | (1 << n)
                cured = own.survives * totals[failed] - totals[then]
                value = totals[failed] * here.cost + cured * own.comeback + least[then, here.leaves]
                if value < least[failed, at]:
                    least[failed, at], first = value, n_tests + usable[n]
    return least[0, bench], first


@inner()
def _usable(t: Any, mass: Any, ready: Any) -> Any:
    """Repairs that may be of use: ready ones, of which what they touch is worth their cost.

    However much the others have ruled out, a repair is paid for by at least what is left when all of them failed, and
    saves at most stopping for what it touches, and what the next repair costs more from another bench.
    """
    usable, n = np.empty(len(ready), dtype=np.int64), 0
    for repair in range(len(ready)):
        if ready[repair]:
            usable[n] = repair
            n += 1
    if n == 0 or t.repairs_at.leaves.max() > t.repairs_at.leaves.min():
        return usable[:n]
    touched, left, stays = np.zeros(n), mass.copy(), np.empty(len(mass))
    for i in range(n):
        own = t.repairs[usable[i]]
        stays[:] = 0.0
        for m in range(own.kind_move, own.kind_move_end):
            if t.kind_moves[m].origin == t.kind_moves[m].end:
                stays[t.kind_moves[m].origin] = t.kind_moves[m].chance
        for k in range(len(mass)):
            touched[i] += mass[k] if stays[k] < 1 else 0.0
            left[k] *= own.survives * stays[k]
    floor, spread = left.sum(), mass.sum() * _spread(t)
    kept = 0
    for i in range(n):
        least = np.inf
        for at in range(t.repairs_at.shape[1]):
            least = min(least, t.repairs_at[usable[i], at].cost)
        if least * floor < t.stops.max() * touched[i] + spread:
            usable[kept] = usable[i]
            kept += 1
    return usable[:kept]


@inner()
def _spread(t: Any) -> Any:
    """By how much the cost of a repair may differ from bench to bench."""
    spread = 0.0
    for repair in range(t.repairs_at.shape[0]):
        least, most = np.inf, 0.0
        for at in range(t.repairs_at.shape[1]):
            cost = t.repairs_at[repair, at].cost
            if cost < np.inf:
                least, most = min(least, cost), max(most, cost)
        if least < np.inf:
            spread = max(spread, most - least)
    return spread
