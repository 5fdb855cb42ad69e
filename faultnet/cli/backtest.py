"""`faultnet backtest`: past jobs replayed, against the shop's own order and a fixed flow chart."""

import json

from faultnet.cli.blocks import text_of
from faultnet.cli.progress import counted
from faultnet.cli.workshop import workshop_of
from faultnet.telling.replayed import replayed_blocks, replayed_json
from faultnet.workshop.backtesting import Wanted, replay_past


def show_backtest(wanted: Wanted, *, db: str, shop: str, as_json: bool) -> None:
    """Replay and print."""
    workshop = workshop_of(db, shop)
    with counted("replaying", "jobs") as told:
        replayed = replay_past(workshop, wanted, lambda _what, n: told(n))
    if as_json:
        print(json.dumps(replayed_json(replayed), indent=2))
    else:
        print(text_of(replayed_blocks(replayed, workshop.shop.settings.currency)))
