"""Versions of models kept where they are read without opening the database."""

from contextlib import suppress

from faultnet.errors import FileProblem
from faultnet.files.versions import mirror, mirrored, remember_usual, versions_folder
from faultnet.store.database import Database
from faultnet.store.versions import listed_versions, read_versions


def mirror_versions(database: Database, *, is_usual: bool = False) -> None:
    """Bring the mirror in the data folder up to date with the database; one that cannot be written stays as it is."""
    try:
        folder = versions_folder(database.shown)
    except RuntimeError:
        return
    if is_usual:
        remember_usual(folder)
    with database.read() as connection:
        listed, there = listed_versions(connection), mirrored(folder)
        for model in sorted({*listed, *there}):
            if listed.get(model) != there.get(model):
                with suppress(FileProblem):
                    mirror(folder, model, read_versions(connection, model) if model in listed else [])
