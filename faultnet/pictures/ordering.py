"""In which order boxes and lanes stand in their rows, and where, so that few lines cross.

Rows are ordered by barycentres, down and up again (Sugiyama, Tagawa & Toda 1981), and the order with the fewest
crossings is kept. Everything is deterministic.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise

from faultnet.pictures.rows import Item, Rows, gap
from faultnet.pictures.spread import spread

SWEEPS, RELAXED = 24, 16


def middles_of(rows: Rows, width: float) -> dict[Item, float]:
    """The middle of every item, in the best order found."""
    items, links = rows.items(), rows.links()
    above: dict[Item, list[Item]] = {item: [] for row in items for item in row}
    below: dict[Item, list[Item]] = {item: [] for row in items for item in row}
    for a, b in links:
        above[b].append(a)
        below[a].append(b)
    middles: dict[Item, float] = {}
    for row in items:
        middles |= _placed(rows, row, {item: width * (n + 0.5) / len(row) for n, item in enumerate(row)}, width)
    best, fewest = middles, _crossings(middles, links)
    for number in range(SWEEPS):
        goes_down = number % 2 == 0
        neighbours = above if goes_down else below
        for row in items if goes_down else reversed(items):
            wanted = {i: _mean(middles, neighbours[i] or [i]) for i in row}
            middles = middles | _placed(rows, sorted(row, key=lambda i: (wanted[i], middles[i])), wanted, width)
        if (crossings := _crossings(middles, links)) < fewest:
            best, fewest = middles, crossings
    joined = {item: above[item] + below[item] for item in above}
    return _centred(rows, _relaxed(rows, items, joined, best, width), width)


def _relaxed(
    rows: Rows, items: list[list[Item]], joined: Mapping[Item, list[Item]], middles: dict[Item, float], width: float
) -> dict[Item, float]:
    """The same order, every item as near to all it is joined to as there is room."""
    for _ in range(RELAXED):
        for row in items:
            wanted = {i: _mean(middles, joined[i] or [i]) for i in row}
            middles = middles | _placed(rows, sorted(row, key=lambda i: middles[i]), wanted, width)
    return middles


def _centred(rows: Rows, middles: Mapping[Item, float], width: float) -> dict[Item, float]:
    """The same, all of it moved to the middle."""
    left = min((x - rows.width_of(item) / 2 for item, x in middles.items()), default=0.0)
    right = max((x + rows.width_of(item) / 2 for item, x in middles.items()), default=width)
    return {item: x + (width - right - left) / 2 for item, x in middles.items()}


def _mean(middles: Mapping[Item, float], items: Sequence[Item]) -> float:
    return sum(middles[item] for item in items) / len(items)


def _placed(rows: Rows, order: Sequence[Item], wanted: Mapping[Item, float], width: float) -> dict[Item, float]:
    gaps = [(rows.width_of(a) + rows.width_of(b)) / 2 + gap(rows, a, b) for a, b in pairwise(order)]
    ends = (rows.width_of(order[0]) / 2, width - rows.width_of(order[-1]) / 2) if order else (0.0, width)
    return dict(zip(order, spread([wanted[item] for item in order], gaps, *ends), strict=True))


def _crossings(middles: Mapping[Item, float], links: Sequence[tuple[Item, Item]]) -> int:
    """How often lines from one row to the next cross."""
    by_row: dict[int, list[tuple[float, float]]] = {}
    for a, b in links:
        by_row.setdefault(a[1], []).append((middles[a], middles[b]))
    return sum(_inversions(sorted(lines)) for lines in by_row.values())


def _inversions(lines: Sequence[tuple[float, float]]) -> int:
    return sum(b < a for n, (_, a) in enumerate(lines) for _, b in lines[n + 1 :])
