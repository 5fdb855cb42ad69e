"""Model files with random mistakes, seeded: each loads or is refused with places, and nothing else ever happens."""

import copy
import random
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from small_models import TINY, within_seconds

from faultnet.errors import FaultnetError
from faultnet.files import list_models, load_model
from faultnet.files.yaml_text import read_yaml
from faultnet.model.document import model_from_document
from faultnet.schema.validate import validate

BACKLIGHT = list_models()["backlight"].read_text(encoding="utf-8")


def delete_lines(lines: list[str], chance: random.Random) -> None:
    start = chance.randrange(len(lines))
    del lines[start : start + chance.choice([1, 1, 1, 2, 10])]


def repeat_line(lines: list[str], chance: random.Random) -> None:
    lines.insert(chance.randrange(len(lines)), chance.choice(lines))


def swap_lines(lines: list[str], chance: random.Random) -> None:
    a, b = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]


def truncate(lines: list[str], chance: random.Random) -> None:
    del lines[chance.randrange(len(lines)) + 1 :]
    lines[-1] = lines[-1][: chance.randrange(len(lines[-1]) + 1)]


NUMBERS = ["-1", "0", "1.5", ".nan", ".inf", "1e9", "1e-300", "''", "~", "[]", "0x10", "1_0", "9" * 30, "true"]
WORDS = [
    "no",
    "ok",
    "other",
    "lamp",
    "strips",
    "set_works",
    "{}",
    "[a, b]",
    "*x",
    "&x y",
    "!!int",
    "é",
    "a b",
    "A",
    "?",
    "|",
]
BYTES = [
    "\t",
    "\0",
    "\x1b",
    "\u2028",
    "\ufeff",
    ":",
    "- ",
    "{",
    "]",
    "'",
    '"',
    "#",
    "%",
    "&a ",
    "*a",
    "\\",
    "\U0001f4a1",
]


def replace_a_match(pattern: str, choices: list[str]) -> Callable[[list[str], random.Random], None]:
    def mutate(lines: list[str], chance: random.Random) -> None:
        having = [number for number, line in enumerate(lines) if re.search(pattern, line)]
        if not having:
            return
        number = chance.choice(having)
        found = chance.choice(list(re.finditer(pattern, lines[number])))
        line = lines[number]
        lines[number] = line[: found.start()] + chance.choice(choices) + line[found.end() :]

    return mutate


def insert_bytes(lines: list[str], chance: random.Random) -> None:
    number = chance.randrange(len(lines))
    at = chance.randrange(len(lines[number]) + 1)
    lines[number] = lines[number][:at] + chance.choice(BYTES) + lines[number][at:]


MUTATIONS: list[Callable[[list[str], random.Random], None]] = [
    delete_lines,
    repeat_line,
    swap_lines,
    truncate,
    replace_a_match(r"\d+(\.\d+)?", NUMBERS),
    replace_a_match(r"[a-z_]{2,}", WORDS),
    insert_bytes,
]


def mutated(text: str, seed: int) -> str:
    """The text after one to three mutations."""
    chance = random.Random(seed)
    lines = text.splitlines()
    for _ in range(chance.choice([1, 1, 2, 3])):
        chance.choice(MUTATIONS)(lines, chance)
        lines = lines or [""]
    return "\n".join(lines) + "\n"


def loads_or_is_refused(text: str, file: Path) -> bool:
    """Whether the text loads. Anything but a model or a refusal with places fails the test."""
    file.write_text(text, encoding="utf-8", newline="")
    with within_seconds():
        try:
            load_model(str(file), use_cache=False)
        except FaultnetError as error:
            refused = error
        else:
            return True
    assert refused.exit_code == 3
    n_lines = len(re.findall(r"\r\n|[\r\n\x85\u2028\u2029]", text)) + 1
    for line in str(refused).split("\n"):
        place = re.match(rf"{re.escape(str(file))}:(\d+):(\d+): \S", line)
        assert place, line
        assert 1 <= int(place[1]) <= n_lines
    return False


def fuzz(text: str, seeds: range, file: Path) -> None:
    outcomes = [loads_or_is_refused(mutated(text, seed), file) for seed in seeds]
    assert any(outcomes), "none loads: the mutations destroy too much to try what comes after the first check"
    assert sum(outcomes) < len(outcomes) / 2, "most load: the mutations change too little"


def test_mutations_of_the_small_model_load_or_are_refused(tmp_path: Path) -> None:
    fuzz(TINY, range(220), tmp_path / "small.yaml")


def test_mutations_of_backlight_load_or_are_refused(tmp_path: Path) -> None:
    fuzz(BACKLIGHT, range(40), tmp_path / "large.yaml")


@pytest.mark.slow
def test_thousands_of_mutations_load_or_are_refused(tmp_path: Path) -> None:
    fuzz(TINY, range(1_000, 4_000), tmp_path / "small.yaml")
    fuzz(BACKLIGHT, range(1_000, 1_500), tmp_path / "large.yaml")


def containers(value: Any) -> Iterator[dict[Any, Any] | list[Any]]:
    """Every mapping and list inside, itself included."""
    if isinstance(value, dict | list):
        if value:
            yield value
        for item in value.values() if isinstance(value, dict) else value:
            yield from containers(item)


JUNK = [
    None,
    True,
    -1,
    0,
    2,
    1.5,
    float("nan"),
    10**40,
    "",
    "no",
    "ok",
    "Not An Id",
    "other",
    [],
    [[]],
    {},
    {"when": 1},
    "x" * 99,
]


def mutate_data(data: Any, chance: random.Random) -> None:
    """Delete, replace, rename, repeat or exchange one thing somewhere inside."""
    inside = list(containers(data))
    where = chance.choice(inside)
    key = chance.choice(list(where) if isinstance(where, dict) else range(len(where)))
    match chance.randrange(5):
        case 0:
            del where[key]
        case 1:
            where[key] = chance.choice(JUNK)
        case 2 if isinstance(where, dict):
            where[f"{key}x"] = where.pop(key)
        case 3 if isinstance(where, list):
            where.append(where[key])
        case _:
            other = chance.choice(inside)
            where[key] = copy.deepcopy(chance.choice(list(other.values()) if isinstance(other, dict) else other))


def test_mutations_of_the_data_are_found_wrong_or_make_a_model() -> None:
    written, n_wrong = read_yaml(BACKLIGHT.encode()).data, 0
    for seed in range(250):
        chance = random.Random(seed)
        data = copy.deepcopy(written)
        for _ in range(chance.choice([1, 1, 2])):
            mutate_data(data, chance)
        with within_seconds():
            document, found = validate(data)
        n_wrong += bool(found)
        assert all(isinstance(path, tuple) and message for path, message in found)
        if not found:
            assert set(model_from_document(document, "").tests) == set(data["tests"])
    assert 125 < n_wrong < 250
