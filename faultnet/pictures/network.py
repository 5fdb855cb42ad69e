"""The network of a model in layers: what can be at fault above, what can be seen below, and how they hang together."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from faultnet.case import Case
from faultnet.diagnosis import Diagnosis
from faultnet.model import Model
from faultnet.pictures.box import Box
from faultnet.pictures.contents import boxes_of, kind_of, label_of, test_note
from faultnet.pictures.edges import edge_drawn
from faultnet.pictures.emphasis import Emphasis
from faultnet.pictures.graph import Graph
from faultnet.pictures.ink import INK, QUIET
from faultnet.pictures.layers import Laid, lay_out
from faultnet.pictures.marks import lines_of_text, paragraph, pitch_of
from faultnet.pictures.measure import wrap
from faultnet.pictures.rows import Rows, least_width, room_of_lanes, split_row
from faultnet.pictures.svg import group, picture
from faultnet.pictures.told import Told, told_by
from faultnet.words import percent

WIDTH = 1280.0
"""Of a picture in user units, which are pixels on a desk."""

NARROW = 700.0
"""Below this there is no room for what stands in each row to be written beside it."""

_MARGIN, _GUTTER = 16.0, 82.0
_TITLE, _SMALL = 18.0, 12.0
_PLURALS = {"component": "components", "condition": "conditions", "rail": "rails", "observation": "observations"}


def network_picture(
    model: Model,
    diagnosis: Diagnosis | None = None,
    case: Case | None = None,
    *,
    whole: bool | None = None,
    width: float = WIDTH,
) -> str:
    """The network as SVG, with how likely each component is faulty and what was seen.

    diagnosis: of the case; without one the boxes say what the nodes are. whole: every node and edge; else observations
    nobody looked at and conditions nobody gave are only named below (as usual with a case). width: at least so wide.
    """
    told, graph = told_by(model, case), Graph.of(model)
    is_whole = case is None if whole is None else whole
    aside = [] if is_whole else [node for node in graph.nodes if _is_aside(model, node, told)]
    return _Scene(model, diagnosis, told, graph.without(aside), tuple(aside), width).drawn()


def _is_aside(model: Model, node: str, told: Told) -> bool:
    """Whether a node can be left out: nobody looked at it, and it is no part of the answer."""
    if node in model.observations:
        return node not in told.seen
    return node in model.conditions and node not in told.given and node not in model.asked


@dataclass(frozen=True)
class _Scene:
    """All that a picture is made of."""

    model: Model
    diagnosis: Diagnosis | None
    told: Told
    graph: Graph
    aside: tuple[str, ...]
    width: float

    def drawn(self) -> str:
        """The picture."""
        emphasis = Emphasis(self.graph, self.told, self.diagnosis)
        widest = self._room - room_of_lanes(1)
        boxes = boxes_of(self.model, self.graph.nodes, self.diagnosis, self.told, emphasis.quiet, widest)
        head, top = self._head()
        rows = self._rows(boxes)
        room = max(self._room, least_width(rows))
        width = room + 2 * _MARGIN + self._gutter
        laid = lay_out(rows, _MARGIN + self._gutter, room, top)
        foot, bottom = self._foot(laid.bottom + 26, width)
        lines = sorted(self.graph.edges, key=emphasis.weight_of)  # what matters is drawn over what does not
        return picture(
            width,
            bottom + _MARGIN,
            self.model.title,
            self._description(),
            *head,
            group(*(edge_drawn(edge, laid, emphasis.weight_of(edge)) for edge in lines)),
            *(_captions(self.model, rows, laid) if self._has_captions else ()),
            *(boxes[node].drawn(laid.places[node]) for node in self.graph.nodes),
            *foot,
        )

    @property
    def _has_captions(self) -> bool:
        """Whether each row is of one kind, and there is room to write it beside it."""
        return self.width >= NARROW and not self.model.is_imported

    @property
    def _gutter(self) -> float:
        return _GUTTER if self._has_captions else 0.0

    @property
    def _room(self) -> float:
        """For boxes, from left to right."""
        return self.width - 2 * _MARGIN - self._gutter

    def _rows(self, boxes: Mapping[str, Box]) -> Rows:
        widths = {node: box.width for node, box in boxes.items()}
        rows: list[list[str]] = []
        for row in self.graph.rows():
            above = {node for each in rows for node in each}
            rows += self._split(row, above, widths)
        sizes = {node: (box.width, box.height) for node, box in boxes.items()}
        return Rows(rows, sizes, self.graph.edges)

    def _split(self, row: Sequence[str], above: Collection[str], widths: Mapping[str, float]) -> list[list[str]]:
        """A row in as many as hold it, beside the lines that pass it on their way down."""
        passing = {n for n in above if any(c not in above and c not in row for c in self.graph.children[n])}
        whole = list(split_row(row, widths, self._room - room_of_lanes(len(passing))))
        if len(whole) == 1:
            return whole
        passing |= {parent for node in row for parent in self.graph.parents[node]}
        return list(split_row(row, widths, self._room - room_of_lanes(len(passing))))

    def _description(self) -> str:
        """The picture for those who hear it."""
        size = f"{len(self.graph.nodes)} nodes, {len(self.graph.edges)} lines from causes to what they show."
        if self.diagnosis is None:
            return size
        chances = {c: self.diagnosis.faulty(c) for c in self.model.components}
        likeliest = sorted(chances, key=lambda c: -chances[c])[:3]
        named = (f"{self.model.components[c].label} {percent(chances[c])}" for c in likeliest)
        return f"{size} Likeliest to be faulty: {', '.join(named)}."

    def _head(self) -> tuple[list[str], float]:
        parts = lines_of_text(
            _MARGIN,
            _MARGIN,
            wrap(self.model.title, self.width - 2 * _MARGIN, _TITLE, bold=True),
            _TITLE,
            fill=INK,
            font_weight="bold",
        )
        y = _MARGIN + len(parts) * pitch_of(_TITLE) + 2
        told, y = paragraph(_MARGIN, y, self._legend(), self.width - 2 * _MARGIN, _SMALL)
        return parts + told, y + 16

    def _legend(self) -> str:
        said = f"{self.model.version}. Lines run down, from a cause to what it shows."
        if not self._has_captions:
            said += " Square boxes: components; round: rails; hardly rounded: observations; dashed: conditions."
        if self.diagnosis is None:
            return said
        between = "" if self.model.is_imported else "; the whisker and the numbers in brackets: its 90 % interval"
        return (
            f"{said} Bar and ground of a component: how likely it is faulty{between}. "
            "White on black: what was seen. Thick lines: from the likeliest component to what was seen."
        )

    def _foot(self, y: float, width: float) -> tuple[list[str], float]:
        """What is left out, by name."""
        unseen = [node for node in self.aside if node in self.model.observations]
        ungiven = [node for node in self.aside if node in self.model.conditions]
        parts: list[str] = []
        for heading, nodes in (("Not yet looked at", unseen), ("Not given, summed out", ungiven)):
            if nodes:
                named = [f"{label_of(self.model, n)} {test_note(self.model, n) or f'[{n}]'}" for n in nodes]
                parts += lines_of_text(_MARGIN, y, [heading], _SMALL, fill=INK, font_weight="bold")
                drawn, y = _columns(named, y + pitch_of(_SMALL) + 2, width)
                parts += drawn
        return parts, y


def _columns(entries: Sequence[str], y: float, width: float) -> tuple[list[str], float]:
    """Entries side by side, row by row, in as many columns as are wide enough to read."""
    n_columns = max(1, int((width - 2 * _MARGIN) // 285))
    pitch = (width - 2 * _MARGIN) / n_columns
    parts: list[str] = []
    for start in range(0, len(entries), n_columns):
        row = [wrap(entry, pitch - 14, _SMALL) for entry in entries[start : start + n_columns]]
        for n, lines in enumerate(row):
            parts += lines_of_text(_MARGIN + n * pitch, y, lines, _SMALL, fill=QUIET)
        y += max(map(len, row)) * pitch_of(_SMALL) + 4
    return parts, y + 8


def _captions(model: Model, rows: Rows, laid: Laid) -> Iterator[str]:
    """What stands in each row, once, at its left."""
    before = ""
    for row, y in zip(rows.rows, laid.tops, strict=True):
        kinds = {kind_of(model, node) for node in row}
        kind = _PLURALS[kinds.pop()] if len(kinds) == 1 else ""
        if kind and kind != before:
            yield from lines_of_text(_MARGIN, y + 4, [kind], _SMALL, fill=QUIET, font_style="italic")
        before = kind or before
