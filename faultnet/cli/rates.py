"""`faultnet rates`: how often what was the case, with intervals and the jobs behind them."""

import json
from typing import TYPE_CHECKING

from faultnet.analysis.comebacks import Comebacks
from faultnet.analysis.rates import Rates
from faultnet.cli.blocks import text_of
from faultnet.cli.progress import counted
from faultnet.cli.shown import Shown
from faultnet.cli.workshop import workshop_of
from faultnet.model import Model
from faultnet.telling.comebacks import comebacks_blocks
from faultnet.telling.medium import TERMINAL
from faultnet.telling.rates import rates_blocks, rates_json, words_for
from faultnet.workshop.rating import Wanted, rate

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def show_rates(wanted: Wanted, shown: Shown, *, db: str, shop: str) -> None:
    """Count, weigh, write files, and print."""
    shown.check()
    workshop = workshop_of(db, shop)
    with counted("counting", "rounds") as told:
        found = rate(workshop, wanted, lambda _what, n: told(n))
    model = workshop.load_model(found.model.partition("@")[0])
    shown.write(found.to_frame(), lambda: _figure(found, model))
    if shown.as_json:
        print(json.dumps(rates_json(found), indent=2))
    elif isinstance(found, Comebacks):
        print(text_of(comebacks_blocks(found)))
    else:
        print(text_of(rates_blocks(found, model, TERMINAL, full=shown.full)))


def _figure(found: Rates | Comebacks, model: Model) -> "Figure":
    from faultnet.plots.rates import draw_comebacks, draw_rates

    return draw_comebacks(found) if isinstance(found, Comebacks) else draw_rates(found, words_for(found, model))
