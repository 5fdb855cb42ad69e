"""Past jobs replayed, against the shop's own order and a fixed flow chart."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from faultnet.evaluate.backtest import COVERED, RULES, Estimate, Row
from faultnet.telling.block import Block, Line, Table, points
from faultnet.words import percent
from faultnet.workshop.backtesting import Replayed

SCHEMA_VERSION = 1

_SHORT = {"plan": "plan", "advice": "advice", "as_done": "as done", "flow_chart": "flow chart"}
_WORDS = {"steps": "steps", "minutes": "minutes", "cost": "cost", "right_first": "right first", "cured": "cured"}


def replayed_blocks(replayed: Replayed, currency: str) -> Iterator[Block]:
    """How the ways of working did, told."""
    found = replayed.found
    learned = f"learned from {replayed.n_learned} earlier jobs" if replayed.n_learned else "nothing was learned"
    yield Block(
        f"{found.n_jobs} jobs since {replayed.since} with {found.model}",
        learned,
        lines=points(f"{_SHORT[name]}: {words}" for name, words in RULES.items()),
    )
    yield Block("On recorded results only", table=_table(found.rows), beneath=(Line(_means(currency)),))
    beside = _table([row for row in found.rows if row.rule != "as_done"], beside=True)
    yield Block("More than the shop's own order, on the same jobs", table=beside)
    bounds = tuple((_SHORT[name], f"{percent(low)} to {percent(high)}") for name, (low, high) in found.bounds.items())
    yield Block("First repair right, over all jobs", table=Table(bounds, aligned="lr"))
    if found.imputed:
        made_up = "SIMULATED: missing results made up by the model"
        yield Block(made_up, "which favours it", table=_table(found.imputed))
    if found.n_advised:
        own = (
            f"{found.n_advised} of these jobs were worked on with faultnet's advice: there the shop's own order is "
            "partly its own."
        )
        yield Block(lines=(Line(own, 0),))


def _means(currency: str) -> str:
    return (
        f"jobs: those on which more than {percent(COVERED)} of the tests asked for have a result; a test without one "
        f"is passed over. In brackets 90 % of resampled jobs. Cost in {currency or 'money'}, sending back unrepaired "
        "included. Only jobs that were cured are replayed, so whoever sends sets back looks worse here than he is."
    )


def _table(rows: Sequence[Row], *, beside: bool = False) -> Table:
    """A column for each way of working, a line for each measure."""
    lines = [("jobs", *(str(row.n_jobs) for row in rows))]
    for measure, words in _WORDS.items():
        each = [row.beside[measure] if beside else row.means[measure] for row in rows]
        lines.append((words, *(_estimate(told, measure, signed=beside) for told in each)))
    return Table(tuple(lines), ("", *(_SHORT[row.rule] for row in rows)), "l" + "r" * len(rows))


def _estimate(told: Estimate, measure: str, *, signed: bool = False) -> str:
    if math.isnan(told.mean):
        return "-"
    share = measure in ("right_first", "cured")
    values = [100 * v if share else v for v in (told.mean, told.low, told.high)]
    digits = 1 if measure == "steps" else 0
    mean, low, high = (f"{value + 0.0:{'+' if signed else ''}.{digits}f}" for value in values)
    return f"{mean}{' %' if share else ''} ({low}/{high})"


def replayed_json(replayed: Replayed) -> dict[str, Any]:
    """All of it as plain values, for JSON."""
    found = asdict(replayed.found)
    return {"schema_version": SCHEMA_VERSION, "since": replayed.since, "n_learned": replayed.n_learned, **found}
