"""SVG as text: a few elements, everything escaped, numbers rounded, so that the same picture has the same bytes.

Only attributes that a page with a strict content policy shows as well: no style sheet, script, font or link.
"""

from html import escape

from faultnet.pictures.measure import FONT, SIZE

NAMESPACE = "http://www.w3.org/2000/svg"

Value = str | float | None


def picture(width: float, height: float, title: str, description: str, *parts: str) -> str:
    """The whole picture on a light ground, in user units of one pixel.

    title and description are for those who hear it. It has a `viewBox`, so a page may shrink it (`max-width: 100%;
    height: auto`).
    """
    w, h = _number(width), _number(height)
    return "\n".join(
        [
            f'<svg xmlns="{NAMESPACE}" viewBox="0 0 {w} {h}" width="{w}" height="{h}" role="img" '
            f'font-family="{FONT}" font-size="{SIZE}">',
            _element("title", {}, title),
            _element("desc", {}, description),
            rect(0, 0, width, height, fill="#ffffff"),
            *(part for part in parts if part),
            "</svg>",
            "",
        ]
    )


def rect(x: float, y: float, width: float, height: float, **attributes: Value) -> str:
    """A rectangle."""
    return _element("rect", {"x": x, "y": y, "width": width, "height": height, **attributes})


def line(x1: float, y1: float, x2: float, y2: float, **attributes: Value) -> str:
    """A straight line."""
    return _element("line", {"x1": x1, "y1": y1, "x2": x2, "y2": y2, **attributes})


def circle(x: float, y: float, radius: float, **attributes: Value) -> str:
    """A circle."""
    return _element("circle", {"cx": x, "cy": y, "r": radius, **attributes})


def path(steps: list[str | float], **attributes: Value) -> str:
    """A path: letters of SVG and numbers."""
    drawn = " ".join(step if isinstance(step, str) else _number(step) for step in steps)
    return _element("path", {"d": drawn, **attributes})


def text(x: float, y: float, words: str, **attributes: Value) -> str:
    """A line of text on the base line y."""
    return _element("text", {"x": x, "y": y, **attributes}, words)


def group(*parts: str, **attributes: Value) -> str:
    """Parts that belong together."""
    return f"<g{_written(attributes)}>\n" + "\n".join(part for part in parts if part) + "\n</g>"


def _element(name: str, attributes: dict[str, Value], words: str | None = None) -> str:
    start = f"<{name}{_written(attributes)}"
    return f"{start}/>" if words is None else f"{start}>{escape(_legal(words))}</{name}>"


def _written(attributes: dict[str, Value]) -> str:
    """Attributes in the order given; a name's underscores are hyphens, what is None is left out."""
    return "".join(
        f' {name.replace("_", "-")}="{escape(_legal(value)) if isinstance(value, str) else _number(value)}"'
        for name, value in attributes.items()
        if value is not None
    )


def _number(value: float) -> str:
    """With one digit after the sign, and none where that is 0; never a negative nothing."""
    return f"{round(float(value), 1) + 0.0:.1f}".removesuffix(".0")


def _legal(words: str) -> str:
    """Text without the characters that XML 1.0 forbids even escaped."""
    return "".join(
        c if c in "\t\n" or " " <= c < "\ud800" or "\ue000" <= c <= "\ufffd" or c > "\uffff" else "\ufffd"
        for c in words
    )
