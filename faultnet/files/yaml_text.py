"""YAML 1.2 text to plain data, with the place of every key and item, and every problem at once.

Safe by construction: only text, numbers, true/false, null, lists and mappings; tags, duplicate keys, too much text and
aliases that multiply are refused.
"""

from dataclasses import dataclass, field
from typing import Any

from faultnet.errors import Problem

MOST_BYTES = 2 * 1024 * 1024
MOST_NODES = 200_000

Path = tuple[str | int, ...]
_TAG = "tag:yaml.org,2002:"
_SCALARS = ("str", "int", "float", "bool", "null")


@dataclass
class YamlText:
    """data: plain values; places: (line, column) of every path; problems: what is wrong with the text itself."""

    data: Any = None
    places: dict[Path, tuple[int, int]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def place(self, path: Path) -> tuple[int, int]:
        """The place of a path, or of the nearest one above it."""
        while path and path not in self.places:
            path = path[:-1]
        return self.places.get(path, (1, 1))


def read_yaml(raw: bytes) -> YamlText:
    """Plain data and places of a YAML file's bytes; problems instead of exceptions."""
    if len(raw) > MOST_BYTES:
        return _refused(f"{len(raw) / 1e6:.1f} MB; a model file has at most {MOST_BYTES // 2**20} MB")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        return _refused(f"not text in UTF-8 (byte {error.start}); is this a model file?", line)
    if not text.strip():
        return _refused("the file is empty")
    return _compose(text)


def _refused(message: str, line: int = 1, column: int = 1) -> YamlText:
    return YamlText(problems=[Problem("", message, line, column)])


def _compose(text: str) -> YamlText:
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError, YAMLError
    from ruamel.yaml.reader import ReaderError

    try:
        root = YAML(typ="safe", pure=True).compose(text)
    except ReaderError as error:
        line = text[: error.position].count("\n") + 1
        return _refused(f"a character that YAML does not allow: {error.character!r}", line)
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        message = " ".join(part for part in (error.context, error.problem) if part)
        return _refused(message, mark.line + 1 if mark else 1, mark.column + 1 if mark else 1)
    except RecursionError:
        return _refused("nested too deeply")
    except (YAMLError, ValueError) as error:
        return _refused(str(error).splitlines()[0])
    if root is None:
        return _refused("the file holds nothing but comments")
    if _expanded_size(root, {}) > MOST_NODES:
        return _refused(f"more than {MOST_NODES} values once its aliases are written out")
    result = YamlText()
    result.data = _plain(root, (), result)
    return result


def _expanded_size(node: Any, known: dict[int, int]) -> int:
    """Values below a node with every alias written out, counted without writing them out."""
    if id(node) not in known:
        known[id(node)] = MOST_NODES + 1  # an alias to one of its own parents never ends
        children = node.value if isinstance(node.value, list) else []
        flat = [part for child in children for part in (child if isinstance(child, tuple) else (child,))]
        known[id(node)] = 1 + sum(_expanded_size(child, known) for child in flat)
    return known[id(node)]


def _plain(node: Any, path: Path, result: YamlText) -> Any:
    place = node.start_mark.line + 1, node.start_mark.column + 1
    result.places.setdefault(path, place)
    kind = str(node.tag).removeprefix(_TAG)
    if isinstance(node.value, list) and kind == "map":
        return _mapping(node, path, result)
    if isinstance(node.value, list) and kind == "seq":
        return [_plain(item, (*path, number), result) for number, item in enumerate(node.value)]
    if isinstance(node.value, str) and kind in _SCALARS:
        return _scalar(kind, node.value)
    result.problems.append(Problem(dotted(path), f"the tag !{kind} is not allowed", *place))
    return None


def _mapping(node: Any, path: Path, result: YamlText) -> dict[Any, Any]:
    mapping: dict[Any, Any] = {}
    for key_node, value_node in node.value:
        place = key_node.start_mark.line + 1, key_node.start_mark.column + 1
        if not isinstance(key_node.value, str):
            result.problems.append(Problem(dotted(path), "a key must be plain text", *place))
            continue
        key = key_node.value
        result.places[(*path, key)] = place
        if key in mapping:
            result.problems.append(Problem(dotted((*path, key)), "this key stands here twice", *place))
        mapping[key] = _plain(value_node, (*path, key), result)
    return mapping


def _scalar(kind: str, text: str) -> Any:
    match kind:
        case "int":
            digits = text.replace("_", "")
            return int(digits, 0) if digits.lstrip("+-")[:2].lower() in ("0x", "0o", "0b") else int(digits)
        case "float":
            return float(text.replace("_", "").lower().replace(".inf", "inf").replace(".nan", "nan"))
        case "bool":
            return text.lower() == "true"
        case "null":
            return None
    return text


def dotted(path: Path) -> str:
    """A path as people read it: observations.fuses.table[2].p"""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text
