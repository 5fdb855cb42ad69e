"""Reading a model file: from its bytes to a checked model, through the cache when the file is known."""

import threading
from dataclasses import replace
from functools import lru_cache
from hashlib import sha256
from pathlib import Path

from faultnet.errors import FileProblem, ModelProblem, Problem, UsageProblem
from faultnet.files import cache
from faultnet.files.finder import find_model_file, version_in
from faultnet.files.versions import read_version, usual_versions, version_in_text, versions_text
from faultnet.files.yaml_text import MOST_BYTES, YamlText, dotted, read_yaml, too_large
from faultnet.model.document import Document, model_from_document
from faultnet.model.model import Model
from faultnet.model.version import Version
from faultnet.version import __version__

DIGEST_DIGITS = 8
"""Hexadecimal digits of a file's digest that are shown: enough to tell two copies apart."""

_NOTHING: Document = {}

_SHARED = 16
"""Models that a process keeps for the next request: some ten megabytes each once they were asked."""

_MAKING = threading.Lock()


def load_model(name: str, *, use_cache: bool = True, versions: Path | None = None) -> Model:
    """The model with this id, or in this file.

    `backlight` is the version that the shop uses, `backlight@2` that one, and `backlight@0`, or a path, the file as it
    was written. versions: the folder of a database's versions (`files.versions`), else that of the usual one.

    UsageProblem: no such model, or no such version. FileProblem: it cannot be read. ModelProblem: all that is wrong.
    """
    file = find_model_file(name)
    raw, wanted = _read(file), version_in(name)
    written = _written(file, raw, use_cache)
    folder = None if wanted == 0 else versions or usual_versions()
    if folder is None:
        return _in_version(written, wanted, raw, None)
    return _in_version(written, wanted, raw, read_version(folder, written.id, wanted))


def shared_model(name: str, *, versions: Path | None = None) -> Model:
    """The same, made once in a process for the same text of the file and of its versions, as they are read each time.

    For servers: what was compiled for one request is there for the next. Models may be used by several threads at once.
    """
    file = find_model_file(name)
    raw, wanted = _read(file), version_in(name)
    with _MAKING:
        written = _shared_as_written(file, raw)
        folder = None if wanted == 0 else versions or usual_versions()
        text = versions_text(folder, written.id) if folder is not None else b""
        return _shared(file, raw, wanted, folder, text)


@lru_cache(maxsize=_SHARED)
def _shared_as_written(file: Path, raw: bytes) -> Model:
    return _written(file, raw, use_cache=True)


@lru_cache(maxsize=_SHARED)
def _shared(file: Path, raw: bytes, wanted: int | None, folder: Path | None, text: bytes) -> Model:
    written = _shared_as_written(file, raw)
    version = None if folder is None else version_in_text(folder, written.id, text, wanted)
    return _in_version(written, wanted, raw, version)


def _written(file: Path, raw: bytes, use_cache: bool) -> Model:
    return replace(_checked(file, raw, use_cache), file=str(file), digest=sha256(raw).hexdigest()[:DIGEST_DIGITS])


def digest_of(model: Model) -> str:
    """The SHA-256 of the file that a model was read from, as it is now. FileProblem: it cannot be read."""
    return sha256(_read(Path(model.file))).hexdigest()


def _in_version(written: Model, wanted: int | None, raw: bytes, version: Version | None) -> Model:
    """The model with the numbers of a version. wanted: by number, None for the newest, 0 for the file as written."""
    if version is None:
        if not wanted:
            return written
        raise UsageProblem(
            f"{written.id} has no version {wanted}; `faultnet model list` says which it has, "
            f"and {written.id}@0 is the file as written"
        )
    if version.chances and version.digest != sha256(raw).hexdigest():
        told = (
            f"{version.id} was learned with another text of {written.file}, which was edited since. "
            "Tune again, or take the text back"
        )
        if wanted is not None:
            raise UsageProblem(f"{told}; {written.id}@0 is the file as it is now")
        return replace(written, notice=f"{told}. Until then the file's own numbers are used ({written.id}@0)")
    return version.of(written)


def _checked(file: Path, raw: bytes, use_cache: bool) -> Model:
    key = cache.cache_key(raw, __version__)
    if use_cache and (kept := _remembered(key)):
        return kept
    document = _check(str(file), raw)
    if use_cache:
        cache.keep(key, dict(document))
    return _model(document)


def _model(document: Document) -> Model:
    return model_from_document(document, version=f"{document['id']}@0")


def _remembered(key: str) -> Model | None:
    """The model kept under this key, or None when nothing is kept or what is kept is no model."""
    document = cache.recall(key)
    try:
        return None if document is None else _model(document)
    except (LookupError, TypeError, ValueError, AttributeError):
        return None


def _read(file: Path) -> bytes:
    try:
        if (size := file.stat().st_size) > MOST_BYTES:
            raise ModelProblem(str(file), [Problem("", too_large(size))])
        with file.open("rb") as stream:
            return stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise FileProblem(f"{file}: cannot be read: {error.strerror or error}") from None


def _check(file: str, raw: bytes) -> Document:
    from faultnet.schema.validate import validate

    text = read_yaml(raw)
    listed, document = list(text.problems), _NOTHING
    if () not in text.unread:
        document, found = validate(text.data)
        told = [(path, message) for path, message in found if path not in text.unread]
        listed += [Problem(dotted(path), message, *text.place(path)) for path, message in told]
    if not listed:
        document, listed = _solve(document, text)
    if listed:
        raise ModelProblem(file, [problem.printable() for problem in dict.fromkeys(listed)])
    return document


def _solve(document: Document, text: YamlText) -> tuple[Document, list[Problem]]:
    """The document with solved priors; of an imported network, which brings its own, that an engine can hold it."""
    from faultnet.model.compiled import compile_model
    from faultnet.model.priors import NoSuchPriors, solve_root_odds

    try:
        model = model_from_document(document, version="")
        if model.is_imported:
            compile_model(model)
            return document, []
        odds = solve_root_odds(model)
    except NoSuchPriors as error:
        return document, [Problem(error.section, str(error), *text.place((error.section,)))]
    except ValueError as error:
        return document, [Problem("network" if document["network"] else "", str(error))]
    return {**document, "root_odds": [odds[mode] for mode in model.modes]}, []
