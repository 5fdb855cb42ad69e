"""Repairs alone: the order of least expected cost against theory, published examples and plain recursion."""

from collections.abc import Sequence
from itertools import permutations

import numpy as np
import pytest

from faultnet.repairs.order import MOST_REPAIRS, STOP, Option, least_costs, mended_chances

NEVER_STOP = 1e9


def single_faults(chances: Sequence[float]) -> np.ndarray:
    faults = np.zeros((1, 2 ** len(chances)))
    faults[0, [1 << n for n in range(len(chances))]] = chances
    return faults


# Cost of an order: sum of c_i times the chance that the earlier ones did not help; least in descending p/c (Kadane &
# Simon 1977; Kalagnanam & Henrion 1990; Heckerman, Breese & Rommelse 1995). The numbers: by hand over all orders.
@pytest.mark.parametrize(
    ("chances", "costs", "order", "least"),
    [
        ((0.50, 0.30, 0.15, 0.05), (8, 3, 1, 2), (3, 2, 1, 4), 8.05),
        ((0.45, 0.35, 0.15, 0.05), (20, 8, 15, 60), (2, 1, 3, 4), 27.00),
        ((0.20, 0.25, 0.40, 0.05, 0.10), (1, 3, 6, 2, 1), (1, 5, 2, 3, 4), 6.70),
        ((0.30, 0.25, 0.18, 0.27), (1, 1, 1, 1), (1, 4, 2, 3), 2.31),
    ],
)
def test_single_faults_are_mended_in_the_order_of_chance_over_cost(
    chances: tuple[float, ...], costs: tuple[int, ...], order: tuple[int, ...], least: float
) -> None:
    options = [Option(1 << n, 1.0, cost) for n, cost in enumerate(costs)]
    found = least_costs(single_faults(chances), options, NEVER_STOP)
    assert found.least[0] == pytest.approx(least, abs=1e-9)
    ratios = [p / c for p, c in zip(chances, costs, strict=True)]
    assert ratios[found.first[0]] == max(ratios)
    assert order[0] == int(np.argmax(ratios)) + 1


def test_overlapping_repairs_are_not_mended_by_chance_over_cost() -> None:
    """Jensen & Nielsen 2007, troubleshooting (the example from memory): greedy pays 1.50, the best order 1.45."""
    options = [Option(0b0011, 1.0, 1.0), Option(0b0110, 1.0, 1.0), Option(0b1100, 1.0, 1.0)]
    found = least_costs(single_faults((0.20, 0.25, 0.40, 0.15)), options, NEVER_STOP)
    assert found.least[0] == pytest.approx(1.45, abs=1e-12)
    assert found.by_first[0, 1] == pytest.approx(1.50, abs=1e-12)


def drill_or_not(chances: np.ndarray) -> float:
    """The oil wildcatter's costs as a job: drilling (70, less what is found) is a repair, leaving is giving up.

    In each state the repair "mends" what is found, so that money is linear in what the tables take: found 0, 120, 270
    of the 270 that a soaking hole brings; cost 70 of drilling and 270 less what is found, against 270 of leaving.
    """
    dry, wet, soaking = chances.tolist()
    faults = np.zeros((3, 2))
    faults[:, 1] = dry, wet, soaking
    total = 0.0
    options = [[Option(1, found / 270, 70.0)] for found in (0.0, 120.0, 270.0)]
    for own, row in zip(options, faults, strict=True):
        total += float(least_costs(row[None], own, 270.0).by_first[0, 0])
    return min(total, 270.0 * float(chances.sum()))


def test_the_oil_wildcatter() -> None:
    """Raiffa 1968, restated by Shenoy 1992: 20 without the test, EVPI 35, EVSI 12.5, policy 22.5 after its cost."""
    prior = np.array([0.5, 0.3, 0.2])
    shows = np.array([[0.6, 0.3, 0.1], [0.3, 0.4, 0.3], [0.1, 0.4, 0.5]])
    now = drill_or_not(prior)
    assert 270 - now == pytest.approx(20, abs=1e-9)
    assert now - sum(drill_or_not(prior * known) for known in np.eye(3)) == pytest.approx(35, abs=1e-9)
    sounded = sum(drill_or_not(prior * shows[:, n]) for n in range(3))
    assert now - sounded == pytest.approx(12.5, abs=1e-9)
    assert 270 - sounded - 10 == pytest.approx(22.5, abs=1e-9)


def by_recursion(faults: dict[int, float], options: list[Option], stop: float, firsts: list[float] | None) -> float:
    """Plain recursion over orders: a set of faults, repair by repair, component by component."""
    best = stop * sum(mass for faulty, mass in faults.items() if faulty)
    for number, option in enumerate(options):
        after = dict(faults)
        for component in range(8):
            if option.fixes >> component & 1:
                moved: dict[int, float] = {}
                for faulty, mass in after.items():
                    if faulty >> component & 1:
                        mended = faulty & ~(1 << component)
                        moved[mended] = moved.get(mended, 0.0) + mass * option.success
                        moved[faulty] = moved.get(faulty, 0.0) + mass * (1 - option.success)
                    else:
                        moved[faulty] = moved.get(faulty, 0.0) + mass
                after = moved
        works = after.pop(0, 0.0)
        rest = by_recursion(after, [*options[:number], *options[number + 1 :]], stop, None)
        cost = option.cost if firsts is None else firsts[number]
        best = min(best, sum(faults.values()) * cost + (1 - option.harm) * (works * option.comeback + rest))
    return best


@pytest.mark.parametrize("seed", range(60))
def test_equal_to_plain_recursion_over_all_orders(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n_components, n_options = int(rng.integers(1, 5)), int(rng.integers(1, 5))
    faults = rng.dirichlet(np.full(2**n_components, 0.5), size=2)
    options = [
        Option(
            fixes=int(rng.integers(1, 2**n_components)),
            success=float(rng.uniform(0.3, 1)),
            cost=float(rng.uniform(1, 60)),
            harm=float(rng.uniform(0, 0.2)),
            comeback=float(rng.uniform(0, 5)),
        )
        for _ in range(n_options)
    ]
    firsts = rng.uniform(1, 60, size=(2, n_options))
    found = least_costs(faults, options, 100.0, firsts)
    for row in range(2):
        expected = by_recursion(dict(enumerate(faults[row].tolist())), options, 100.0, firsts[row].tolist())
        assert found.least[row] == pytest.approx(expected, abs=1e-9)
        assert (found.first[row] == STOP) == (found.least[row] == found.stopping[row])


def test_the_chance_of_mending_does_not_hang_on_the_order() -> None:
    options = [Option(0b01, 0.5, 1.0), Option(0b11, 0.8, 1.0), Option(0b10, 0.25, 1.0)]
    mended = mended_chances(options, 4)
    assert mended[:, 0] == pytest.approx(1.0)  # nothing to mend
    for order in permutations(options):
        left = np.ones(2)
        for option in order:
            left *= [1 - option.success if option.fixes >> c & 1 else 1.0 for c in range(2)]
        assert mended[0b111, 0b11] == pytest.approx(float(np.prod(1 - left)))


def test_too_many_repairs_are_refused() -> None:
    with pytest.raises(ValueError, match="at most"):
        least_costs(np.ones((1, 2)), [Option(1, 1.0, 1.0)] * (MOST_REPAIRS + 1), 1.0)
