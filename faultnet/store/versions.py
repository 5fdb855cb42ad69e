"""Versions of models in the database; rows are only added, the newest of a model is the one in use."""

import json
from datetime import UTC, datetime

import sqlalchemy as sa
from sqlalchemy import Connection

from faultnet.errors import Stale, StoreProblem
from faultnet.model.version import Version, version_from_document
from faultnet.store.tables import moment_text, versions

_ACCEPTING = 20_280_417
"""The lock under which versions are accepted in PostgreSQL; SQLite has one writer at a time."""


def insert_version(connection: Connection, version: Version) -> None:
    """Add a version. Stale: another one was accepted since its parent was read."""
    if connection.dialect.name == "postgresql":
        connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_ACCEPTING)))
    newest = newest_number(connection, version.model)
    if newest != version.number - 1:
        raise Stale(
            f"{version.model}@{newest} was accepted meanwhile; this was learned beside "
            f"{version.model}@{version.number - 1}, which is stale. "
            f"Look at it with `faultnet model diff {version.model}@{newest}`, then tune again"
        )
    row = {
        "model": version.model,
        "number": version.number,
        "parent": version.parent,
        "digest": version.digest,
        "document": json.dumps(version.as_document(), separators=(",", ":")),
        "by": version.by,
        "reason": version.reason,
        "at": datetime.fromisoformat(version.at).astimezone(UTC),
    }
    connection.execute(versions.insert().values(row))


def newest_number(connection: Connection, model: str) -> int:
    """The number of the version in use; 0 where there is none."""
    newest = sa.select(sa.func.max(versions.c.number)).where(versions.c.model == model)
    return connection.execute(newest).scalar() or 0


def read_versions(connection: Connection, model: str) -> list[Version]:
    """All versions of a model, the oldest first. StoreProblem: one is damaged."""
    rows = connection.execute(
        sa.select(versions.c.number, versions.c.document).where(versions.c.model == model).order_by(versions.c.number)
    )
    found = []
    for number, document in rows:
        try:
            found.append(version_from_document(json.loads(document)))
        except (ValueError, KeyError, TypeError) as error:
            raise StoreProblem(
                f"version {number} of {model} in the database is damaged ({type(error).__name__}): "
                "put a backup back with `faultnet shop restore`"
            ) from None
    return found


def listed_versions(connection: Connection) -> dict[str, list[tuple[int, str]]]:
    """Of every model its versions by number and moment."""
    found: dict[str, list[tuple[int, str]]] = {}
    rows = sa.select(versions.c.model, versions.c.number, versions.c.at).order_by(versions.c.model, versions.c.number)
    for model, number, at in connection.execute(rows):
        found.setdefault(model, []).append((number, moment_text(at)))
    return found
