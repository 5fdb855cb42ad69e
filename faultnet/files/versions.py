"""Versions of models mirrored in the user's data folder, from which they are read without opening a database."""

import json
import os
import re
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

from faultnet.errors import FileProblem
from faultnet.files.finder import data_folder
from faultnet.files.write import whole_file
from faultnet.model.version import Version, version_from_document

_PASSWORD = re.compile(r"//([^:/@]*):[^@]*@")
_USUAL = "usual.txt"


def versions_folder(database: str) -> Path:
    """The folder of a database's versions: of a file, or a URL with or without its password. RuntimeError: no home."""
    database = database.removeprefix("sqlite:///")
    place = _PASSWORD.sub(r"//\1:***@", database) if "://" in database else str(Path(database).expanduser().resolve())
    return data_folder() / "versions" / sha256(place.encode()).hexdigest()[:16]


def usual_versions() -> Path | None:
    """The folder of the database that was last opened as the usual one; None where none was."""
    try:
        return data_folder() / "versions" / (data_folder() / "versions" / _USUAL).read_text(encoding="utf-8").strip()
    except (OSError, RuntimeError, ValueError):
        return None


def remember_usual(folder: Path) -> None:
    """Say that this is the folder of the usual database. A data folder that cannot be written stays as it is."""
    note = folder.parent / _USUAL
    try:
        if not note.exists() or note.read_text(encoding="utf-8").strip() != folder.name:
            folder.parent.mkdir(parents=True, exist_ok=True)
            note.write_text(folder.name, encoding="utf-8")
    except OSError:
        return


def read_version(folder: Path | None, model: str, number: int | None) -> Version | None:
    """A version of a model, the newest where no number is given; None where there is none.

    FileProblem: it is damaged.
    """
    return None if folder is None else version_in_text(folder, model, versions_text(folder, model), number)


def versions_text(folder: Path, model: str) -> bytes:
    """What is mirrored of a model, as it stands in its file; empty where there is none. FileProblem: it is damaged."""
    try:
        return _file(folder, model).read_bytes()
    except FileNotFoundError:
        return b""
    except OSError as error:
        raise _damaged(folder, model, error) from None


def version_in_text(folder: Path, model: str, text: bytes, number: int | None) -> Version | None:
    """The same as `read_version` of what was read before."""
    try:
        versions = {int(each["number"]): each for each in (json.loads(text) if text else [])}
        wanted = max(versions, default=0) if number is None else number
        return version_from_document(versions[wanted]) if wanted in versions else None
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise _damaged(folder, model, error) from None


def _file(folder: Path, model: str) -> Path:
    return folder / f"{model}.json"


def _damaged(folder: Path, model: str, error: Exception) -> FileProblem:
    return FileProblem(
        f"{_file(folder, model)}: cannot be read ({type(error).__name__}); it is made again when the shop's database "
        "is opened: run `faultnet job list`"
    )


def mirrored(folder: Path) -> dict[str, list[tuple[int, str]]]:
    """Of every model the versions that are mirrored, by number and moment; of a damaged file none."""
    found = {}
    for file in sorted(folder.glob("*.json")):
        try:
            found[file.stem] = [(int(each["number"]), str(each["at"])) for each in json.loads(file.read_bytes())]
        except (OSError, ValueError, KeyError, TypeError):
            found[file.stem] = []
    return found


def mirror(folder: Path, model: str, versions: Sequence[Version]) -> None:
    """Write all versions of a model; none: its file goes. FileProblem: it cannot be written."""
    file = _file(folder, model)
    try:
        if not versions:
            file.unlink(missing_ok=True)
            return
        folder.mkdir(parents=True, exist_ok=True)
        with whole_file(file) as stream:
            text = json.dumps([version.as_document() for version in versions], separators=(",", ":"))
            stream.write(text.encode())
    except OSError as error:
        raise FileProblem(f"{file}: cannot be written: {os.strerror(error.errno or 0)}") from None
