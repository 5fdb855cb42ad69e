"""A tree in columns, as low as it can be: each place beside the middle of what follows from it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from faultnet.pictures.branches import Place


@dataclass
class Packing:
    """Tops of places by identity, filled column by column. heights: of every place; gap: between two in a column."""

    heights: Mapping[int, float]
    gap: float
    tops: dict[int, float] = field(default_factory=dict)
    _floors: list[float] = field(default_factory=list)

    def put(self, place: Place, top: float, column: int = 0) -> None:
        """Place it and all that follows, nothing above `top`, below what was put into the columns before."""
        while len(self._floors) <= column:
            self._floors.append(top)
        for each in place.places:
            self.put(each, top, column + 1)
        height, y = self.heights[id(place)], self._floors[column]
        if place.places:
            first, last = place.places[0], place.places[-1]
            middle = (self.tops[id(first)] + self.tops[id(last)] + self.heights[id(last)]) / 2
            if (below := y - (middle - height / 2)) > 0:
                self._lower(place, below, column)
            y = max(y, middle - height / 2)
        self.tops[id(place)] = y
        self._floors[column] = y + height + self.gap

    def _lower(self, place: Place, by: float, column: int) -> None:
        """All that follows moves down; it is the last in its columns."""
        deepest = column
        waiting = [(each, column + 1) for each in place.places]
        while waiting:
            each, at = waiting.pop()
            self.tops[id(each)] += by
            deepest = max(deepest, at)
            waiting += [(after, at + 1) for after in each.places]
        for at in range(column + 1, deepest + 1):
            self._floors[at] += by

    @property
    def bottom(self) -> float:
        """Where the lowest place ends."""
        return max(self._floors, default=0.0) - self.gap
