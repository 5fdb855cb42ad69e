"""Boxes in rows, and lines between them that never run through a box.

A line to a row further down passes the rows between in a *lane* of its own, which all lines from the same box share.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from faultnet.pictures.ordering import middles_of
from faultnet.pictures.rows import Edge, Item, Rows

ROW_GAP, CROWDED_GAP, CROWDED_FROM = 42.0, 64.0, 14
"""Between two rows, and where more lines than that end in the lower one."""

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


def lay_out(rows: Rows, left: float, width: float, top: float) -> Laid:
    """Everything placed from `left` on within this width, the first row at `top`. ValueError: it does not fit."""
    middles = middles_of(rows, width)
    arcs = tuple(edge for edge in rows.edges if rows.row_of[edge[0]] == rows.row_of[edge[1]])
    tops = _tops(rows, top)
    places = {
        box: Place(left + middles[box, n] - rows.sizes[box][0] / 2, tops[n], *rows.sizes[box])
        for n, row in enumerate(rows.rows)
        for box in row
    }
    bands = [(y, y + _height(rows, n)) for n, y in enumerate(tops)]
    lanes = {item: (left + x, *bands[item[1]]) for item, x in middles.items()}
    ports = _ports(rows, middles)
    routes = {edge: _route(rows, edge, places, lanes, ports[edge]) for edge in rows.edges if edge not in arcs}
    return Laid(places, routes, arcs, tuple(tops), bands[-1][1] if bands else top)


def _route(
    rows: Rows,
    edge: Edge,
    places: Mapping[str, Place],
    lanes: Mapping[Item, tuple[float, float, float]],
    port: float,
) -> tuple[tuple[float, float], ...]:
    """The corners of a line: two for each row it leaves or passes, and its end. lanes: x, and from where to where."""
    start, end = places[edge[0]], places[edge[1]]
    own, *passed, _ = rows.stations(edge)
    corners = [(start.middle, start.y + start.height), (start.middle, lanes[own][2])]
    for x, top, bottom in (lanes[item] for item in passed):
        corners += [(x, top), (x, bottom)]
    return (*corners, (end.middle + port, end.y))


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
