"""YAML 1.2 text to plain data, with the place of every key and item, and every problem at once.

Safe by construction: only text, numbers, true/false, null, lists and mappings. Tags and duplicate keys are problems;
too much text, too many values and aliases that multiply are refused.
"""

from dataclasses import dataclass, field
from typing import Any

from faultnet.errors import Problem

MOST_BYTES = 2 * 2**20

Path = tuple[str | int, ...]
_TAG = "tag:yaml.org,2002:"
_SCALARS = ("str", "int", "float", "bool", "null")


@dataclass
class YamlText:
    """data: plain values; places: (line, column) of every path; problems: what is wrong with the text itself.

    unread: the paths whose value could not be read; a problem says why, and their data is None.
    """

    data: Any = None
    places: dict[Path, tuple[int, int]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    unread: set[Path] = field(default_factory=set)

    def refuse(self, path: Path, message: str, place: tuple[int, int] = (1, 1)) -> None:
        """Note a value that cannot be read."""
        self.unread.add(path)
        self.problems.append(Problem(dotted(path), message, *place))

    def place(self, path: Path) -> tuple[int, int]:
        """The place of a path, or of the nearest one above it."""
        while path and path not in self.places:
            path = path[:-1]
        return self.places.get(path, (1, 1))


def read_yaml(raw: bytes) -> YamlText:
    """Plain data and places of a YAML file's bytes; problems instead of exceptions."""
    if len(raw) > MOST_BYTES:
        return _refused(too_large(len(raw)))
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        message = f"not text in UTF-8 (byte 0x{raw[error.start]:02X}); save it as UTF-8, if it is a model file at all"
        return _refused(message, before.count(b"\n") + 1, len(before.rpartition(b"\n")[2].decode("utf-8-sig")) + 1)
    if not text.strip():
        return _refused("the file is empty")
    return _read_text(text)


def too_large(n_bytes: int) -> str:
    """What is said about a file of more than MOST_BYTES."""
    return f"{n_bytes / 2**20:.1f} MB; a model file has at most {MOST_BYTES // 2**20} MB"


def _refused(message: str, line: int = 1, column: int = 1) -> YamlText:
    text = YamlText()
    text.refuse((), message, (line, column))
    return text


def _read_text(text: str) -> YamlText:
    from faultnet.files.compose import TextError, compose

    try:
        root = compose(text)
    except TextError as error:
        return _refused(error.message, error.line, error.column)
    if root is None:
        return _refused("the file holds nothing but comments")
    result = YamlText()
    result.data = _plain(root, (), result)
    return result


def _plain(node: Any, path: Path, result: YamlText) -> Any:
    place = node.start_mark.line + 1, node.start_mark.column + 1
    result.places.setdefault(path, place)
    kind = str(node.tag).removeprefix(_TAG)
    if node.ctag.handle or not (kind in _SCALARS if isinstance(node.value, str) else kind in ("map", "seq")):
        written = f"{node.ctag.handle or ''}{node.ctag.suffix}"
        return result.refuse(path, f"the tag {written} is not allowed; take it out", place)
    if kind == "map":
        return _mapping(node, path, result)
    if kind == "seq":
        return [_plain(item, (*path, number), result) for number, item in enumerate(node.value)]
    try:
        return _scalar(kind, node.value)
    except ValueError:
        message = f"{node.value[:40]} cannot be read as a number or true/false; put quotes around it if it is text"
        return result.refuse(path, message, place)


def _mapping(node: Any, path: Path, result: YamlText) -> dict[Any, Any]:
    mapping: dict[Any, Any] = {}
    for key_node, value_node in node.value:
        place = key_node.start_mark.line + 1, key_node.start_mark.column + 1
        if not isinstance(key_node.value, str) or key_node.ctag.handle:
            result.problems.append(Problem(dotted(path), "a key must be plain text", *place))
            continue
        key = key_node.value
        if key in mapping:
            result.problems.append(Problem(dotted((*path, key)), "this key stands here twice", *place))
            continue
        result.places[(*path, key)] = place
        mapping[key] = _plain(value_node, (*path, key), result)
    return mapping


def _scalar(kind: str, text: str) -> Any:
    """The value of a scalar. ValueError: a `%YAML` line for another version made it what this reader does not know."""
    match kind:
        case "int":
            digits = text.replace("_", "")
            return int(digits, 0) if digits.lstrip("+-")[:2].lower() in ("0x", "0o", "0b") else int(digits)
        case "float":
            return float(text.replace("_", "").lower().replace(".inf", "inf").replace(".nan", "nan"))
        case "bool" if text.lower() in ("true", "false"):
            return text.lower() == "true"
        case "bool":
            raise ValueError(text)
        case "null":
            return None
    return text


def dotted(path: Path) -> str:
    """A path as people read it: observations.fuses.table[2].p"""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text
