"""A reliability diagram as a table, and what it means in words."""

from collections.abc import Iterator

from faultnet.analysis.judged import Judged
from faultnet.statistics.reliability import HELD, Bin, Diagram
from faultnet.telling.block import Table
from faultnet.words import in_words, percent, percent_range

_WIDTH = 29
"""Cells from 0 to 100 %."""

_SELDOM = 0.1
"""Nobody acts on what is less likely."""

_CLEAR = 1.645
"""Standard deviations that forecasts which are right go beyond one time in ten."""


def diagram_table(shown: Diagram, *, draws: bool) -> Table:
    """A row for each bin: what was said, how often it was so, where right ones lie. draws: and drawn in letters."""
    scale = "0 %" + "50 %".center(_WIDTH - 6)[: _WIDTH - 6] + "100"
    rows = [
        (
            percent(each.forecast),
            f"{each.happened} of {each.n}",
            percent(each.observed),
            percent_range(each.low, each.high),
            *([_picture(each)] if draws else []),
        )
        for each in shown.bins
    ]
    header = ("said", "it was so", "", "right", *([scale] if draws else []))
    return Table(tuple(rows), header, "rrrrl" if draws else "rrrr")


def legend(*, draws: bool) -> str:
    """What the marks of such a table mean."""
    where = f"where {percent(HELD)} of right forecasts lie, in all lines at once."
    return f"o: how often it was so (X outside); +: what was said; -: {where}" if draws else f"right: {where}"


def _picture(each: Bin) -> str:
    cells = [" "] * _WIDTH
    places = each.low, each.high, each.forecast, each.observed
    low, high, said, seen = (round(value * (_WIDTH - 1)) for value in places)
    cells[low : high + 1] = "-" * (high + 1 - low)
    cells[said] = "+"
    cells[seen] = "X" if each.is_outside else "o"
    return "".join(cells)


def of_repairs(judged: Judged) -> Iterator[str]:
    """What the diagram of first repairs means for a shop owner, in sentences."""
    yield _for_example(judged.diagram)
    yield from _outside(judged.diagram)
    z = judged.watch.overall_z
    if abs(z) < _CLEAR:
        yield "Altogether jobs surprise it about as much as it expects: it is neither too sure nor too cautious."
    elif z < 0:
        yield "Altogether jobs surprise it less than it expects: it is too cautious."
    elif any(each.is_outside and each.observed > each.forecast for each in judged.diagram.bins):
        yield (
            "Altogether jobs surprise it more than it expects. Repairs that it holds unlikely work more often than it "
            "says where people know more than they write down: enter what was seen, normal results too."
        )
    else:
        yield "Altogether jobs surprise it more than it expects: it is too sure. Its highest chances are no proof."


def of_causes(judged: Judged) -> Iterator[str]:
    """The same of causes, which only verified cures tell of."""
    z = judged.watch.overall_z
    look = "too sure" if z >= _CLEAR else "too cautious" if z <= -_CLEAR else "neither too sure nor too cautious"
    yield _for_example(judged.diagram)
    yield (
        f"These chances look {look}; right ones would look too cautious here, since sets whose cause was not the "
        "likeliest are given up more often, and their cause is never verified. Whether chances hold, first repairs say."
    )


def _for_example(shown: Diagram) -> str:
    bins = [each for each in shown.bins if each.forecast >= _SELDOM] or shown.bins
    nearest = min(bins, key=lambda each: abs(each.forecast - 2 / 3))
    chance = f"{percent(nearest.forecast)} ({in_words(nearest.forecast)})"
    return f"When it says {chance}, it is so in {nearest.happened} of {nearest.n}."


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
