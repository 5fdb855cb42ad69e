"""Where model files live: with the package, in a checkout, or in the user's data folder."""

import os
from contextlib import suppress
from difflib import get_close_matches
from pathlib import Path

from faultnet.errors import UsageProblem

SUFFIX = ".yaml"


def model_folders() -> list[Path]:
    """The folders that hold models, the first to have an id wins."""
    package = Path(__file__).resolve().parent.parent
    return [package / "models", package.parent / "models"]


def is_shipped(file: Path) -> bool:
    """Whether this is a model file that came with the program."""
    return file.resolve().parent in model_folders()


def data_folder() -> Path:
    """The folder for what a shop keeps: `FAULTNET_DATA`, or the user's data folder."""
    if folder := os.environ.get("FAULTNET_DATA"):
        return Path(folder)
    from platformdirs import user_data_path

    return user_data_path("faultnet")


def own_models_folder() -> Path:
    """The user's folder for models of the shop's own."""
    return data_folder() / "models"


def list_models() -> dict[str, Path]:
    """Every model id that can be used by name, with its file."""
    files: dict[str, Path] = {}
    for folder in [*model_folders(), own_models_folder()]:
        for file in sorted(folder.glob(f"*{SUFFIX}")):
            files.setdefault(file.stem, file)
    return files


def find_model_file(name: str) -> Path:
    """The file of a model named by id (`backlight`, `backlight@0`) or by path. UsageProblem when there is none."""
    if is_path(name):
        return _existing_file(Path(name))
    model_id, _, version = name.partition("@")
    file = _file_of(model_id)
    if version and not (version.isascii() and version.isdecimal()):
        raise UsageProblem(
            f"{model_id} has no version {version}: a version is a number; {model_id}@0 is the file as written"
        )
    return file


def version_in(name: str) -> int | None:
    """The version in a model's name; 0 of a path, None where the one in use is meant."""
    if is_path(name):
        return 0
    version = name.partition("@")[2]
    return int(version) if version else None


def _file_of(model_id: str) -> Path:
    for folder in model_folders():
        file = folder / f"{model_id}{SUFFIX}"
        if _is_file(file):
            return file
    known = list_models()
    if model_id in known:
        return known[model_id]
    nearest = get_close_matches(model_id, known, n=3, cutoff=0.4) or sorted(known)
    raise UsageProblem(f"unknown model {model_id}; did you mean {' or '.join(nearest)}? (`faultnet model list`)")


def is_path(name: str) -> bool:
    """Whether a name means a file wherever it lies, not a model by its id."""
    return name.lower().endswith((SUFFIX, ".yml")) or "/" in name or os.sep in name


def _existing_file(path: Path) -> Path:
    if _is_file(path):
        return path
    with suppress(OSError):
        if path.is_dir():
            raise UsageProblem(f"{path} is a folder; name the model file in it")
    raise UsageProblem(f"there is no model file {path}")


def _is_file(path: Path) -> bool:
    """Whether there is such a file; a name that no file can have (too long) is none."""
    try:
        return path.is_file()
    except OSError:
        return False
