"""Boxes in rows, and lines between them that never run through a box.

A line to a row further down passes the rows between in a *lane* of its own, which all lines from the same box share.
Rows are ordered by barycentres, up and down again and again (Sugiyama, Tagawa & Toda 1981), and the order with the
fewest crossings is kept. Everything is deterministic.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from faultnet.plots.spread import spread

Edge = tuple[str, str]
Item = tuple[str, int]
"""A box or a lane: the box it belongs to, and the row it is in."""

BETWEEN_BOXES, BESIDE_LANE, BETWEEN_LANES = 12.0, 9.0, 7.0
ROW_GAP, CROWDED_GAP, CROWDED_FROM = 42.0, 64.0, 14
SWEEPS, RELAXED = 24, 16
_PORT = 11.0
"""Between the ends of two lines at the top of a box, where it has room."""

ARC = 26.0
"""How far an arc between boxes of one row reaches up; a row whose boxes are joined needs that above it."""


@dataclass(frozen=True)
class Place:
    """A box: its upper left corner and its size."""

    x: float
    y: float
    width: float
    height: float

    @property
    def middle(self) -> float:
        """Where it is, from left to right."""
        return self.x + self.width / 2


@dataclass(frozen=True)
class Laid:
    """Where all is. routes: of each line its corners: from a box down to a row, through its lane, on to the next."""

    places: Mapping[str, Place]
    routes: Mapping[Edge, tuple[tuple[float, float], ...]]
    arcs: tuple[Edge, ...]
    tops: tuple[float, ...]
    bottom: float


@dataclass(frozen=True)
class Rows:
    """What is to be laid out. sizes: width and height of each box; edges: none leads to a row further up."""

    rows: Sequence[Sequence[str]]
    sizes: Mapping[str, tuple[float, float]]
    edges: Sequence[Edge]
    row_of: Mapping[str, int] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "row_of", {box: n for n, row in enumerate(self.rows) for box in row})

    def width_of(self, item: Item) -> float:
        return self.sizes[item[0]][0] if self.is_box(item) else 0.0

    def is_box(self, item: Item) -> bool:
        return self.row_of[item[0]] == item[1]

    def items(self) -> list[list[Item]]:
        """Boxes and lanes of each row."""
        deepest = dict.fromkeys(self.row_of, 0)
        for above, below in self.edges:
            deepest[above] = max(deepest[above], self.row_of[below])
        return [
            [*((box, n) for box in row), *((b, n) for b in self.row_of if self.row_of[b] < n < deepest[b])]
            for n, row in enumerate(self.rows)
        ]

    def links(self) -> list[tuple[Item, Item]]:
        """What is joined from one row to the next, each pair once."""
        found: dict[tuple[Item, Item], None] = {}
        for edge in self.edges:
            found.update(dict.fromkeys(pairwise(self.stations(edge))))
        return list(found)

    def stations(self, edge: Edge) -> list[Item]:
        """The items that a line passes, one a row."""
        above, below = edge
        between = range(self.row_of[above], self.row_of[below])
        return [*((above, n) for n in between), (below, self.row_of[below])]


def least_width(rows: Rows) -> float:
    """The narrowest that all rows fit into, however they are ordered."""
    return max((_most_taken(rows, items) for items in rows.items()), default=0.0)


def _most_taken(rows: Rows, items: Sequence[Item]) -> float:
    """What a row takes at most; lanes take most at its two ends."""
    n_boxes = sum(map(rows.is_box, items))
    n_lanes = len(items) - n_boxes
    return sum(map(rows.width_of, items)) + BETWEEN_BOXES * max(0, n_boxes - 1) + room_of_lanes(n_lanes)


def room_of_lanes(n_lanes: int) -> float:
    """What so many lanes take at most in a row of boxes."""
    return BETWEEN_LANES * n_lanes + (BESIDE_LANE - BETWEEN_LANES) * min(2, n_lanes)


def _gap(rows: Rows, left: Item, right: Item) -> float:
    n_boxes = rows.is_box(left) + rows.is_box(right)
    return (BETWEEN_LANES, BESIDE_LANE, BETWEEN_BOXES)[n_boxes]


def lay_out(rows: Rows, left: float, width: float, top: float) -> Laid:
    """Everything placed from `left` on within this width, the first row at `top`. ValueError: it does not fit."""
    middles = _ordered(rows, width)
    arcs = tuple(edge for edge in rows.edges if rows.row_of[edge[0]] == rows.row_of[edge[1]])
    tops = _tops(rows, top)
    places = {
        box: Place(left + middles[box, n] - rows.sizes[box][0] / 2, tops[n], *rows.sizes[box])
        for n, row in enumerate(rows.rows)
        for box in row
    }
    floors = [y + _height(rows, n) for n, y in enumerate(tops)]
    ports = _ports(rows, middles)
    routes = {}
    for edge in rows.edges:
        if edge in arcs:
            continue
        stations = rows.stations(edge)
        start, end = places[edge[0]], places[edge[1]]
        corners = [(start.middle, start.y + start.height), (start.middle, floors[stations[0][1]])]
        for item in stations[1:-1]:
            x = left + middles[item]
            corners += [(x, tops[item[1]]), (x, floors[item[1]])]
        routes[edge] = (*corners, (end.middle + ports[edge], end.y))
    return Laid(places, routes, arcs, tuple(tops), floors[-1] if floors else top)


def _tops(rows: Rows, top: float) -> list[float]:
    """Where each row begins; more room above a row that many lines lead to."""
    tops: list[float] = []
    links = rows.links()
    for n in range(len(rows.rows)):
        if tops:
            n_lines = sum(b[1] == n for _, b in links)
            top += _height(rows, n - 1) + (CROWDED_GAP if n_lines >= CROWDED_FROM else ROW_GAP)
        elif any(rows.row_of[a] == rows.row_of[b] == 0 for a, b in rows.edges):
            top += ARC
        tops.append(top)
    return tops


def _height(rows: Rows, number: int) -> float:
    return max((rows.sizes[box][1] for box in rows.rows[number]), default=0.0)


def _ports(rows: Rows, middles: Mapping[Item, float]) -> dict[Edge, float]:
    """How far beside its middle each line ends at a box, so that lines end beside each other in the order they come."""
    ports: dict[Edge, float] = {}
    for box, row in rows.row_of.items():
        ends = [edge for edge in rows.edges if edge[1] == box and rows.row_of[edge[0]] < row]
        ends.sort(key=lambda edge: middles[rows.stations(edge)[-2]])
        step = min(_PORT, (rows.sizes[box][0] - 24) / max(1, len(ends) - 1))
        ports |= {edge: (n - (len(ends) - 1) / 2) * step for n, edge in enumerate(ends)}
    return ports


# -- in which order --------------------------------------------------------------------------------------------------


def _ordered(rows: Rows, width: float) -> dict[Item, float]:
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
    gaps = [(rows.width_of(a) + rows.width_of(b)) / 2 + _gap(rows, a, b) for a, b in pairwise(order)]
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


def split_row(boxes: Sequence[str], widths: Mapping[str, float], room: float) -> Iterator[list[str]]:
    """Boxes that are too many for one row in as few as hold them, about equally many in each, in the order given."""
    n_rows = 1
    while n_rows < len(boxes) and any(
        sum(widths[b] + BETWEEN_BOXES for b in part) - BETWEEN_BOXES > room for part in _parts(boxes, n_rows)
    ):
        n_rows += 1
    yield from (row for row in _parts(boxes, n_rows) if row)


def _parts(boxes: Sequence[str], n_parts: int) -> list[list[str]]:
    ends = [round(n * len(boxes) / n_parts) for n in range(n_parts + 1)]
    return [list(boxes[a:b]) for a, b in pairwise(ends)]
