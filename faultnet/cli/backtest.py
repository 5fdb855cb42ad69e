"""`faultnet backtest`: past jobs replayed, against the shop's own order and a fixed flow chart."""

import json
import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from faultnet.cli.progress import counted
from faultnet.cli.terminal import bold, table, wrapped
from faultnet.cli.workshop import workshop_of
from faultnet.evaluate.backtest import COVERED, RULES, Estimate, Row
from faultnet.words import percent
from faultnet.workshop.backtesting import Replayed, Wanted, replay_past

SCHEMA_VERSION = 1

_SHORT = {"plan": "plan", "advice": "advice", "as_done": "as done", "flow_chart": "flow chart"}
_WORDS = {"steps": "steps", "minutes": "minutes", "cost": "cost", "right_first": "right first", "cured": "cured"}


def show_backtest(wanted: Wanted, *, db: str, shop: str, as_json: bool) -> None:
    """Replay and print."""
    workshop = workshop_of(db, shop)
    with counted("replaying", "jobs") as told:
        replayed = replay_past(workshop, wanted, lambda _what, n: told(n))
    print(
        json.dumps(_as_json(replayed), indent=2)
        if as_json
        else "\n".join(_text(replayed, workshop.shop.settings.currency))
    )


def _text(replayed: Replayed, currency: str) -> Iterator[str]:
    found = replayed.found
    learned = f"learned from {replayed.n_learned} earlier jobs" if replayed.n_learned else "nothing was learned"
    yield bold(f"{found.n_jobs} jobs since {replayed.since} with {found.model}") + f"  ({learned})"
    yield from (wrapped(f"{_SHORT[name]}: {words}", 2, 4) for name, words in RULES.items())
    yield ""
    yield bold("On recorded results only")
    yield from _table(found.rows)
    yield wrapped(
        f"jobs: those on which more than {percent(COVERED)} of the tests asked for have a result; a test without one "
        f"is passed over. In brackets 90 % of resampled jobs. Cost in {currency or 'money'}, sending back unrepaired "
        "included. Only jobs that were cured are replayed, so whoever sends sets back looks worse here than he is.",
        2,
    )
    yield ""
    yield bold("More than the shop's own order, on the same jobs")
    yield from _table([row for row in found.rows if row.rule != "as_done"], beside=True)
    yield ""
    yield bold("First repair right, over all jobs")
    bounds = [(_SHORT[name], f"{percent(low)} to {percent(high)}") for name, (low, high) in found.bounds.items()]
    yield from table(bounds, "lr")
    yield ""
    if found.imputed:
        yield bold("SIMULATED: missing results made up by the model") + "  (which favours it)"
        yield from _table(found.imputed)
        yield ""
    if found.n_advised:
        yield wrapped(
            f"{found.n_advised} of these jobs were worked on with faultnet's advice: there the shop's own order is "
            "partly its own.",
            0,
        )


def _table(rows: Sequence[Row], *, beside: bool = False) -> list[str]:
    """A column for each way of working, a line for each measure."""
    lines = [("", *(_SHORT[row.rule] for row in rows)), ("jobs", *(str(row.n_jobs) for row in rows))]
    for measure, words in _WORDS.items():
        each = [row.beside[measure] if beside else row.means[measure] for row in rows]
        lines.append((words, *(_estimate(told, measure, signed=beside) for told in each)))
    return table(lines, "l" + "r" * len(rows))


def _estimate(told: Estimate, measure: str, *, signed: bool = False) -> str:
    if math.isnan(told.mean):
        return "-"
    share = measure in ("right_first", "cured")
    values = [100 * v if share else v for v in (told.mean, told.low, told.high)]
    digits = 1 if measure == "steps" else 0
    mean, low, high = (f"{value + 0.0:{'+' if signed else ''}.{digits}f}" for value in values)
    return f"{mean}{' %' if share else ''} ({low}/{high})"


def _as_json(replayed: Replayed) -> dict[str, Any]:
    found = asdict(replayed.found)
    return {"schema_version": SCHEMA_VERSION, "since": replayed.since, "n_learned": replayed.n_learned, **found}
