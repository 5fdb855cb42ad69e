"""Changing keys in `shop.toml` with its comments and order kept; all changes are made, or none."""

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from faultnet.case.entry import nearest
from faultnet.errors import FileProblem, PlacedProblem, UsageProblem
from faultnet.files.write import whole_file
from faultnet.shop.keys import DATABASE_KEYS, METER_KEYS, PRICE_LISTS, SETTINGS
from faultnet.shop.lock import locked
from faultnet.shop.settings_file import read_shop

FIRST_LINE = "# The shop's settings; `faultnet shop info` says what each key means.\n"


@dataclass(frozen=True)
class Change:
    """A key with its value as typed, None to go back to the default."""

    key: str
    text: str | None


def known_keys() -> dict[str, str]:
    """Every key that can be set, with its table: dotted, and alone where no other table has it."""
    tables: dict[str, Sequence[str]] = {name: list(keys) for name, keys in SETTINGS.items()}
    tables |= {name: list(keys) for name, keys in PRICE_LISTS.items()}
    tables |= {"meter": ["class", *METER_KEYS], "database": list(DATABASE_KEYS)}
    dotted = {f"{table}.{key}": f"{table}.{key}" for table, keys in tables.items() for key in keys}
    alone = [key for keys in tables.values() for key in keys]
    return dotted | {name.partition(".")[2]: name for name in dotted if alone.count(name.partition(".")[2]) == 1}


def change_settings(file: Path, changes: Sequence[Change]) -> Mapping[str, tuple[Any, Any]]:
    """Write the changes; of each key its value before and after, None where it stands nowhere.

    UsageProblem lists every slip. FileProblem: the file cannot be read or written; nothing was changed then.
    """
    keys = _keys(changes)
    file = file.resolve()  # a link stays a link
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with _alone(file):
            before = file.read_bytes() if file.exists() else FIRST_LINE.encode()
            raw, told = _changed(before, keys, changes, file)
            with whole_file(file) as stream:
                stream.write(raw)
    except OSError as error:
        raise FileProblem(f"{file}: cannot be written: {error.strerror or error}; nothing was changed") from None
    return told


def _keys(changes: Sequence[Change]) -> list[str]:
    known = known_keys()
    found, problems = [], []
    for change in changes:
        name = change.key.strip().lower().replace("-", "_")
        if name in known:
            found.append(known[name])
        elif name.startswith("meters.") and name.count(".") == 2 and name.rpartition(".")[2] in ("class", *METER_KEYS):
            found.append(name)
        else:
            hint = nearest(name, known) or "; `faultnet shop info` has them all"
            problems.append(f"{change.key}: no setting has this name{hint}")
    if problems:
        raise UsageProblem(*problems)
    return found


def _changed(
    before: bytes, keys: Sequence[str], changes: Sequence[Change], file: Path
) -> tuple[bytes, dict[str, tuple[Any, Any]]]:
    """The file's bytes after the changes, and what was and is there. UsageProblem: a value that may not be."""
    import tomlkit

    read_shop(before, file)  # damage that is there already is told with its place
    document = tomlkit.parse(before.decode("utf-8-sig").replace("\r\n", "\n"))
    told: dict[str, tuple[Any, Any]] = {}
    for key, change in zip(keys, changes, strict=True):
        old = _value_of(document.unwrap(), key)
        value = None if change.text is None else _typed(key, change.text)
        _put(document, key, value)
        told[key] = (told[key][0] if key in told else old, value)
    raw = tomlkit.dumps(document).encode()
    try:
        read_shop(raw, file)
    except PlacedProblem as error:
        raise UsageProblem(
            *(f"{problem.path}: {problem.message}; nothing was changed" for problem in error.problems)
        ) from None
    return raw, told


def _typed(key: str, text: str) -> Any:
    """A value as it is written in TOML: true, a number, else text."""
    if key in ("meter.class", "shop.currency", "database.url") or key.endswith(".class"):
        return text.upper() if key == "shop.currency" else text
    try:
        value = tomllib.loads(f"value = {text.strip().lower()}")["value"]
    except tomllib.TOMLDecodeError:
        return text
    return value if isinstance(value, bool | int | float) else text


def _value_of(data: Mapping[str, Any], key: str) -> Any:
    found: Any = data
    for part in key.split("."):
        if isinstance(found, list):
            names = [*PRICE_LISTS[key.split(".")[0]]]
            return found[names.index(part)] if names.index(part) < len(found) else None
        if not isinstance(found, Mapping) or part not in found:
            return None
        found = found[part]
    return found


def _put(document: Any, key: str, value: Any) -> None:
    """Set a key, in the form in which its table stands; or take it out."""
    import tomlkit

    *tables, name = key.split(".")
    table = document
    for part in tables:
        if part not in table:
            if value is None:
                return
            table[part] = tomlkit.table()
        table = table[part]
    if isinstance(table, list):
        place = [*PRICE_LISTS[tables[0]]].index(name)
        if value is None:
            raise UsageProblem(f"{key}: stands in a list of {len(table)}; take all of them out of the file by hand")
        table[place] = value
    elif value is None:
        table.pop(name, None)
    else:
        table[name] = value


@contextmanager
def _alone(file: Path) -> Iterator[None]:
    """Nobody else changes the settings meanwhile."""
    with (file.parent / f".{file.name}.lock").open("a") as stream, locked(stream.fileno()):
        yield
