"""Changing single values in the text of a TOML file; comments, order and line ends stay as they are."""

from collections.abc import Sequence
from typing import Any

import tomlkit
from tomlkit.items import InlineTable, Table

Path = tuple[str | int, ...]

_MARK = "\ufeff"
"""Some editors put it before the text."""


def edited(text: str, edits: Sequence[tuple[Path, Any]]) -> str:
    """The text with each value in its place, None taking it out; tables are made as they are needed.

    A path leads through tables to a key, or to the number of an item in a list. The text is known to be TOML.

    >>> print(edited("[shop]\\nhourly_rate = 40  # since spring\\n", [(("shop", "hourly_rate"), 52)]), end="")
    [shop]
    hourly_rate = 52  # since spring
    """
    changed = text.removeprefix(_MARK).replace("\r\n", "\n")
    if changed and not changed.endswith("\n"):
        changed += "\n"
    for path, value in edits:
        changed = _without(changed, path) if value is None else _with(changed, path, value)
    mark = _MARK if text.startswith(_MARK) else ""
    return mark + (changed.replace("\n", "\r\n") if "\r\n" in text else changed)


def _with(text: str, path: Path, value: Any) -> str:
    *above, name = path
    table: Any = (document := tomlkit.parse(text))
    for part in above:
        if part not in table:
            if not isinstance(table, InlineTable):
                heading = tomlkit.key([str(each) for each in above]).as_string()
                between = "\n" if text.strip() else ""
                return _with(f"{text}{between}[{heading}]\n", path, value)  # the end is where it alters nothing else
            table[str(part)] = tomlkit.inline_table()
        table = table[part]
    if isinstance(name, int) or name in table:
        table[name] = value
    else:
        _add(table, name, value)
    return tomlkit.dumps(document)


def _add(table: Any, name: str, value: Any) -> None:
    """Put a new key below the table's last one: what follows that may be the comment of the next heading."""
    body = table.value.body if isinstance(table, Table) else []
    keyed = [n for n, (key, _) in enumerate(body) if key is not None]
    after_last = keyed[-1] + 1 if keyed else 0
    below = body[after_last:]
    del body[after_last:]
    table[name] = value
    body.extend(below)


def _without(text: str, path: Path) -> str:
    """The text without a key, and without the headings above it that then stand alone."""
    *above, name = path
    tables: list[Any] = [document := tomlkit.parse(text)]
    for part in above:
        if part not in tables[-1]:
            return text
        tables.append(tables[-1][part])
    tables[-1].pop(name, None)
    for table, outer, part in reversed([*zip(tables[1:], tables, above, strict=False)]):
        if isinstance(table, Table) and not table.as_string().strip() and not table.trivia.comment:
            outer.pop(part)
    changed = tomlkit.dumps(document)
    return changed.rstrip("\n") + "\n" if changed.endswith("\n\n") else changed  # the blank line above a heading
