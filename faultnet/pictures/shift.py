"""Before and after: chances that moved, each as an arrow between two marks on one scale, the largest change first."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

from faultnet.diagnosis import Diagnosis
from faultnet.model import ModeId, Model
from faultnet.model.chances import SHARES, Chances
from faultnet.pictures.ink import FAINT, INK, QUIET
from faultnet.pictures.marks import Between, lines_of_text, paragraph, pitch_of
from faultnet.pictures.measure import wrap
from faultnet.pictures.scale import end_of, marks_of
from faultnet.pictures.standing import standing
from faultnet.pictures.svg import circle, line, path, picture, text
from faultnet.words import percent, percent_range

WIDTH = 480.0
_MARGIN, _TITLE, _NAME, _SMALL = 14.0, 17.0, 13.0, 12.0
_DOT, _APART, _AFTER = 5.0, 9.0, 14.0


@dataclass(frozen=True)
class Mark:
    """A chance with its 90 % interval, None where it has none."""

    chance: float
    between: Between


@dataclass(frozen=True)
class Shift:
    """What moved, from where and to where."""

    name: str
    before: Mark
    after: Mark

    @property
    def size(self) -> float:
        return abs(self.after.chance - self.before.chance)


def shift_picture(model: Model, before: Diagnosis | Chances, after: Diagnosis | Chances) -> str:
    """Two diagnoses of a model, or two versions of chances that it has (its shares), as SVG.

    ValueError: the one is a diagnosis and the other is not, or they are not about the same.
    """
    if isinstance(before, Diagnosis) and isinstance(after, Diagnosis):
        return draw_shifts(f"{model.title}: before and after", _of_diagnoses(model, before, after))
    if isinstance(before, Chances) and isinstance(after, Chances) and before.states == after.states:
        what = "shares of the confirmed jobs" if after.id == SHARES else after.id
        behind = f"After: {after.jobs:.0f} past jobs behind it." if after.jobs else ""
        return draw_shifts(f"{model.title}: {what}, before and after", _of_chances(model, before, after), behind)
    raise ValueError("two diagnoses, or twice the same chances")


def _of_diagnoses(model: Model, before: Diagnosis, after: Diagnosis) -> list[Shift]:
    """Of each component how likely it is faulty; of a single one each mode; of what is asked each state."""
    was = {row.id: row for row in standing(model, before)}
    now = [row for row in standing(model, after) if not row.is_part]
    return [
        Shift(row.name, Mark(was[row.id].chance, was[row.id].between), Mark(row.chance, row.between)) for row in now
    ]


def _of_chances(model: Model, before: Chances, after: Chances) -> list[Shift]:
    return [
        Shift(
            model.mode_label(ModeId.parse(state)) if after.id == SHARES else state.replace("_", " "),
            Mark(before.means[n], before.interval(n)),
            Mark(after.means[n], after.interval(n)),
        )
        for n, state in enumerate(after.states)
    ]


def draw_shifts(title: str, shifts: Sequence[Shift], behind: str = "") -> str:
    """The picture of what moved, the largest change first."""
    room = WIDTH - 2 * _MARGIN
    parts = lines_of_text(_MARGIN, _MARGIN, wrap(title, room, _TITLE, bold=True), _TITLE, fill=INK, font_weight="bold")
    y = _MARGIN + len(parts) * pitch_of(_TITLE) + 2
    legend = f"Hollow: before. Filled: after. Lines: 90 % intervals. {behind}"
    said, y = paragraph(_MARGIN, y, legend, room, _SMALL)
    ordered = sorted(shifts, key=lambda shift: -shift.size)
    ends = [end for s in ordered for m in (s.before, s.after) for end in (m.chance, *(m.between or ()))]
    end = end_of(max(ends, default=1.0))
    top = y + 26
    rows, bottom = [], top
    for shift in ordered:
        drawn, bottom = _row(shift, bottom, end)
        rows += drawn
    description = "; ".join(f"{s.name}: {percent(s.before.chance)}, then {percent(s.after.chance)}" for s in ordered)
    return picture(WIDTH, bottom + _MARGIN, title, f"{description}.", *parts, *said, *_scale(end, top - 8), *rows)


def _x(chance: float, end: float) -> float:
    return _MARGIN + _DOT + (WIDTH - 2 * _MARGIN - 2 * _DOT) * chance / end


def _scale(end: float, y: float) -> list[str]:
    """The numbers of the scale, above its rows."""
    anchors = {0.0: ("start", _MARGIN), end: ("end", WIDTH - _MARGIN)}
    parts: list[str] = []
    for mark in marks_of(end):
        anchor, x = anchors.get(mark, ("middle", _x(mark, end)))
        parts.append(text(x, y, f"{100 * mark:.0f} %", font_size=11, fill=QUIET, text_anchor=anchor))
    return parts


def _row(shift: Shift, y: float, end: float) -> tuple[list[str], float]:
    """Name and numbers, below them both marks with their intervals, and where the next row begins."""
    said = f"was {percent(shift.before.chance)}, now {_told(shift.after)}"
    names = wrap(shift.name, WIDTH - 2 * _MARGIN - 200, _NAME, bold=True)
    above = y + len(names) * pitch_of(_NAME) + 10
    below = above + _APART
    x1, x2 = _x(shift.before.chance, end), _x(shift.after.chance, end)
    parts = [
        *lines_of_text(_MARGIN, y, names, _NAME, fill=INK, font_weight="bold"),
        text(WIDTH - _MARGIN, y + _NAME, said, font_size=_SMALL, fill=INK, text_anchor="end"),
        *(line(_x(m, end), above - 6, _x(m, end), below + 6, stroke=FAINT, stroke_width=1) for m in marks_of(end)),
        *_interval(shift.before, above, end, 1.2),
        *_interval(shift.after, below, end, 2.4),
        path(_arrow(x1, above, x2, below), stroke=INK, stroke_width=1.6, fill="none"),
        circle(x1, above, _DOT, fill="#ffffff", stroke=INK, stroke_width=1.6),
        circle(x2, below, _DOT, fill=INK),
    ]
    return parts, below + _DOT + _AFTER


def _told(mark: Mark) -> str:
    return percent(mark.chance) + ("" if mark.between is None else f" ({percent_range(*mark.between)})")


def _interval(mark: Mark, y: float, end: float, thickness: float) -> list[str]:
    if mark.between is None:
        return []
    low, high = (_x(value, end) for value in mark.between)
    return [line(low, y, high, y, stroke=QUIET, stroke_width=thickness)]


def _arrow(x1: float, y1: float, x2: float, y2: float) -> list[str | float]:
    """A line between the middles of two marks, with a point short of the second where there is room for one."""
    steps: list[str | float] = ["M", x1, y1, "L", x2, y2]
    length = hypot(x2 - x1, y2 - y1)
    if length < 4 * _DOT:
        return steps
    ux, uy = (x2 - x1) / length, (y2 - y1) / length
    tip_x, tip_y = x2 - ux * (_DOT + 1), y2 - uy * (_DOT + 1)
    sides = [(tip_x - 7 * ux + side * 4 * uy, tip_y - 7 * uy - side * 4 * ux) for side in (-1, 1)]
    return [*steps, "M", *sides[0], "L", tip_x, tip_y, "L", *sides[1]]
