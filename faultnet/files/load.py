"""Reading a model file: from its bytes to a checked model, through the cache when the file is known."""

from pathlib import Path

from faultnet import __version__
from faultnet.errors import FileProblem, ModelProblem, Problem
from faultnet.files import cache
from faultnet.files.library import find_model_file
from faultnet.files.yaml_text import MOST_BYTES, dotted, read_yaml
from faultnet.model.document import Document, model_from_document
from faultnet.model.model import Model


def load_model(name: str, *, use_cache: bool = True) -> Model:
    """The model with this id (`backlight`, `backlight@0`) or in this file.

    UsageProblem: no such model. FileProblem: it cannot be read. ModelProblem: everything that is wrong with it.
    """
    file = find_model_file(name)
    raw = _read(file)
    key = cache.cache_key(raw, __version__)
    document = cache.recall(key) if use_cache else None
    if document is None:
        document = _check(str(file), raw)
        if use_cache:
            cache.keep(key, dict(document))
    return model_from_document(document, version=f"{document['id']}@0")


def _read(file: Path) -> bytes:
    try:
        with file.open("rb") as stream:
            return stream.read(MOST_BYTES + 1) if file.stat().st_size <= MOST_BYTES else b" " * (MOST_BYTES + 1)
    except OSError as error:
        raise FileProblem(f"{file}: cannot be read: {error.strerror or error}") from None


def _check(file: str, raw: bytes) -> Document:
    from faultnet.schema.validate import validate

    text = read_yaml(raw)
    found = [] if text.data is None else validate(text.data)
    document, problems = found if found else ({}, [])
    listed = list(text.problems)
    for path, message in problems:
        listed.append(Problem(dotted(path), message, *text.place(path)))
    if not listed:
        document, listed = _solve(document, text.place(("second_fault_share",)))
    if listed:
        raise ModelProblem(file, list(dict.fromkeys(listed)))
    return document


def _solve(document: Document, place: tuple[int, int]) -> tuple[Document, list[Problem]]:
    from faultnet.model.priors import NoSuchPriors, solve_root_odds

    try:
        model = model_from_document(document, version="")
        odds = solve_root_odds(model)
    except NoSuchPriors as error:
        return document, [Problem("second_fault_share", str(error), *place)]
    except ValueError as error:
        return document, [Problem("", str(error), *place)]
    return {**document, "root_odds": [odds[mode] for mode in model.modes]}, []
