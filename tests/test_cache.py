"""The cache of checked models: it saves time, and whatever is wrong with it never changes an answer."""

import json
import multiprocessing
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest
from small_models import TINY, edit, write_model

from faultnet.errors import ModelProblem
from faultnet.files import cache, list_models, load_model
from faultnet.model import Model

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache folder of this test's own, not there yet."""
    monkeypatch.setenv("FAULTNET_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture
def checks(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Grows by one entry whenever a file is checked rather than remembered."""
    from faultnet.files import load

    made: list[str] = []
    check = load._check
    monkeypatch.setattr(load, "_check", lambda file, raw: made.append(file) or check(file, raw))
    return made


def only_file(folder: Path) -> Path:
    (file,) = folder.iterdir()
    return file


def signed(text: bytes) -> bytes:
    """A cache file's content that passes for whole."""
    return sha256(text).hexdigest().encode() + b"\n" + text


@pytest.mark.parametrize("name", [*sorted(list_models()), "tiny"])
def test_a_model_from_the_cache_equals_the_one_that_was_checked(name: str, folder: Path, tmp_path: Path) -> None:
    model = write_model(tmp_path, TINY) if name == "tiny" else name
    checked = load_model(model, use_cache=False)
    assert not folder.exists()
    kept, remembered = load_model(model), load_model(model)
    assert only_file(folder).suffix == ".json"
    assert checked == kept == remembered
    assert checked.root_odds == kept.root_odds == remembered.root_odds
    assert len(checked.root_odds or ()) == len(checked.modes)
    assert list(remembered.observations) == list(checked.observations), "in the order of the file"


def test_a_file_is_checked_once(folder: Path, checks: list[str], tmp_path: Path) -> None:
    file = write_model(tmp_path, TINY)
    assert load_model(file) == load_model(file)
    assert checks == [file]
    assert folder.exists()


def test_an_edited_file_is_noticed(folder: Path, checks: list[str], tmp_path: Path) -> None:
    file = write_model(tmp_path, TINY)
    before = Path(file).stat()
    assert load_model(file).components["lamp"].modes[0].share == 0.5
    write_model(
        tmp_path, edit("open, share: 0.5", "open, share: 0.4", edit("in this model, share: 0.1", "x, share: 0.2"))
    )
    os.utime(file, ns=(before.st_atime_ns, before.st_mtime_ns))
    assert load_model(file).components["lamp"].modes[0].share == 0.4
    assert len(checks) == 2
    assert len(list(folder.iterdir())) == 2


def test_a_file_broken_after_it_was_kept_is_refused(folder: Path, tmp_path: Path) -> None:
    file = write_model(tmp_path, TINY)
    load_model(file)
    write_model(tmp_path, edit("p: [0.9, 0.1]", "p: [0.9, 0.2]"))
    with pytest.raises(ModelProblem, match=r"tiny\.yaml:66:31: observations"):
        load_model(file)
    assert len(list(folder.iterdir())) == 1, "nothing is kept of a file that is wrong"


def test_the_same_text_under_another_name_is_remembered(folder: Path, checks: list[str], tmp_path: Path) -> None:
    assert load_model(write_model(tmp_path, TINY, "one.yaml")) == load_model(write_model(tmp_path, TINY, "two.yaml"))
    assert len(checks) == len(list(folder.iterdir())) == 1


def test_another_version_of_the_program_or_layout_checks_again(
    folder: Path, checks: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = write_model(tmp_path, TINY)
    load_model(file)
    monkeypatch.setattr("faultnet.files.load.__version__", "999")
    load_model(file)
    monkeypatch.setattr(cache, "LAYOUT", cache.LAYOUT + 1)
    load_model(file)
    assert len(checks) == len(list(folder.iterdir())) == 3


def test_without_the_cache_nothing_is_read_or_written(folder: Path, checks: list[str], tmp_path: Path) -> None:
    file = write_model(tmp_path, TINY)
    load_model(file, use_cache=False)
    assert not folder.exists()
    load_model(file)
    load_model(file, use_cache=False)
    assert len(checks) == 3


# -- a cache that cannot be used -----------------------------------------------------------------------------------


def test_a_cache_folder_that_cannot_be_made_costs_time_only(
    checks: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = tmp_path / "a file, not a folder"
    blocked.write_text("in the way")
    monkeypatch.setenv("FAULTNET_CACHE", str(blocked / "below"))
    file = write_model(tmp_path, TINY)
    assert load_model(file) == load_model(file)
    assert len(checks) == 2
    assert blocked.read_text() == "in the way"


def test_a_disk_that_is_full_leaves_nothing_half_written(
    folder: Path, checks: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def write_half(self: Path, data: bytes) -> int:
        with self.open("wb") as stream:
            stream.write(data[: len(data) // 2])
        raise OSError(28, "No space left on device")

    file = write_model(tmp_path, TINY)
    with monkeypatch.context() as patch:
        patch.setattr(Path, "write_bytes", write_half)
        load_model(file)
    assert list(folder.iterdir()) == []
    load_model(file)
    assert len(checks) == 2
    assert len(list(folder.iterdir())) == 1


def test_a_move_into_place_that_fails_leaves_no_leftovers(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Path, target: Path) -> Path:
        raise PermissionError(13, f"{self} may not replace {target}")

    monkeypatch.setattr(Path, "replace", refuse)
    assert load_model(write_model(tmp_path, TINY)).id == "tiny"
    assert list(folder.iterdir()) == []


DAMAGES: dict[str, Callable[[bytes], bytes]] = {
    "empty": lambda _: b"",
    "truncated": lambda whole: whole[: len(whole) // 2],
    "one byte short": lambda whole: whole[:-1],
    "one byte more": lambda whole: whole + b" ",
    "one byte changed": lambda whole: whole.replace(b'"id":"tiny"', b'"id":"tinz"'),
    "garbage": lambda _: bytes(range(256)) * 50,
    "no digest": lambda whole: whole.partition(b"\n")[2],
    "another digest": lambda whole: b"0" * 64 + whole[64:],
    "a digest that is no text": lambda whole: b"\xff" * 64 + whole[64:],
    "signed nonsense": lambda _: signed(b"{not json"),
    "a signed list": lambda _: signed(b"[1, 2]"),
    "signed null": lambda _: signed(b"null"),
    "a signed number": lambda _: signed(b"7"),
    "a signed word": lambda _: signed(b'"tiny"'),
    "a signed empty mapping": lambda _: signed(b"{}"),
    "a signed mapping of other things": lambda _: signed(b'{"id": "tiny", "components": 3}'),
    "a signed model without tests": lambda whole: signed(without(whole, "tests")),
    "a signed model with a word for a section": lambda whole: signed(without(whole, "rails", "word")),
    "signed brackets without end": lambda _: signed(b"[" * 200_000),
}


def without(whole: bytes, section: str, instead: str | None = None) -> bytes:
    document = json.loads(whole.partition(b"\n")[2])
    assert document.pop(section)
    return json.dumps(document if instead is None else {**document, section: instead}).encode()


@pytest.mark.parametrize("damage", DAMAGES.values(), ids=DAMAGES)
def test_a_damaged_cache_file_is_ignored_and_repaired(
    damage: Callable[[bytes], bytes], folder: Path, checks: list[str], tmp_path: Path
) -> None:
    file = write_model(tmp_path, TINY)
    model = load_model(file)
    whole = only_file(folder).read_bytes()
    damaged = damage(whole)
    assert damaged != whole
    only_file(folder).write_bytes(damaged)
    assert load_model(file) == model
    assert only_file(folder).read_bytes() == whole
    assert load_model(file) == model
    assert len(checks) == 2


def test_a_folder_where_the_cache_file_should_be_costs_time_only(
    folder: Path, checks: list[str], tmp_path: Path
) -> None:
    file = write_model(tmp_path, TINY)
    model = load_model(file)
    kept = only_file(folder)
    kept.unlink()
    kept.mkdir()
    assert load_model(file) == model
    assert len(checks) == 2
    assert only_file(folder) == kept


# -- several at once -----------------------------------------------------------------------------------------------


def test_processes_that_start_at_once_get_the_same_model_and_leave_one_whole_file(folder: Path) -> None:
    n = 3
    context = multiprocessing.get_context("spawn")
    start = context.Barrier(n)
    answers = context.Queue()
    workers = [context.Process(target=load_at_the_same_time, args=(str(folder), start, answers)) for _ in range(n)]
    for worker in workers:
        worker.start()
    seen = [answers.get(timeout=120) for _ in workers]
    for worker in workers:
        worker.join(timeout=60)
    assert [worker.exitcode for worker in workers] == [0] * n
    assert seen == [repr(load_model("backlight", use_cache=False))] * n
    digest, _, text = only_file(folder).read_bytes().partition(b"\n")
    assert digest.decode() == sha256(text).hexdigest()


def load_at_the_same_time(folder: str, start: "threading.Barrier", answers: "multiprocessing.Queue[str]") -> None:
    os.environ["FAULTNET_CACHE"] = folder
    start.wait(timeout=60)
    answers.put(repr(load_model("backlight")))


def test_threads_that_write_at_once_never_let_a_reader_see_half(folder: Path) -> None:
    document = {"id": "x", "text": "long " * 20_000}
    stop, seen = threading.Event(), []

    def write() -> None:
        while not stop.is_set():
            cache.keep("key", document)

    writers = [threading.Thread(target=write) for _ in range(4)]
    cache.keep("key", document)
    for writer in writers:
        writer.start()
    try:
        seen = [cache.recall("key") for _ in range(200)]
    finally:
        stop.set()
        for writer in writers:
            writer.join()
    assert all(found == document for found in seen)
    assert [file.name for file in folder.iterdir()] == ["key.json"]


# -- what a start from the cache costs -----------------------------------------------------------------------------

HEAVY = ("pydantic", "ruamel", "pandas", "pgmpy", "sklearn", "matplotlib", "numba", "scipy")


def modules_after_loading(folder: Path) -> set[str]:
    """The heavy packages that a fresh interpreter has imported once backlight is loaded and ready for questions."""
    code = (
        "import sys\n"
        "from faultnet.files import load_model\n"
        "assert load_model('backlight').compiled.engine.prior.targets.size\n"
        "print(*sorted({name.partition('.')[0] for name in sys.modules}))\n"
    )
    environment = {**os.environ, "FAULTNET_CACHE": str(folder), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, cwd=folder.parent, capture_output=True, text=True, check=True
    )
    return set(HEAVY) & set(done.stdout.split())


def test_a_start_from_the_cache_imports_neither_the_checker_nor_the_yaml_reader(folder: Path) -> None:
    assert modules_after_loading(folder) >= {"pydantic", "ruamel"}, "the first start checks the file"
    assert modules_after_loading(folder) == set()


def test_the_cache_folder_is_the_users_unless_told_otherwise(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("FAULTNET_CACHE", str(tmp_path))
    assert cache.cache_folder() == tmp_path
    monkeypatch.delenv("FAULTNET_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "user"))
    assert cache.cache_folder().name == "faultnet"


@pytest.mark.usefixtures("folder")
def test_no_part_of_a_model_is_lost_on_the_way_through_json(tmp_path: Path) -> None:
    """Names and texts outside ASCII and the smallest and largest numbers that a file may hold."""
    text = edit(
        "label: measure it", 'label: "Mäß \\u2028 \\U0001f4a1 \\" \\\\"', edit("minutes: 3\n", "minutes: 1e-300\n")
    )
    file = write_model(tmp_path, edit("{lamp.open: 2}", "{lamp.open: 0.30000000000000004}", text))
    checked, remembered = load_model(file), load_model(file)
    assert isinstance(remembered, Model)
    assert remembered == checked
    assert remembered.tests["volts"].label == 'Mäß \u2028 \U0001f4a1 " \\'
    assert remembered.tests["volts"].minutes == 1e-300
    assert list(remembered.conditions["age"].odds["old"].values()) == [0.30000000000000004]
