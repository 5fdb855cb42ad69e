"""A plan as a tree for one page across: what to do, what each answer leads to, how many sets come there."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from faultnet.model import Model
from faultnet.model.words import disclaimer
from faultnet.pictures.branches import Place, fitted, whole
from faultnet.pictures.cell import WIDTH as CELL
from faultnet.pictures.cell import Cell
from faultnet.pictures.ink import INK, QUIET
from faultnet.pictures.marks import lines_of_text, paragraph, pitch_of
from faultnet.pictures.measure import wrap
from faultnet.pictures.packed import Packing
from faultnet.pictures.svg import group, path, picture
from faultnet.plan import Plan
from faultnet.plan.words import numbered_cautions

WIDTH, HEIGHT = 1280.0, 905.0
"""A4 across, in user units."""

DEPTH = 5
"""Places one after another that such a page holds."""

_MARGIN, _TITLE, _SMALL, _CAUTION = 16.0, 18.0, 12.0, 11.0
_BETWEEN, _BELOW = 30.0, 5.0
_THINNEST, _THICKNESS = 1.4, 15.0
_FLOW = "#9aabbb"
_COLUMNS = 3


def plan_picture(model: Model, plan: Plan, *, depth: int = DEPTH, full: bool = False) -> str:
    """A plan as SVG, from left to right; a branch is as thick as many sets come there.

    As much as a page holds, where most sets come first; what is left out goes on, and how many steps that are is said.
    full: every branch instead, however high the picture; both at most `depth` steps deep. Cautions stand below.
    """

    def fits(first: Place) -> bool:
        return _Sheet(model, plan, first).height <= HEIGHT

    first = whole(model, plan, depth) if full else fitted(model, plan, depth, fits)
    return _Sheet(model, plan, first).drawn()


@dataclass(frozen=True)
class _Sheet:
    """A page with so much of a plan."""

    model: Model
    plan: Plan
    first: Place

    @cached_property
    def numbers(self) -> Mapping[int, int]:
        """The number of each step that is drawn, by the identity of its place."""
        steps = (place for place in self.first.all() if place.step is not None)
        return {id(place): n for n, place in enumerate(steps, 1)}

    @cached_property
    def cells(self) -> Mapping[int, Cell]:
        return {id(place): Cell(self.model, place, self.numbers.get(id(place), 0)) for place in self.first.all()}

    @cached_property
    def width(self) -> float:
        """A page's; more of a plan that is deeper."""
        depth = _depth(self.first)
        return max(WIDTH, 2 * _MARGIN + depth * CELL + (depth - 1) * _BETWEEN)

    @cached_property
    def height(self) -> float:
        """How high the picture is."""
        return self._foot[1] + _MARGIN / 2

    @cached_property
    def _head(self) -> tuple[list[str], float]:
        title = f"Plan: {self.model.title}"
        room = self.width - 2 * _MARGIN
        parts = lines_of_text(
            _MARGIN, _MARGIN, wrap(title, room, _TITLE, bold=True), _TITLE, fill=INK, font_weight="bold"
        )
        said, y = paragraph(_MARGIN, _MARGIN + len(parts) * pitch_of(_TITLE) + 2, self._costs(), room, _SMALL)
        return parts + said, y + 12

    def _costs(self) -> str:
        cost, money = self.plan.cost, self.plan.currency or "the shop's money"
        low = "none is cheaper" if cost.is_exact else f"no plan costs less than {cost.lower:.0f}"
        return (
            f"{self.model.version}. Expected cost {cost.upper:.0f} ({low}), giving up now {self.plan.giving_up:.0f}, "
            f"in {money}: time, hazards, parts, harm, comebacks, a working set lost. Percent: of sets like this that "
            "come there; a branch is as thick. To come: expected cost from there on. Thick frame: a repair."
        )

    @cached_property
    def _foot(self) -> tuple[list[str], float]:
        y = self._packing.bottom + 10
        steps = [place.step for place in self.first.all() if place.step is not None]
        parts = lines_of_text(_MARGIN, y, ["Before these steps"], _SMALL, fill=INK, font_weight="bold")
        drawn, y = _columns(list(numbered_cautions(steps)), y + pitch_of(_SMALL) + 2, self.width)
        end, y = paragraph(_MARGIN, y + 4, disclaimer(self.model), self.width - 2 * _MARGIN, _SMALL)
        return parts + drawn + end, y

    @cached_property
    def _packing(self) -> Packing:
        packing = Packing({key: cell.height for key, cell in self.cells.items()}, _BELOW)
        packing.put(self.first, self._head[1])
        return packing

    def drawn(self) -> str:
        """The picture."""
        flows, cells = list[str](), list[str]()
        self._draw(self.first, _MARGIN, flows, cells)
        title, said = f"Plan: {self.model.title}", f"{len(self.numbers)} steps, first: {self.plan.first.label}."
        (head, _), (foot, _) = self._head, self._foot
        return picture(self.width, self.height, title, said, *head, group(*flows), *cells, *foot)

    def _draw(self, place: Place, x: float, flows: list[str], cells: list[str]) -> None:
        """Draw a place at x, and all after it."""
        cells.append(self.cells[id(place)].drawn(x, self._packing.tops[id(place)]))
        port = self._middle(place) - sum(map(_thickness, place.places)) / 2
        for each in place.places:
            thick = _thickness(each)
            flows.append(_flow(x + CELL, port + thick / 2, x + CELL + _BETWEEN, self._middle(each), thick))
            self._draw(each, x + CELL + _BETWEEN, flows, cells)
            port += thick

    def _middle(self, place: Place) -> float:
        return self._packing.tops[id(place)] + self.cells[id(place)].height / 2


def _depth(place: Place) -> int:
    return 1 + max(map(_depth, place.places), default=0)


def _thickness(place: Place) -> float:
    return max(_THINNEST, _THICKNESS * place.reached)


def _flow(x1: float, y1: float, x2: float, y2: float, thickness: float) -> str:
    middle = (x1 + x2) / 2
    curve: list[str | float] = ["M", x1, y1, "C", middle, y1, middle, y2, x2, y2]
    return path(curve, fill="none", stroke=_FLOW, stroke_width=thickness)


def _columns(texts: Sequence[str], y: float, width: float) -> tuple[list[str], float]:
    """Sentences in columns, one after another down each, and where they end."""
    pitch = (width - 2 * _MARGIN) / _COLUMNS
    wrapped = [wrap(text, pitch - 18, _CAUTION) for text in texts]
    longest = sum(map(len, wrapped)) / _COLUMNS
    parts: list[str] = []
    column, down, lowest = 0, 0, 0
    for lines in wrapped:
        if down + len(lines) / 2 > longest and column < _COLUMNS - 1:
            column, down = column + 1, 0
        parts += lines_of_text(_MARGIN + column * pitch, y + down * pitch_of(_CAUTION), lines, _CAUTION, fill=QUIET)
        down += len(lines)
        lowest = max(lowest, down)
    return parts, y + lowest * pitch_of(_CAUTION)
