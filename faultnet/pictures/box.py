"""A node of a network as a box: what stands in it, how large that is, how it is drawn."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from faultnet.pictures.ink import FAINT, INK, ON_SEEN, QUIET, SEEN, lit
from faultnet.pictures.layers import Place
from faultnet.pictures.marks import INTERVAL, Between, bar, lines_of_text, pitch_of
from faultnet.pictures.measure import wrap
from faultnet.pictures.svg import group, rect, text
from faultnet.words import percent, percent_range

COMPONENT, CONDITION, RAIL, OBSERVATION = "component", "condition", "rail", "observation"

LABEL, NOTE, CHANCE = 12.0, 11.0, 14.0
_PAD, _BAR, _ROW = 7.0, 9.0, 21.0
_RADIUS = {RAIL: 14.0, OBSERVATION: 4.0}
_NAME_SHARE = 0.46
"""Of the width of a box with several chances, what their names take."""


@dataclass(frozen=True)
class Chance:
    """How likely something is; name: "" where it is what the box is about."""

    name: str
    probability: float
    between: Between


@dataclass(frozen=True)
class Box:
    """A node. label and notes: words; band: what was seen or is given; is_quiet: it does not matter here."""

    id: str
    kind: str
    width: float
    label: str
    note: str = ""
    band: str = ""
    chances: tuple[Chance, ...] = ()
    is_quiet: bool = False

    @cached_property
    def label_lines(self) -> list[str]:
        return wrap(self.label, self._room, LABEL, bold=self.is_bold)

    @cached_property
    def note_lines(self) -> list[str]:
        return wrap(self.note, self._room, NOTE)

    @cached_property
    def band_lines(self) -> list[str]:
        return wrap(self.band, self._room, LABEL, bold=True)

    @property
    def is_bold(self) -> bool:
        return self.kind == COMPONENT or bool(self.band)

    @property
    def _room(self) -> float:
        return self.width - 2 * _PAD

    @property
    def is_one_chance(self) -> bool:
        return len(self.chances) == 1 and not self.chances[0].name

    @property
    def _chances_height(self) -> float:
        if self.is_one_chance:
            return _BAR + INTERVAL + CHANCE + 3
        return sum(_row_height(lines) for lines in self._names)

    @property
    def _text_height(self) -> float:
        return len(self.label_lines) * pitch_of(LABEL) + len(self.note_lines) * pitch_of(NOTE)

    @property
    def band_height(self) -> float:
        return len(self.band_lines) * pitch_of(LABEL) + 8 if self.band else 0.0

    @property
    def height(self) -> float:
        """How high it has to be."""
        return 2 * _PAD + self._text_height + self._chances_height + self.band_height

    @cached_property
    def _names(self) -> list[list[str]]:
        return [wrap(chance.name, self._room * _NAME_SHARE - 6, NOTE) for chance in self.chances]

    def drawn(self, place: Place) -> str:
        """The box at a place."""
        x, y = place.x + _PAD, place.y + _PAD - 1
        ink = QUIET if self.is_quiet else INK
        parts = [
            self._outline(place),
            *lines_of_text(x, y, self.label_lines, LABEL, fill=ink, font_weight=self._weight),
        ]
        y += len(self.label_lines) * pitch_of(LABEL)
        parts += lines_of_text(x, y, self.note_lines, NOTE, fill=QUIET)
        y += len(self.note_lines) * pitch_of(NOTE) + 5
        parts += self._one(x, y) if self.is_one_chance else list(self._several(x, y))
        return group(*parts, *self._band(place))

    @property
    def _weight(self) -> str | None:
        return "bold" if self.is_bold else None

    def _outline(self, place: Place) -> str:
        stroke = FAINT if self.is_quiet else INK if self.kind == COMPONENT or self.band else QUIET
        return rect(
            place.x,
            place.y,
            place.width,
            place.height,
            rx=_RADIUS.get(self.kind),
            fill=lit(self.chances[0].probability) if self.is_one_chance else "#ffffff",
            stroke=stroke,
            stroke_width=1.8 if self.kind == COMPONENT else 1.2,
            stroke_dasharray="5 3" if self.kind == CONDITION else None,
            data_node=self.id,
        )

    def _one(self, x: float, y: float) -> list[str]:
        (chance,) = self.chances
        between = "" if chance.between is None else f"({percent_range(*chance.between)})"
        below = y + _BAR + INTERVAL + CHANCE - 1
        return [
            *bar(x, y, self._room, _BAR, chance.probability, chance.between),
            text(x, below, percent(chance.probability), font_size=CHANCE, font_weight="bold", fill=INK),
            text(x + self._room, below, between, font_size=NOTE, text_anchor="end", fill=INK),
        ]

    def _several(self, x: float, y: float) -> Iterator[str]:
        named = self._room * _NAME_SHARE
        width = self._room - named - 118
        for chance, lines in zip(self.chances, self._names, strict=True):
            between = "" if chance.between is None else f"({percent_range(*chance.between)})"
            yield from lines_of_text(x, y, lines, NOTE, fill=INK)
            yield from bar(x + named, y + 2, width, _BAR, chance.probability, chance.between)
            end = x + named + width + 44
            yield text(end, y + NOTE, percent(chance.probability), text_anchor="end", font_weight="bold", fill=INK)
            yield text(x + self._room, y + NOTE, between, font_size=NOTE, text_anchor="end", fill=INK)
            y += _row_height(lines)

    def _band(self, place: Place) -> Iterator[str]:
        if not self.band:
            return
        top = place.y + place.height - self.band_height
        yield rect(place.x, top, place.width, self.band_height, rx=_RADIUS.get(self.kind), fill=SEEN)
        yield from lines_of_text(place.x + _PAD, top + 2, self.band_lines, LABEL, fill=ON_SEEN, font_weight="bold")


def _row_height(lines: list[str]) -> float:
    """Of a chance among several, named in these lines."""
    return max(_ROW, len(lines) * pitch_of(NOTE) + 5)
