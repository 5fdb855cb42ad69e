"""Backups of a shop: made when asked for and before anything that changes much, and put back."""

from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from sqlalchemy import Engine

from faultnet.errors import StoreProblem
from faultnet.files.finder import data_folder, own_models_folder
from faultnet.files.write import whole_file
from faultnet.shop import Shop
from faultnet.shop.find import usual_settings_file
from faultnet.store.archive import Archive, put_back, read_archive, write_archive
from faultnet.store.check import count_rows
from faultnet.store.database import Database
from faultnet.workshop.mirror import mirror_versions

KEPT = 20
"""So many automatic backups are kept, the newest."""

SETTINGS, MODELS = "shop.toml", "models"


def back_up(database: Database, shop: Shop, file: Path, now: datetime, *, replacing: bool = False) -> Mapping[str, int]:
    """Write the whole shop into one file; of each table how many rows. StoreProblem: it is there, or cannot be."""
    if file.exists() and not replacing:
        raise StoreProblem(f"{file} is there already: name another file, or say --force")
    return write_archive(database.engine, file, shop_files(shop), now)


def back_up_before(engine: Engine, shop: Shop, what: str, now: datetime, needed: Path | None = None) -> Path:
    """An automatic backup, before something that changes much; where it lies. Of older ones the newest are kept.

    needed: one that is kept however old it is. StoreProblem: it cannot be written.
    """
    folder, moment = backups_folder(), now.strftime("%Y%m%dT%H%M%S%fZ")
    names = (f"shop-{moment}{again}-before-{what}.zip" for again in ("", *(f"-{n}" for n in range(2, 1000))))
    file = next(folder / name for name in names if not (folder / name).exists())
    write_archive(engine, file, shop_files(shop), now)
    for old in sorted(folder.glob("shop-*-before-*.zip"))[:-KEPT]:
        if needed is None or old.resolve() != needed.resolve():
            with suppress(OSError):
                old.unlink()
    return file


def backups_folder() -> Path:
    """Where automatic backups lie. StoreProblem: nowhere, without a home."""
    try:
        return data_folder() / "backups"
    except RuntimeError:
        raise StoreProblem("there is no data folder without a home; name one in FAULTNET_DATA") from None


def restore(database: Database, shop: Shop, file: Path, now: datetime) -> tuple[Archive, Path | None]:
    """Put a backup in the place of the shop as it is; where the automatic backup of that lies, if there was anything.

    Settings and own models come with it. StoreProblem: it cannot be read; nothing was changed.
    """
    archive, kept = read_archive(file), None
    with database.read() as connection:
        is_used = any(count_rows(connection).values())
    if is_used or any(_place(shop, name).exists() for name in archive.files):
        kept = back_up_before(database.engine, shop, "restore", now, needed=file)
    with database.write() as connection:
        put_back(connection, archive)
        _put_files_back(shop, archive.files)
    mirror_versions(database)
    return archive, kept


def shop_files(shop: Shop) -> dict[str, bytes]:
    """The shop's own files by their names in a backup: settings and own models."""
    files: dict[str, bytes] = {}
    if shop.file is not None and shop.file.is_file():
        files[SETTINGS] = shop.file.read_bytes()
    for model in sorted(own_models_folder().glob("*.yaml")):
        files[f"{MODELS}/{model.name}"] = model.read_bytes()
    return files


def _place(shop: Shop, name: str) -> Path:
    """Where a file of a backup goes."""
    if name == SETTINGS:
        place = shop.file or usual_settings_file()
        if place is None:
            raise StoreProblem("there is no config folder without a home; name a settings file with --shop")
        return place
    return data_folder() / name


def _put_files_back(shop: Shop, files: Mapping[str, bytes]) -> None:
    """All files in their places, each whole or as before."""
    try:
        for name, content in files.items():
            place = _place(shop, name)
            place.parent.mkdir(parents=True, exist_ok=True)
            with whole_file(place) as stream:
                stream.write(content)
    except OSError as error:
        told = f"{error.filename}: cannot be written: {error.strerror}"
        raise StoreProblem(f"{told}; the database was not changed") from None
