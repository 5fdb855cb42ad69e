"""The price to name to the customer, what is in it, and which tests would move it."""

from dataclasses import dataclass

from faultnet.model import Model
from faultnet.ranking.quote import PriceChange, price_changes
from faultnet.repairs.price import Pricing, spent_so_far
from faultnet.telling.answer import PRICE_HOLDS, outcome_words
from faultnet.words import percent
from faultnet.workshop.looking import Look


@dataclass(frozen=True)
class PriceShown:
    """In whole units of the shop's money. repaired: the chance that the set ends repaired."""

    low: str
    likely: str
    high: str
    repaired: str
    holds: str
    changes: tuple[str, ...]


def price_shown(found: Look) -> PriceShown | None:
    """None where there is no price to name: nothing is left to repair, or it does not pay."""
    money, case = found.ranking.money, found.bench.case
    if money is None or found.ranking.advice.verdict or case.just_repaired:
        return None
    pricing = Pricing(money, spent_so_far(money, case))
    if pricing.now is None:
        return None
    model, price = found.bench.model, pricing.now
    return PriceShown(
        f"{price.low:.0f}",
        f"{price.likely:.0f}",
        f"{price.high:.0f}",
        percent(price.repaired),
        PRICE_HOLDS.format(spent=pricing.spent),
        tuple(_change(model, change) for change in price_changes(model, pricing, found.ranking)),
    )


def _change(model: Model, change: PriceChange) -> str:
    test = model.tests[change.test]
    moved = [
        f"{outcome_words(model, change.test, state)} {price:.0f}"
        for state, price in change.likely.items()
        if price is not None
    ]
    return f"{test.label} would change it: likely {', '.join(moved)}"
