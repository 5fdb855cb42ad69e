"""Changing keys in `shop.toml` with its comments and order kept; all changes are made, or none."""

import os
import tomllib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from faultnet.case.entry import nearest
from faultnet.errors import FileProblem, PlacedProblem, UsageProblem
from faultnet.files.write import whole_file
from faultnet.settings import ShopSettings
from faultnet.shop import toml_edit
from faultnet.shop.keys import DATABASE_KEYS, METER_KEYS, PRICE_LISTS, SETTINGS
from faultnet.shop.lock import locked
from faultnet.shop.settings_file import read_shop
from faultnet.shop.shop import Shop
from faultnet.shop.toml_text import MOST_BYTES

FIRST_LINE = "# The shop's settings; `faultnet shop info` says what each key means.\n"

_TEXTS = ("shop.currency", "database.url")
"""Keys whose value is text, whatever it looks like; `class` of a meter, too."""


@dataclass(frozen=True)
class Change:
    """A key with its value as typed, None to go back to the default."""

    key: str
    text: str | None


@dataclass(frozen=True)
class Changed:
    """What was changed. keys: dotted, in the order typed; the shop before and after."""

    keys: tuple[str, ...]
    before: Shop
    after: Shop


def known_keys() -> dict[str, str]:
    """Every key that can be set, with its table: dotted, and alone where no other table has it."""
    tables: dict[str, Sequence[str]] = {name: list(keys) for name, keys in SETTINGS.items()}
    tables |= {name: list(keys) for name, keys in PRICE_LISTS.items()}
    tables |= {"meter": ["class", *METER_KEYS], "database": list(DATABASE_KEYS)}
    dotted = {f"{table}.{key}": f"{table}.{key}" for table, keys in tables.items() for key in keys}
    alone = [key for keys in tables.values() for key in keys]
    return dotted | {name.partition(".")[2]: name for name in dotted if alone.count(name.partition(".")[2]) == 1}


def change_settings(
    file: Path, changes: Sequence[Change], approve: Callable[[Shop], object] = lambda _: None
) -> Changed:
    """Write the changes; the file and its folder are made where there are none.

    approve: looks at the shop as it would be, and raises to leave all as it is. UsageProblem lists every slip;
    ShopProblem: what was in the file already is damaged; FileProblem: it cannot be read or written. Nothing was
    changed then.
    """
    target = Path(os.path.realpath(file))  # a link stays a link
    try:
        approve(_changed(file, target, changes)[1].after)  # a slip leaves no trace, neither a folder nor a lock
        target.parent.mkdir(parents=True, exist_ok=True)
        with _alone(target):
            raw, changed = _changed(file, target, changes)
            with whole_file(target) as stream:
                stream.write(raw)
    except OSError as error:
        raise FileProblem(f"{file}: cannot be written: {error.strerror or error}; nothing was changed") from None
    return changed


def _changed(file: Path, target: Path, changes: Sequence[Change]) -> tuple[bytes, Changed]:
    """The file's bytes after the changes, and what they change. file: as it was named, which paths in it go by."""
    before = _present(file, target)
    shop = read_shop(before, file)  # damage that is there already is told with its place
    text = before.decode()
    keys, slips = _keys(changes)
    edits = [_edit(tomllib.loads(text.removeprefix("\ufeff")), key, typed) for key, typed in keys.items()]
    raw = toml_edit.edited(text, edits).encode()
    try:
        after = read_shop(raw, file)
    except PlacedProblem as error:
        slips += [f"{problem.path}: {problem.message}" for problem in error.problems]
    if slips:
        raise UsageProblem(*slips, "nothing was changed")
    return raw, Changed(tuple(keys), shop, after)


def _present(file: Path, target: Path) -> bytes:
    """What stands in the file; the first line of a new one where there is none."""
    if not target.exists():
        return FIRST_LINE.encode()
    if not target.is_file():  # a device would be replaced by a file
        raise FileProblem(f"{file}: is no file that settings can be written into")
    with target.open("rb") as stream:
        return stream.read(MOST_BYTES + 1)


def _keys(changes: Sequence[Change]) -> tuple[dict[str, str | None], list[str]]:
    """What was typed by dotted key, and every slip in it that can be seen without the file."""
    known = known_keys()
    found: dict[str, str | None] = {}
    slips = []
    for change in changes:
        name = change.key.strip().lower().replace("-", "_")
        key = name if _of_own_meter(name) or _of_group(name) else known.get(name)
        if key is None:
            slips.append(f"{change.key}: no setting has this name{_instead(name, known)}")
        elif key in found:
            slips.append(f"{key}: is named twice")
        elif change.text is not None and not change.text.isprintable():
            slips.append(f"{key}: {change.text!a} has characters that cannot be printed")
        else:
            found[key] = change.text
    return found, slips


def _of_own_meter(name: str) -> bool:
    parts = name.split(".")
    return len(parts) == 3 and parts[0] == "meters" and parts[2] in ("class", *METER_KEYS)


def _of_group(name: str) -> bool:
    table, _, group = name.partition(".")
    return table == "panel_groups" and "." not in group and group.isidentifier()


def _instead(name: str, known: dict[str, str]) -> str:
    """What to write instead of a name that is none."""
    table, _, key = name.rpartition(".")
    if table.startswith("meters."):
        return nearest(key, ["class", *METER_KEYS]) or f"; of a meter there are class, {', '.join(METER_KEYS)}"
    if key in known:
        return f"; did you mean {known[key]}?"
    alike = [each for each in known if ("." in each) == bool(table)]
    return nearest(name, alike) or "; `faultnet shop info` has them all"


def _edit(data: dict[str, Any], key: str, typed: str | None) -> tuple[toml_edit.Path, Any]:
    """Where a key stands in this file, and its value there. None of a list of prices can go: it gets its default."""
    table, *_, name = path = tuple(key.split("."))
    value = None if typed is None else _value(key, typed)
    if not isinstance(data.get(table), list):
        return path, value
    place = [*PRICE_LISTS[table]].index(name)
    return (table, place), getattr(ShopSettings(), table)[place] if value is None else value


def _value(key: str, text: str) -> Any:
    """A value as it is written in TOML: true, a number, else text."""
    if key in _TEXTS or key.endswith(".class") or _of_group(key):
        return text.upper() if key == "shop.currency" else text
    try:
        value = tomllib.loads(f"value = {text.strip().lower()}")["value"]
    except tomllib.TOMLDecodeError:
        return text
    return value if isinstance(value, bool | int | float) else text


@contextmanager
def _alone(file: Path) -> Iterator[None]:
    """Nobody else changes the settings meanwhile."""
    with (file.parent / f".{file.name}.lock").open("a") as stream, locked(stream.fileno()):
        yield
