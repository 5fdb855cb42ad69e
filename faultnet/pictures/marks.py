"""Marks that all pictures draw the same: bars with their intervals, lines of text."""

from faultnet.pictures.ink import BAR, QUIET, TRACK, WHISKER
from faultnet.pictures.measure import wrap
from faultnet.pictures.svg import line, rect, text

Between = tuple[float, float] | None
"""Both ends of a 90 % interval; None where numbers have none."""


INTERVAL = 8.0
"""What a whisker below a bar takes."""


def bar(x: float, y: float, width: float, height: float, chance: float, between: Between) -> list[str]:
    """A bar filled as far as something is likely; below it its 90 % interval as a whisker with ends."""
    drawn = [
        rect(x, y, width, height, fill=TRACK, stroke=QUIET, stroke_width=0.6),
        rect(x, y, max(1.5, width * chance), height, fill=BAR),
    ]
    return drawn if between is None else [*drawn, *whisker(x, y + height + INTERVAL / 2, width, between)]


def whisker(x: float, y: float, width: float, between: tuple[float, float]) -> list[str]:
    """An interval on a scale from 0 to 1."""
    low, high = (x + width * end for end in between)
    ends = [(low, y, high, y), (low, y - 2.6, low, y + 2.6), (high, y - 2.6, high, y + 2.6)]
    return [line(*each, stroke=WHISKER, stroke_width=1.3) for each in ends]


def lines_of_text(x: float, y: float, lines: list[str], size: float, **attributes: str | float | None) -> list[str]:
    """Lines below each other, the first with its upper edge at y."""
    pitch = pitch_of(size)
    return [text(x, y + size + n * pitch, words, font_size=size, **attributes) for n, words in enumerate(lines)]


def pitch_of(size: float) -> float:
    """From one line to the next."""
    return round(size * 1.25, 1)


def paragraph(x: float, y: float, words: str, width: float, size: float) -> tuple[list[str], float]:
    """Words in lines of this width, in quiet ink, and where they end."""
    lines = wrap(words, width, size)
    return lines_of_text(x, y, lines, size, fill=QUIET), y + len(lines) * pitch_of(size)
