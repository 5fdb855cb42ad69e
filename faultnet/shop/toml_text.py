"""TOML text to plain data, and the place of every key and item.

The standard library's reader names a place only for what is no TOML at all; what is wrong with a value is found later,
so the places are looked up in the text again, which by then is known to be TOML.
"""

import re
import tomllib
from typing import Any

from faultnet.errors import Problem

Path = tuple[str | int, ...]
Places = dict[Path, int]

MOST_BYTES = 2**20

_BLANK = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_HEADING = re.compile(r"\[\[?[ \t]*")
_LINE = re.compile(r"[^\n]*")
_PART = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*')"""
_KEY = re.compile(rf"{_PART}(?:[ \t]*\.[ \t]*{_PART})*")
_TEXT = re.compile(
    r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})' r"|'''.*?'''(?:'{0,2})" r'|"(?:[^"\\]|\\.)*"' r"|'[^']*'", flags=re.DOTALL
)
_PLAIN = re.compile(r"[^,\]}#\n]+")
_SYNTAX_PLACE = re.compile(r" \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)$")


class NotToml(Exception):
    """Text that is no TOML. `problem` says why and where."""

    def __init__(self, message: str, line: int = 1, column: int = 1) -> None:
        self.problem = Problem("", message, line, column)
        super().__init__(message)


def read_toml(raw: bytes) -> tuple[str, dict[str, Any]]:
    """The text of a TOML file's bytes with lines that end in `\\n`, and its data. NotToml says where it is none.

    >>> read_toml(b"[shop]\\r\\ntrained = true\\r\\n")[1]
    {'shop': {'trained': True}}
    """
    if len(raw) > MOST_BYTES:
        raise NotToml(f"{len(raw) / 2**20:.1f} MB; a file of settings has at most {MOST_BYTES // 2**20} MB")
    try:
        text = raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        before = raw[: error.start]
        column = len(before.rpartition(b"\n")[2].decode("utf-8-sig")) + 1
        message = f"not text in UTF-8 (byte 0x{raw[error.start]:02X}); save it as UTF-8"
        raise NotToml(message, before.count(b"\n") + 1, column) from None
    try:
        return text, tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        raise _not_toml(text, error) from None


def _not_toml(text: str, error: Exception) -> NotToml:
    message, place = str(error), _SYNTAX_PLACE.search(str(error))
    if place is None:
        return NotToml(f"not TOML: {message}")
    message = f"not TOML: {message[: place.start()]}"
    if place["line"] is None:
        return NotToml(f"{message} at the end of the file", *line_and_column(text, len(text)))
    return NotToml(message, int(place["line"]), int(place["column"]))


def line_and_column(text: str, at: int) -> tuple[int, int]:
    """Line and column, from 1, of a place in a text."""
    return text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at)


def place_of(path: Path, places: Places) -> int:
    """Where a path stands, or the nearest one above it."""
    while path and path not in places:
        path = path[:-1]
    return places.get(path, 0)


def find_places(text: str) -> Places:
    """Where in a text that is TOML each key and each item of an array starts; of a table, its first heading.

    The tables of an array of tables stand under its name without a number.
    """
    places: Places = {}
    table: Path = ()
    at = _end(_BLANK, text, 0)
    while at < len(text):
        if text[at] == "[":
            table, at = _key(text, _end(_HEADING, text, at), (), places)
            at = _end(_LINE, text, at)
        else:
            at = _pair(text, at, table, places)
        at = _end(_BLANK, text, at)
    return places


def _end(pattern: re.Pattern[str], text: str, at: int) -> int:
    """Where what is written here ends. ValueError: it is something else."""
    written = pattern.match(text, at)
    if written is None:
        raise ValueError(f"not TOML at {at}")
    return written.end()


def _key(text: str, at: int, table: Path, places: Places) -> tuple[Path, int]:
    """The path of a key, dotted or not, and its end; its place, and that of each table it makes, are noted."""
    end = _end(_KEY, text, at)
    inner = tomllib.loads(f"{text[at:end]} = 0")
    path = table
    while isinstance(inner, dict):
        ((name, inner),) = inner.items()
        path = (*path, name)
        places.setdefault(path, at)
    return path, end


def _pair(text: str, at: int, table: Path, places: Places) -> int:
    path, at = _key(text, at, table, places)
    return _value(text, _end(_BLANK, text, text.index("=", at) + 1), path, places)


def _value(text: str, at: int, path: Path, places: Places) -> int:
    """The end of the value that starts here; the places of what is in it are noted."""
    if text[at] == "[":
        return _inside(text, at, "]", path, places)
    if text[at] == "{":
        return _inside(text, at, "}", path, places)
    return _end(_TEXT if text[at] in "\"'" else _PLAIN, text, at)


def _inside(text: str, at: int, closing: str, path: Path, places: Places) -> int:
    """The end of an array or an inline table."""
    number = 0
    at = _end(_BLANK, text, at + 1)
    while text[at] != closing:
        if closing == "]":
            places[(*path, number)] = at
            at = _value(text, at, (*path, number), places)
        else:
            at = _pair(text, at, path, places)
        number += 1
        at = _end(_BLANK, text, at)
        if text[at] == ",":
            at = _end(_BLANK, text, at + 1)
    return at + 1
