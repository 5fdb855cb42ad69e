"""What information costs: a bound on every plan from rate-distortion theory."""

from typing import Any

import numpy as np

from faultnet.plan.compiled import inner

BLAHUT_ROUNDS = 4

_ONE = np.uint64(1)


@inner()
def informed(t: Any, weights: Any, mass: Any, total: Any, made: Any, done: Any, bench: Any, enough: Any) -> Any:
    """A lower bound that pays for the information by which actions are chosen, the cheapest bits first.

    To end kind k by action a at cost(a, k), with chances q(a | k), takes I(k ; a) bits (Shannon 1959). No test gives
    more than its capacity for its price, and no test more in all than it would tell now, outcomes being independent
    given the hypothesis. So for every price of a bit the cost is at least min over q of cost + price * I(k ; a), less
    what is saved on tests whose bits are cheaper. Concave in the price; looked for until it is `enough`.
    """
    rates, bits = _bits_for_sale(t.tests, t.chances, t.noise_bits, weights, total, made)
    costs = _costs_of_ends(t.stops, t.known_after_tests[bench, done])
    best, at, step = 0.0, len(rates) // 2, 1
    for _ in range(2):  # up from the middle, then down
        worse = False
        while not worse and 0 <= at < len(rates) + 3:
            last = rates[min(at, len(rates) - 1)] * 1.000001
            price = last if at < len(rates) else last * 2.0 ** (at - len(rates) + 1)
            saved = 0.0
            for test in range(len(rates)):
                saved += max(0.0, price - rates[test]) * bits[test]
            value = _rate_distortion(costs, mass, total, price) - total * saved
            worse = value < best
            best = max(best, value)
            if best >= enough:
                return best
            at += step
        at, step = len(rates) // 2 - 1, -1
    return best


@inner()
def _bits_for_sale(tests: Any, chances: Any, noise_bits: Any, weights: Any, total: Any, made: Any) -> Any:
    """Of tests that may still be made, the cheapest first: money a bit at the most they can tell, and bits now."""
    rates, bits, n = np.empty(len(tests)), np.empty(len(tests)), 0
    for test in range(len(tests)):
        if (made >> np.uint64(test)) & _ONE or tests[test].bit_price == np.inf:
            continue
        told = 0.0
        for h in range(len(weights)):
            told -= weights[h] * noise_bits[test, h]
        for row in range(tests[test].row, tests[test].row_end):
            chance = 0.0
            for h in range(len(weights)):
                chance += weights[h] * chances[row, h]
            if chance > 0:
                told -= chance * np.log2(chance / total)
        at = n
        while at > 0 and rates[at - 1] > tests[test].bit_price:
            rates[at], bits[at] = rates[at - 1], bits[at - 1]
            at -= 1
        rates[at], bits[at] = tests[test].bit_price, max(0.0, told / total)
        n += 1
    return rates[:n], bits[:n]


@inner()
def _costs_of_ends(stops: Any, known: Any) -> Any:
    """What each kind costs where one stops, or does a repair next and then knows all: ``(n_ends, n_kinds)``."""
    n_stops, n_kinds = stops.shape
    costs = np.empty((n_stops + known.shape[1], n_kinds))
    for k in range(n_kinds):
        for end in range(n_stops):
            costs[end, k] = stops[end, k]
        for repair in range(known.shape[1]):
            costs[n_stops + repair, k] = known[k, repair]
    return costs


@inner()
def _rate_distortion(costs: Any, mass: Any, total: Any, price: Any) -> Any:
    """Below min over q(a | k) of cost + price * I(k ; a), by rounds of Blahut's algorithm (1972): each bounds it."""
    n_ends, n_kinds = costs.shape
    factors, base = np.empty((n_ends, n_kinds)), 0.0
    for k in range(n_kinds):
        least = costs[0, k]
        for end in range(1, n_ends):
            least = min(least, costs[end, k])
        base += mass[k] * least
        for end in range(n_ends):
            factors[end, k] = np.exp((least - costs[end, k]) * (np.log(2.0) / price))
    chances, gains, best = np.full(n_ends, 1.0 / n_ends), np.empty(n_ends), 0.0
    for _ in range(BLAHUT_ROUNDS):
        bits, most = 0.0, 0.0
        gains[:] = 0.0
        for k in range(n_kinds):
            if mass[k] <= 0:
                continue
            mixed = 0.0
            for end in range(n_ends):
                mixed += chances[end] * factors[end, k]
            bits -= mass[k] * np.log2(mixed)
            for end in range(n_ends):
                gains[end] += mass[k] / total * factors[end, k] / mixed
        for end in range(n_ends):
            most = max(most, gains[end])
            chances[end] *= gains[end]
        best = max(best, price * (bits - total * np.log2(most)))
    return base + best
