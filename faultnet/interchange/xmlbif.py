"""Reading XMLBIF (version 0.3) with the standard library's parser.

pgmpy's reader rewrites the names of states, which can merge two of them; here they stay as they are. Nothing is fetched
and nothing is expanded: an entity of the file's own is refused where it is declared. In a table the child's state
changes fastest, then the last parent's, as the format's definition says.
"""

from dataclasses import dataclass, field
from xml.parsers.expat import ExpatError, ParserCreate

from faultnet.interchange.bif import NUMBER
from faultnet.interchange.written import Definition, Entry, Unreadable, Variable, Written, shown

_CHILDREN = {
    "": ("BIF",),
    "BIF": ("NETWORK",),
    "NETWORK": ("NAME", "PROPERTY", "VARIABLE", "DEFINITION"),
    "VARIABLE": ("NAME", "OUTCOME", "VALUE", "PROPERTY"),
    "DEFINITION": ("FOR", "GIVEN", "TABLE", "PROPERTY"),
}
"""What may stand inside what; everything else holds text."""


@dataclass
class _Element:
    """An element with what stands directly in it."""

    name: str
    line: int
    attributes: dict[str, str]
    text: str = ""
    children: list["_Element"] = field(default_factory=list)

    def texts(self, *names: str) -> list[str]:
        return [child.text.strip() for child in self.children if child.name in names]

    def only(self, name: str) -> str:
        """The text of the one child with this name. Unreadable: none, several, or an empty one."""
        found = self.texts(name)
        if len(found) != 1 or not found[0]:
            raise Unreadable(f"a {self.name} has one {name} with text in it; this one has {len(found)}", self.line)
        return found[0]


def read_xmlbif(raw: bytes) -> Written:
    """What an XMLBIF file says. Unreadable: no such file, or one with entities, with the line."""
    network = _parsed(raw)
    names = network.texts("NAME")
    written = Written(names[0] if names else "", child_is_last=True)
    for element in network.children:
        if element.name == "VARIABLE":
            written.variables.append(_variable(element))
        elif element.name == "DEFINITION":
            written.definitions.append(_definition(element))
    return written


def _variable(element: _Element) -> Variable:
    if (kind := element.attributes.get("TYPE", "nature")) != "nature":
        raise Unreadable(f"a variable of type {shown(kind)}: only chance nodes (nature) can be imported", element.line)
    name, states = element.only("NAME"), tuple(element.texts("OUTCOME", "VALUE"))
    if not all(states):
        raise Unreadable(f"{shown(name)} has a state without a name", element.line)
    return Variable(name, states, element.line)


def _definition(element: _Element) -> Definition:
    child = element.only("FOR")
    table = next((c for c in element.children if c.name == "TABLE"), element)
    numbers = element.only("TABLE").split()
    for number in numbers:
        if not NUMBER.fullmatch(number):
            raise Unreadable(f"here should be a number in the table of {shown(child)}, not {shown(number)}", table.line)
    entry = Entry(None, tuple(map(float, numbers)), table.line)
    return Definition(child, tuple(element.texts("GIVEN")), (entry,), None, element.line)


def _parsed(raw: bytes) -> _Element:
    """The NETWORK element, everything in it where it belongs."""
    parser = ParserCreate()
    root = _Element("", 1, {})
    open_elements = [root]

    def wrong(message: str) -> Unreadable:
        return Unreadable(message, parser.CurrentLineNumber, parser.CurrentColumnNumber + 1)

    def start(name: str, attributes: dict[str, str]) -> None:
        above = open_elements[-1]
        if name not in _CHILDREN.get(above.name, ()):
            place = f"inside {above.name}" if above.name else "at the top"
            raise wrong(f"{shown(name)} has no place {place} of an XMLBIF file")
        element = _Element(name, parser.CurrentLineNumber, attributes)
        above.children.append(element)
        open_elements.append(element)

    def characters(text: str) -> None:
        if open_elements[-1].name in _CHILDREN and text.strip():
            raise wrong(f"{shown(text.strip())} stands outside of every name and table")
        open_elements[-1].text += text

    def entity(*_: object) -> None:
        raise wrong("entities are not allowed in a network; take them out")

    parser.StartElementHandler = start
    parser.EndElementHandler = lambda _: open_elements.pop()
    parser.CharacterDataHandler = characters
    parser.EntityDeclHandler = entity
    parser.SkippedEntityHandler = entity
    parser.buffer_text = True
    try:
        parser.Parse(raw, True)
    except ExpatError as error:
        message = f"not whole as XML: {str(error).partition(':')[0]}"
        raise Unreadable(message, error.lineno, error.offset + 1) from None
    except (LookupError, ValueError) as error:  # an encoding the parser does not know
        raise Unreadable(f"not readable as XML: {error}") from None
    networks = root.children[0].children
    if len(networks) != 1:
        raise Unreadable(f"a file has one NETWORK; this one has {len(networks)}", root.children[0].line)
    return networks[0]
