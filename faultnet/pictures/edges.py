"""Lines between boxes: straight down beside other boxes, bending only between rows."""

from collections.abc import Sequence
from itertools import pairwise

from faultnet.pictures.ink import FAINT, INK
from faultnet.pictures.layers import ARC, Laid, Place
from faultnet.pictures.rows import Edge
from faultnet.pictures.svg import path

_LINES = ((FAINT, 1.0), ("#7d8b99", 1.2), (INK, 2.4))


def edge_drawn(edge: Edge, laid: Laid, weight: int) -> str:
    """A line from a box to another, heavier the more it matters: 0, 1 or 2."""
    stroke, thickness = _LINES[weight]
    above, below = edge
    steps = _arc(laid.places[above], laid.places[below]) if edge in laid.arcs else _curve(laid.routes[edge])
    return path(steps, fill="none", stroke=stroke, stroke_width=thickness, data_from=above, data_to=below)


def _curve(corners: Sequence[tuple[float, float]]) -> list[str | float]:
    """Straight down beside boxes, bending only between rows."""
    steps: list[str | float] = ["M", *corners[0]]
    for n, ((x1, y1), (x2, y2)) in enumerate(pairwise(corners)):
        middle = (y1 + y2) / 2
        steps += ["L", x2, y2] if n % 2 == 0 else ["C", x1, middle, x2, middle, x2, y2]
    return steps


def _arc(start: Place, end: Place) -> list[str | float]:
    """Over the boxes between, with a point at its end."""
    side = 1 if end.middle > start.middle else -1
    x1, x2 = start.middle + side * start.width * 0.35, end.middle - side * end.width * 0.35
    top = min(start.y, end.y)
    curve: list[str | float] = ["M", x1, start.y, "C", x1, top - ARC, x2, top - ARC, x2, end.y]
    return [*curve, "M", x2 - 4, end.y - 7, "L", x2, end.y, "L", x2 + 4, end.y - 7]
