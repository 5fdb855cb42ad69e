"""Where a set stands, as bars: how likely each component is faulty, how sure that is, in which way."""

from faultnet.diagnosis import Diagnosis
from faultnet.model import Model
from faultnet.model.words import disclaimer, numbers_words
from faultnet.pictures.ink import INK, QUIET
from faultnet.pictures.marks import INTERVAL, bar, lines_of_text, paragraph, pitch_of
from faultnet.pictures.measure import wrap
from faultnet.pictures.standing import Row, standing
from faultnet.pictures.svg import picture, rect, text
from faultnet.words import in_words, percent, percent_range

WIDTH = 480.0
"""Of a picture in user units; little, so that it can be read on a phone as well."""

MANY, UNLIKELY = 8, 0.01
"""Of more rows than these that belong together, those below have no bar."""

_MARGIN, _TITLE, _NAME, _SMALL = 14.0, 17.0, 14.0, 12.0
_BAR, _THIN, _INDENT, _AFTER = 13.0, 7.0, 18.0, 10.0


def bars_picture(model: Model, diagnosis: Diagnosis) -> str:
    """The posterior as SVG: a bar for each component with its interval, in words, and its likely failure modes.

    A model of a single component has a bar for each mode, after one for each state of what it asks.
    """
    room = WIDTH - 2 * _MARGIN
    parts = lines_of_text(
        _MARGIN, _MARGIN, wrap(model.title, room, _TITLE, bold=True), _TITLE, fill=INK, font_weight="bold"
    )
    y = _MARGIN + len(parts) * pitch_of(_TITLE) + 2
    said, y = paragraph(_MARGIN, y, f"{model.version}: {numbers_words(model)}. {_legend(diagnosis)}", room, _SMALL)
    parts += said
    y += 12
    rows = list(standing(model, diagnosis))
    for heading in dict.fromkeys(row.heading for row in rows):
        drawn, y = _section(heading, [row for row in rows if row.heading == heading], y)
        parts += drawn
    said, y = paragraph(_MARGIN, y + 2, f"{_together(model, diagnosis)} {disclaimer(model)}", room, _SMALL)
    return picture(WIDTH, y + _MARGIN, model.title, _description(model, diagnosis), *parts, *said)


def _legend(diagnosis: Diagnosis) -> str:
    if diagnosis.interval_draws == 0:
        return "A bar: how likely the component is faulty."
    return "A bar: how likely it is; the whisker below it and the numbers in brackets: its 90 % interval."


def _section(heading: str, rows: list[Row], y: float) -> tuple[list[str], float]:
    """Rows that belong together at y, the unlikely ones of many by name only, and where the next section begins."""
    parts: list[str] = []
    if heading:
        parts += lines_of_text(_MARGIN, y, [heading], _TITLE, fill=INK)
        y += pitch_of(_TITLE) + 4
    are_many = sum(not row.is_part for row in rows) > MANY
    unlikely = [row for row in rows if row.chance < UNLIKELY and are_many]
    for row in (row for row in rows if row not in unlikely):
        drawn, y = _drawn(row, y)
        parts += drawn
    if unlikely:
        named = f"Each below {100 * UNLIKELY:.0f} %: {', '.join(row.name for row in unlikely)}."
        said, y = paragraph(_MARGIN, y, named, WIDTH - 2 * _MARGIN, _SMALL)
        parts += said
    return parts, y + _AFTER


def _drawn(row: Row, y: float) -> tuple[list[str], float]:
    """A row at y, and where the next one begins."""
    return _part(row, y) if row.is_part else _whole(row, y)


def _whole(row: Row, y: float) -> tuple[list[str], float]:
    """Name and number, below them the bar."""
    right = WIDTH - _MARGIN
    between = "" if row.between is None else f" ({percent_range(*row.between)})"
    said = f"{in_words(row.chance)}{between}"
    names = wrap(row.name, 0.44 * WIDTH, _NAME, bold=True)
    below = y + len(names) * pitch_of(_NAME) + 4
    parts = [
        *lines_of_text(_MARGIN, y, names, _NAME, fill=INK, font_weight="bold"),
        text(right - 56, y + _NAME, said, font_size=_SMALL, fill=QUIET, text_anchor="end"),
        text(right, y + _NAME, percent(row.chance), font_size=_NAME, font_weight="bold", fill=INK, text_anchor="end"),
        *bar(_MARGIN, below, WIDTH - 2 * _MARGIN, _BAR, row.chance, row.between),
    ]
    return parts, below + _BAR + INTERVAL + _AFTER


def _part(row: Row, y: float) -> tuple[list[str], float]:
    """A failure mode: a thin bar on the same scale, its name and number below."""
    names = wrap(f"{row.name} {percent(row.chance)}", WIDTH - 2 * _MARGIN - _INDENT, _SMALL)
    parts = [
        rect(_MARGIN, y - 3, max(1.5, (WIDTH - 2 * _MARGIN) * row.chance), _THIN, fill=QUIET),
        *lines_of_text(_MARGIN + _INDENT, y + _THIN - 3, names, _SMALL, fill=INK),
    ]
    return parts, y + _THIN + len(names) * pitch_of(_SMALL) + _AFTER


def _together(model: Model, diagnosis: Diagnosis) -> str:
    groups = [f"{model.groups[g].label} {percent(p)}" for g, p in diagnosis.groups.items()]
    said = f"Together: {', '.join(groups)}. " if groups else ""
    several = "" if len(model.components) == 1 else f"Two or more parts faulty: {percent(diagnosis.two_or_more)}; "
    return f"{said}{several}{'nothing' if several else 'Nothing'} faulty: {percent(diagnosis.nothing_found)}."


def _description(model: Model, diagnosis: Diagnosis) -> str:
    """The bars for those who hear them."""
    return "; ".join(f"{row.name} {percent(row.chance)}" for row in standing(model, diagnosis) if not row.is_part) + "."
