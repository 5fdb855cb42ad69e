"""A reliability diagram in text, and what it means in words."""

from collections.abc import Iterator

from faultnet.analysis.judged import Judged
from faultnet.cli.terminal import table, wrapped
from faultnet.statistics.reliability import HELD, Bin, Diagram
from faultnet.words import in_words, percent, percent_range

_WIDTH = 29
"""Cells from 0 to 100 %."""

_CLEAR = 1.645
"""Standard deviations that forecasts which are right go beyond one time in ten."""


def diagram_lines(shown: Diagram) -> Iterator[str]:
    """A line for each bin: what was said, how often it was so, where right forecasts lie, and a picture of that."""
    scale = "0 %" + "50 %".center(_WIDTH - 6)[: _WIDTH - 6] + "100"
    rows = [("said", "it was so", "", "right", scale)]
    rows += [
        (
            percent(each.forecast),
            f"{each.happened} of {each.n}",
            percent(each.observed),
            percent_range(each.low, each.high),
            _picture(each),
        )
        for each in shown.bins
    ]
    yield from table(rows, "rrrrl")
    yield wrapped(
        f"o: how often it was so (X outside); +: what was said; -: where {percent(HELD)} of right forecasts lie, in "
        "all lines at once.",
        2,
    )


def _picture(each: Bin) -> str:
    cells = [" "] * _WIDTH
    places = each.low, each.high, each.forecast, each.observed
    low, high, said, seen = (round(value * (_WIDTH - 1)) for value in places)
    cells[low : high + 1] = "-" * (high + 1 - low)
    cells[said] = "+"
    cells[seen] = "X" if each.is_outside else "o"
    return "".join(cells)


def in_short(judged: Judged, *, is_of_repairs: bool) -> Iterator[str]:
    """What it means for a shop owner, in sentences."""
    bins = [each for each in judged.diagram.bins if each.forecast >= 0.1]
    nearest = min(bins or judged.diagram.bins, key=lambda each: abs(each.forecast - 2 / 3))
    yield f"When it says {_chance(nearest.forecast)}, it is so in {nearest.happened} of {nearest.n}."
    yield from _outside(judged.diagram)
    yield _altogether(judged, is_of_repairs=is_of_repairs)


def _outside(shown: Diagram) -> Iterator[str]:
    outside = [each for each in shown.bins if each.is_outside]
    for each in outside:
        much = "too little" if each.observed > each.forecast else "too much"
        yield f"It says {much} at {percent(each.forecast)}: it was so in {each.happened} of {each.n}."
    if not outside:
        wide = sorted((each.high - each.low) / 2 for each in shown.bins)[len(shown.bins) // 2]
        yield (
            f"Nothing speaks against its chances: right ones often lie as far off (p = {shown.p_value:.2f}). So many "
            f"jobs would show errors of about {100 * wide:.0f} points."
        )


def _altogether(judged: Judged, *, is_of_repairs: bool) -> str:
    z = judged.watch.overall_z
    if abs(z) < _CLEAR:
        return "Altogether jobs surprise it about as much as it expects: it is neither too sure nor too cautious."
    if z < 0 and is_of_repairs:
        return "Altogether jobs surprise it less than it expects: it is too cautious."
    if z < 0:
        return (
            "Altogether jobs surprise it less than it expects. Right chances look so here, too: sets whose cause was "
            "unlikely are cured, and their cause verified, less often."
        )
    if is_of_repairs and any(each.is_outside and each.observed > each.forecast for each in judged.diagram.bins):
        return (
            "Altogether jobs surprise it more than it expects. Repairs that it holds unlikely work more often than it "
            "says where people know more than they write down: enter what was seen, normal results too."
        )
    return "Altogether jobs surprise it more than it expects: it is too sure. Its highest chances are no proof."


def _chance(probability: float) -> str:
    return f"{percent(probability)} ({in_words(probability)})"
