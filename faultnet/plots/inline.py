"""A figure as SVG that stands within a page: attributes only, no style sheet, nothing from elsewhere."""

from io import BytesIO
from typing import TYPE_CHECKING
from xml.etree import ElementTree

from faultnet.plots.figure import write

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_SVG, _XLINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
ElementTree.register_namespace("", _SVG)
ElementTree.register_namespace("xlink", _XLINK)

_ROOT_STYLE = {"stroke-linejoin": "round", "stroke-linecap": "butt"}
"""What matplotlib says in a style sheet of everything."""


def inline_svg(figure: "Figure", title: str) -> str:
    """The figure as an SVG element. title: what it shows, for who cannot see it."""
    drawn = BytesIO()
    write(figure, drawn, "svg")
    root = ElementTree.fromstring(drawn.getvalue())
    for parent in [*root.iter()]:
        for child in [*parent]:
            if child.tag in (f"{{{_SVG}}}metadata", f"{{{_SVG}}}style"):
                parent.remove(child)
        for declaration in filter(None, parent.attrib.pop("style", "").split(";")):
            name, _, value = declaration.partition(":")
            parent.set(name.strip(), value.strip())
    root.attrib.update(_ROOT_STYLE, role="img")
    told = ElementTree.Element(f"{{{_SVG}}}title")
    told.text = title
    root.insert(0, told)
    return ElementTree.tostring(root, encoding="unicode")
