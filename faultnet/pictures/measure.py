"""How wide text is, without a font at hand: an estimate on the safe side, and lines broken by it."""

import re
from collections.abc import Iterator
from itertools import chain

FONT = "Arial, Helvetica, Liberation Sans, sans-serif"
SIZE = 12
"""Height of the usual text in user units, which are pixels where the picture is not shrunk."""

_WIDTHS = {
    " ijl.,:;'|!`": 0.33,
    'frtI()[]{}/\\-"\u00a0': 0.42,
    "cszJ": 0.56,
    "ABCDEFGHKLNOPQRSTUVXYZ&<>+=~": 0.79,
    "w": 0.83,
    "mMW@%": 0.99,
}
_WIDTH = {character: width for characters, width in _WIDTHS.items() for character in characters}
"""In units of the size: the wider of what common sans-serif fonts take."""
_OTHER, _FAR = 0.64, 1.05
"""Of any other letter or digit; of scripts whose signs fill a square."""

_BOLD = 1.13
_WHITE = re.compile(r"[ \t\r\n]+")
"""Where lines may be broken; not at a no-break space."""


def text_width(words: str, size: float = SIZE, *, bold: bool = False) -> float:
    """How wide a line of text is at most, in user units."""
    units = sum(_WIDTH.get(c, _FAR if c >= "\u1100" else _OTHER) for c in words)
    return units * size * (_BOLD if bold else 1.0)


def wrap(words: str, width: float, size: float = SIZE, *, bold: bool = False) -> list[str]:
    """Text in lines of at most this width; a word that is wider is broken, after an underscore if there is one."""
    lines: list[str] = []
    for word in chain.from_iterable(_pieces(each, width, size, bold=bold) for each in _WHITE.split(words) if each):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _pieces(word: str, width: float, size: float, *, bold: bool) -> Iterator[str]:
    while text_width(word, size, bold=bold) > width and len(word) > 1:
        fits = max((n for n in range(1, len(word)) if text_width(word[:n], size, bold=bold) <= width), default=1)
        end = word.rfind("_", 0, fits) + 1 or fits
        yield word[:end]
        word = word[end:]
    yield word
