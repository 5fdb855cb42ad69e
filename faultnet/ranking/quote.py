"""What would change the price that is named: the open tests whose outcomes move it most."""

from collections.abc import Mapping
from dataclasses import dataclass

from faultnet.diagnosis.explain import outcome_names
from faultnet.model.model import Model
from faultnet.ranking.result import RankedTest, Ranking
from faultnet.repairs.price import Pricing

MOST_TESTS = 2
"""Tests named beside a price."""

_CANDIDATES = 4
"""Tests looked at: those whose outcomes are worth most."""


@dataclass(frozen=True)
class PriceChange:
    """How an open test moves the likely price: the likely price after each of its outcomes, None where none is left."""

    test: str
    likely: Mapping[str, float | None]


def price_changes(model: Model, pricing: Pricing, ranking: Ranking) -> tuple[PriceChange, ...]:
    """The tests whose outcomes move the likely price most, on average. Of a reading, outcomes are its states."""
    if pricing.now is None:
        return ()
    telling = sorted((t for t in ranking.tests if t.evsi), key=lambda t: -(t.evsi or 0.0))[:_CANDIDATES]
    found = [
        (change, _moves(pricing.now.likely, test, change)) for test in telling for change in [_of(model, pricing, test)]
    ]
    found.sort(key=lambda pair: -pair[1])
    return tuple(change for change, moves in found[:MOST_TESTS] if moves >= 1)


def _of(model: Model, pricing: Pricing, test: RankedTest) -> PriceChange:
    faults = pricing.money.faults_of(pricing.money.belief.outcomes(test.reveals))
    names = outcome_names(model, test.reveals)
    return PriceChange(
        test.test,
        {name: pricing.likely(row) if row.sum() > 0 else None for name, row in zip(names, faults, strict=True)},
    )


def _moves(likely: float, test: RankedTest, change: PriceChange) -> float:
    """By how much the likely price changes on average."""
    chances = {outcome.state: outcome.chance for outcome in test.outcomes}
    return sum(chances[state] * abs(price - likely) for state, price in change.likely.items() if price is not None)
