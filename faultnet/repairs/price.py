"""A price to say to the customer: low, likely and high for a set that ends repaired, once the fault is found.

Each set of faulty parts has its cheapest order of repairs, each of which may help or not; where those courses end is
enumerated, and parts cost anything between their low and high price. The quantiles are exact for that.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import product
from math import factorial, prod

import numpy as np

from faultnet.case.bench import TRIED_OUT, test_step
from faultnet.case.case import Case
from faultnet.case.events import RepairOutcome
from faultnet.cpt import Floats
from faultnet.model.work import BenchState, prepare, size_class
from faultnet.repairs.money import Money
from faultnet.repairs.order import STOP, after_failure, least_costs
from faultnet.repairs.prices import repair_price

QUANTILES = (0.10, 0.50, 0.90)

_TOO_UNLIKELY = 1e-3
"""Sets of faulty parts that are left out of a price."""

_NEAR = 0.02


@dataclass(frozen=True)
class Course:
    """One way a job may end repaired. labour: money for bench time; parts: from and to, of each repair made."""

    chance: float
    labour: float
    parts: tuple[tuple[float, float], ...]

    def costs_at_most(self, money: float) -> float:
        """P(labour and parts cost at most this), parts uniform and independent (Irwin 1927; Hall 1927)."""
        widths = [high - low for low, high in self.parts if high > low]
        above = money - self.labour - sum(low for low, _ in self.parts)
        if not widths:
            return float(above >= 0)
        corners = product(*((0.0, width) for width in widths))
        volume: float = sum(
            (-1) ** sum(c > 0 for c in corner) * max(0.0, above - sum(corner)) ** len(widths) for corner in corners
        )
        return min(1.0, max(0.0, volume / (factorial(len(widths)) * prod(widths))))


@dataclass(frozen=True)
class CustomerPrice:
    """low, likely, high: the 10, 50 and 90 % quantiles where the set ends repaired, which has the chance `repaired`.

    Labour, bench time and parts of what was done so far at mid price, and the repairs to come; no time of tests to
    come, no tax, no margin.
    """

    low: float
    likely: float
    high: float
    repaired: float


@dataclass(frozen=True, eq=False)
class Pricing:
    """Prices of one case. spent: labour and parts so far."""

    money: Money
    spent: float
    _courses: dict[int, tuple[Course, ...]] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def now(self) -> CustomerPrice | None:
        """The price as things stand, or None where no course ends repaired."""
        return self.price(self.money.faults)

    def price(self, faults: Floats) -> CustomerPrice | None:
        """The price for P(set of faulty components) ``(2**n_components,)``, up to a factor."""
        courses = self._courses_by_chance(faults)
        repaired = sum(course.chance for course in courses)
        if repaired < _TOO_UNLIKELY:
            return None
        low, likely, high = (self.spent + quantile(courses, share) for share in QUANTILES)
        return CustomerPrice(low, likely, high, repaired)

    def likely(self, faults: Floats) -> float | None:
        """The likely price alone."""
        courses = self._courses_by_chance(faults)
        return self.spent + quantile(courses, QUANTILES[1]) if courses else None

    def _courses_by_chance(self, faults: Floats) -> list[Course]:
        weights = faults / faults.sum()
        return [
            Course(course.chance * float(weights[faulty]), course.labour, course.parts)
            for faulty in np.flatnonzero(weights > _TOO_UNLIKELY).tolist()
            for course in self._courses_of(faulty)
        ]

    def _courses_of(self, faulty: int) -> tuple[Course, ...]:
        if faulty not in self._courses:
            self._courses[faulty] = tuple(self._enumerate(faulty)) if faulty else ()
        return self._courses[faulty]

    def _enumerate(self, faulty: int) -> list[Course]:
        """Where the cheapest order of repairs ends with these components known to be faulty."""
        money, faults = self.money, np.zeros((1, len(self.money.faults)))
        faults[0, faulty] = 1.0
        left = [n for n, option in enumerate(money.options) if option.fixes & faulty]
        bench, alive, labour, parts = money.bench, 1.0, 0.0, list[tuple[float, float]]()
        first: Floats | None = money.first_costs(bench)
        courses = []
        while left:
            options = [money.options[n] for n in left]
            own = None if first is None else first[left]
            number = int(least_costs(faults, options, money.giving_up, own).first[0])
            if number == STOP:
                break
            chosen = left.pop(number)
            price = repair_price(money.model, money.repairs[chosen], bench, money.inches, money.settings)
            labour += money.settings.price(price.step.setup_minutes + price.step.minutes, 0, 0)
            parts.append((price.parts_low, price.parts_high))
            alive *= 1 - options[number].harm
            before = float(faults.sum())
            faults = after_failure(faults, options[number])
            courses.append(Course(alive * (before - float(faults.sum())), labour, tuple(parts)))
            bench, first = BenchState(**TRIED_OUT), None
        return courses


def quantile(courses: Sequence[Course], share: float) -> float:
    """The price below which this share of the courses ends, to 0.02; chances up to a factor."""
    wanted = share * sum(course.chance for course in courses)
    low, high = 0.0, max(course.labour + sum(high for _, high in course.parts) for course in courses)
    while high - low > _NEAR:
        middle = (low + high) / 2
        below = sum(course.chance * course.costs_at_most(middle) for course in courses)
        low, high = (low, middle) if below >= wanted else (middle, high)
    return high


def spent_so_far(money: Money, case: Case) -> float:
    """Labour for the tests and repairs made, set-up included, and the parts of those repairs at mid price."""
    model, settings, bench = money.model, money.settings, BenchState()
    minutes, parts, size = 0.0, 0.0, size_class(case.inches)
    for event in case.events:
        if isinstance(event, RepairOutcome):
            for name in event.made:
                repair = model.repairs[name]
                step = prepare(bench, repair.needs, model.setups, leaves=TRIED_OUT, inches=case.inches,
                               hazard=repair.hazard, cautions=repair.cautions)  # fmt: skip
                minutes += step.setup_minutes + repair.minutes_by_size[size]
                parts += (repair.parts_low[size] + repair.parts_high[size]) / 2
                bench = step.bench_after
        elif (test := model.revealed_by.get(event.observation)) is not None:
            step = test_step(model, test, bench, case.inches, settings)
            minutes += step.setup_minutes + step.minutes
            bench = step.bench_after
    return settings.price(minutes, parts, 0)
