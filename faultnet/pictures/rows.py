"""Boxes in rows with lines between them: what stands in each row, and how much of it there is room for."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

Edge = tuple[str, str]
Item = tuple[str, int]
"""A box or a lane: the box it belongs to, and the row it is in."""

BETWEEN_BOXES, BESIDE_LANE, BETWEEN_LANES = 12.0, 9.0, 7.0


@dataclass(frozen=True)
class Rows:
    """What is to be laid out. sizes: width and height of each box; edges: none leads to a row further up."""

    rows: Sequence[Sequence[str]]
    sizes: Mapping[str, tuple[float, float]]
    edges: Sequence[Edge]

    @cached_property
    def row_of(self) -> Mapping[str, int]:
        return {box: n for n, row in enumerate(self.rows) for box in row}

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


def gap(rows: Rows, left: Item, right: Item) -> float:
    """What is left free at least between two that stand beside each other."""
    n_boxes = rows.is_box(left) + rows.is_box(right)
    return (BETWEEN_LANES, BESIDE_LANE, BETWEEN_BOXES)[n_boxes]


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
