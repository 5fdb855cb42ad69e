"""YAML text to nodes, within bounds that are kept while the text is read, before anything can grow.

Apart from `yaml_text` because it imports the YAML library, which a start from the cache does without.
"""

from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.composer import Composer
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.events import AliasEvent
from ruamel.yaml.reader import ReaderError

MOST_VALUES = 60_000
MOST_LEVELS = 40


class TextError(Exception):
    """Text that is not read any further: why, and where (line and column, from 1)."""

    def __init__(self, message: str, line: int, column: int) -> None:
        self.message, self.line, self.column = message, line, column
        super().__init__(message)


def compose(text: str) -> Any:
    """The root node of YAML text, or None when there is none. TextError: it is not YAML, or out of bounds."""
    yaml = YAML(typ="safe", pure=True)
    yaml.Composer = _BoundedComposer
    try:
        root = yaml.compose(text)
    except ReaderError as error:
        before = text[: error.position]
        character = f"a character that YAML does not allow, U+{error.character:04X}"
        raise TextError(character, before.count("\n") + 1, len(before) - before.rfind("\n")) from None
    except MarkedYAMLError as error:
        message = " ".join(part for part in (error.context, error.problem) if part)
        raise _refused_at(error.problem_mark or error.context_mark, message) from None
    if root is not None:
        _expanded_size(root, {})
    return root


def _refused_at(mark: Any, message: str) -> TextError:
    return TextError(message, mark.line + 1, mark.column + 1)


class _BoundedComposer(Composer):
    """Stops at too many values or levels, and at an anchor that is given twice."""

    n_values = 0
    level = 0

    def get_single_node(self) -> Any:
        try:
            return super().get_single_node()
        except (TextError, YAMLError):
            raise
        except Exception as error:  # whatever else the library trips over in other people's text is wrong with the text
            mark = self.loader.reader.get_mark()
            raise _refused_at(mark, f"cannot be read as YAML ({error or type(error).__name__})") from None

    def compose_node(self, parent: Any, index: Any) -> Any:
        event = self.parser.peek_event()
        self.n_values += 1
        self.level += 1
        if self.n_values > MOST_VALUES:
            raise _refused_at(event.start_mark, f"more than {MOST_VALUES} values; a model file has fewer")
        if self.level > MOST_LEVELS:
            raise _refused_at(event.start_mark, f"nested too deeply: more than {MOST_LEVELS} levels")
        if event.anchor in self.anchors and not isinstance(event, AliasEvent):
            raise _refused_at(event.start_mark, f"the anchor &{event.anchor} is given twice")
        node = super().compose_node(parent, index)
        self.level -= 1
        return node


def _expanded_size(node: Any, known: dict[int, int | None]) -> int:
    """Values below a node with every alias written out, counted without writing them out.

    TextError at the node that is too many, or that has an alias to itself inside.
    """
    if id(node) not in known:
        known[id(node)] = None
        children = node.value if isinstance(node.value, list) else []
        flat = [part for child in children for part in (child if isinstance(child, tuple) else (child,))]
        known[id(node)] = size = 1 + sum(_expanded_size(child, known) for child in flat)
        if size > MOST_VALUES:
            raise _refused_at(node.start_mark, f"more than {MOST_VALUES} values once its aliases are written out")
    expanded = known[id(node)]
    if expanded is None:
        raise _refused_at(node.start_mark, f"the anchor &{node.anchor} has an alias to itself inside")
    return expanded
