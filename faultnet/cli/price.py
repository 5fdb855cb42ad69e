"""As text: the price to name to the customer, what is in it, and what would change it."""

from collections.abc import Iterator

from faultnet.case import Case
from faultnet.cli.terminal import bold, wrapped
from faultnet.model import Model
from faultnet.ranking import Ranking
from faultnet.ranking.quote import price_changes
from faultnet.repairs.price import Pricing, spent_so_far
from faultnet.telling.answer import PRICE_HOLDS
from faultnet.words import percent


def price_text(model: Model, case: Case, ranking: Ranking, *, full: bool) -> Iterator[str]:
    """The price where the set ends repaired; in full what it holds and which tests move it."""
    if ranking.money is None or ranking.advice.verdict or case.just_repaired:
        return
    pricing = Pricing(ranking.money, spent_so_far(ranking.money, case))
    price = pricing.now
    if price is None:
        return
    currency = f" {ranking.settings.currency}" if ranking.settings.currency else ""
    named = f"{price.low:.0f} low, {price.likely:.0f} likely, {price.high:.0f} high{currency}"
    what = "" if full else "; what is in it: --full"
    yield wrapped(f"{bold('Price')}  {named} if repaired ({percent(price.repaired)}){what}", 0, 2)
    if full:
        yield wrapped(PRICE_HOLDS.format(spent=pricing.spent), 2)
        for change in price_changes(model, pricing, ranking):
            moved = (f"{state} {p:.0f}" for state, p in change.likely.items() if p is not None)
            yield wrapped(f"{change.test} would change it: likely {', '.join(moved)}", 2, 4)
    yield ""
