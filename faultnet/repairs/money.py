"""What a case costs by repairs alone, and what it would be worth to know more, in money."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from faultnet.case.bench import TRIED_OUT
from faultnet.cpt import Floats, Ints
from faultnet.engine.interface import Belief
from faultnet.engine.plan import Sums
from faultnet.model.model import Model
from faultnet.model.work import BenchState, Repair
from faultnet.repairs.order import MOST_COMPONENTS, MOST_REPAIRS, LeastCosts, Option, least_costs
from faultnet.repairs.prices import RepairPrice, giving_up_price, repair_price
from faultnet.settings import ShopSettings

_POSSIBLE = 1e-9


@dataclass(frozen=True, eq=False)
class Money:
    """Expected costs of one case, in the shop's money.

    They hold time, hazards, parts at mid price, harm, comebacks, and a working set lost where one gives up. Gates and
    the trade's order do not bind, and what this bench may not do a trained person does at the same price. Left out is a
    new part that arrives faulty in place of a good one. bench: how the set stands.
    """

    model: Model
    belief: Belief
    bench: BenchState
    inches: float | None
    settings: ShopSettings

    @property
    def giving_up(self) -> float:
        """What it costs to send a set back that does not work."""
        return giving_up_price(self.settings, self.inches)

    @cached_property
    def repairs(self) -> tuple[Repair, ...]:
        """The repairs, in the order of the options."""
        return tuple(self.model.repairs.values())

    @cached_property
    def options(self) -> tuple[Option, ...]:
        """The repairs in numbers, on a set put together again."""
        bits = {component: 1 << n for n, component in enumerate(self.model.components)}
        options = []
        for repair in self.repairs:
            price = self._price(repair, BenchState(**TRIED_OUT))
            fixes = sum(bits[component] for component in repair.fixes)
            cost = price.done + price.harm * price.ruined
            options.append(Option(fixes, repair.success, cost, price.harm, price.comeback))
        return tuple(options)

    @cached_property
    def faults(self) -> Floats:
        """P(set of faulty components, by bits) now: ``(2**n_components,)``."""
        own: Floats = self.faults_of(self.belief.targets[None])[0]
        return own

    @cached_property
    def now(self) -> LeastCosts:
        """What repairs alone cost from here."""
        return self.by_repairs(self.faults[None])

    @cached_property
    def with_perfect_information(self) -> float:
        """What it would cost if one knew which components are faulty."""
        possible = np.flatnonzero(self.faults > _POSSIBLE)
        known = np.zeros((len(possible), len(self.faults)))
        known[np.arange(len(possible)), possible] = self.faults[possible]
        return float(self.by_repairs(known).least.sum())

    def beginning_with(self, repair: Repair) -> float:
        """The expected cost of the whole job where this repair is made first and repairs alone follow."""
        return float(self.now.by_first[0, self.repairs.index(repair)])

    def dearer_than_giving_up(self, repair: Repair) -> str:
        """In words that beginning with a repair costs more than sending the set back at once, or ""."""
        total, stopping = self.beginning_with(repair), float(self.now.stopping[0])
        return "" if total < stopping else f"about {total:.0f} in all on average; giving up costs {stopping:.0f}"

    @property
    def perfect_information(self) -> float:
        """The expected value of perfect information (Howard 1966)."""
        return max(0.0, float(self.now.least[0]) - self.with_perfect_information)

    def by_repairs(self, faults: Floats) -> LeastCosts:
        """What repairs alone cost for some beliefs ``(n, 2**n_components)``, from how the set stands."""
        return least_costs(faults, self.options, self.giving_up, self._first_costs[self.bench])

    def dearer_from(self, bench: BenchState) -> Floats:
        """How much more each repair costs as the first step from another bench, ``(n_repairs,)``."""
        return self._first_costs[bench] - self._first_costs[self.bench]

    def faults_of(self, states: Floats) -> Floats:
        """Sets of faulty components from joint states: ``(n, n_joint) -> (n, 2**n_components)``."""
        found: Floats = self._add_up(states)
        return found

    @cached_property
    def _add_up(self) -> Sums:
        return Sums.of(self.set_of_state, 2 ** len(self.model.components))

    @cached_property
    def set_of_state(self) -> Ints:
        """The set of faulty components of every joint state, by bits: ``(n_joint,)``."""
        number: Ints = np.zeros(1, dtype=np.intp)
        for n, component in enumerate(self.model.components.values()):
            faulty = np.array([0, *(1 << n for _ in component.modes)])
            number = (number[:, None] + faulty).reshape(-1)
        return number

    @cached_property
    def _first_costs(self) -> Mapping[BenchState, Floats]:
        return _FirstCosts(self)

    def first_costs(self, bench: BenchState) -> Floats:
        """What each repair costs from this bench, the expected harm in it."""
        prices = [self._price(repair, bench) for repair in self.repairs]
        return np.array([price.done + price.harm * price.ruined for price in prices])

    def _price(self, repair: Repair, bench: BenchState) -> RepairPrice:
        return repair_price(self.model, repair, bench, self.inches, self.settings)


def money_of(
    model: Model, belief: Belief, bench: BenchState, inches: float | None, settings: ShopSettings
) -> Money | None:
    """The money of a case, or None where the model has no repairs or too many to work it out for."""
    can_tell = 0 < len(model.repairs) <= MOST_REPAIRS and len(model.components) <= MOST_COMPONENTS
    return Money(model, belief, bench, inches, settings) if can_tell else None


class _FirstCosts(dict[BenchState, Floats]):
    """First costs by bench, worked out when they are asked for."""

    def __init__(self, money: Money) -> None:
        super().__init__()
        self._money = money

    def __missing__(self, bench: BenchState) -> Floats:
        self[bench] = costs = self._money.first_costs(bench)
        return costs
