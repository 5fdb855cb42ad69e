"""A shop in one file: the rows of its database, and its own files; the same from SQLite and PostgreSQL.

A zip file with `faultnet.json`, which says what is in it with a digest of each member; `tables/NAME.jsonl`, a row a
line; and `files/...`, settings, own models and lists as they are.
"""

import hashlib
import json
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any

import sqlalchemy as sa
from sqlalchemy import Connection, Engine

from faultnet.errors import StoreProblem
from faultnet.files.write import whole_file
from faultnet.store.database import make_engine, revision_of, told
from faultnet.store.migrate import migrate_to, revisions
from faultnet.store.tables import HEAD, MADE_AGAIN
from faultnet.version import __version__

FORMAT = 1
CONTENTS = "faultnet.json"

ORDER: Mapping[str, str] = {
    "batches": "id",
    "jobs": "id",
    "entries": "job_id, seq",
    "parts": "id",
    "closings": "id",
    "advice": "id",
    "voltages": "id",
    "versions": "model, number",
}
"""Every table there has been, in an order in which rows can be put in, with the order of its rows; but for those of
what is worked out from them (`tables.MADE_AGAIN`)."""

_DAMAGE = (zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, NotImplementedError, struct.error)
"""What reading a damaged zip file ends in."""

_AT_ONCE = 1000
_MOST_FILE_BYTES = 50 * 2**20


@dataclass(frozen=True)
class Archive:
    """An archive that was read and found whole. rows: of each table how many; files: their bytes by name."""

    file: Path
    form: str
    made_at: str
    rows: Mapping[str, int]
    files: Mapping[str, bytes]


def write_archive(engine: Engine, file: Path, files: Mapping[str, bytes], now: datetime) -> Mapping[str, int]:
    """Write the database and these files as one archive; of each table how many rows. All of it is there, or no file.

    StoreProblem: it cannot be written, or the database not be read.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with whole_file(file) as stream:
            rows = _write(engine, stream, files, now)
    except OSError as error:
        raise StoreProblem(f"{file}: the backup cannot be written: {error.strerror or error}") from None
    return rows


def _write(engine: Engine, stream: IO[bytes], files: Mapping[str, bytes], now: datetime) -> dict[str, int]:
    digests: dict[str, str] = {}
    rows: dict[str, int] = {}
    form = revision_of(engine)
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as packed:
        with told(engine.url), engine.connect() as connection:
            if engine.dialect.name == "postgresql":
                connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
            with connection.begin():
                there = set(sa.inspect(connection).get_table_names())
                for table in (name for name in ORDER if name in there):
                    member, digest = f"tables/{table}.jsonl", hashlib.sha256()
                    rows[table] = 0
                    with packed.open(member, "w", force_zip64=True) as out:
                        for line in _lines(connection, table):
                            digest.update(line)
                            out.write(line)
                            rows[table] += 1
                    digests[member] = digest.hexdigest()
        for name, content in files.items():
            packed.writestr(f"files/{name}", content)
            digests[f"files/{name}"] = hashlib.sha256(content).hexdigest()
        contents = {"format": FORMAT, "form": form, "made_at": now.isoformat(), "made_by": f"faultnet {__version__}"}
        packed.writestr(CONTENTS, json.dumps({**contents, "rows": rows, "sha256": digests}, indent=2))
    return rows


def _lines(connection: Connection, table: str) -> Iterator[bytes]:
    found = connection.execution_options(stream_results=True, yield_per=_AT_ONCE).execute(
        sa.text(f"SELECT * FROM {table} ORDER BY {ORDER[table]}")
    )
    for row in found.mappings():
        yield json.dumps(dict(row), ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode() + b"\n"


def read_archive(file: Path) -> Archive:
    """An archive, whole: every member has the digest that was noted. StoreProblem: it is damaged, newer, or none."""
    try:
        with zipfile.ZipFile(file) as packed:
            contents = json.loads(packed.read(CONTENTS))
            if contents["format"] > FORMAT or (contents["form"] not in revisions() and contents["form"] is not None):
                raise StoreProblem(
                    f"{file}: this backup was made by a newer faultnet ({contents['made_by']}): install that one. "
                    "Nothing was changed"
                )
            wrong = [name for name, digest in contents["sha256"].items() if _digest(packed, name) != digest]
            if wrong:
                raise StoreProblem(f"{file}: damaged: {', '.join(wrong)} is not what was written. Nothing was changed")
            names = [name for name in contents["sha256"] if name.startswith("files/")]
            files = {name.removeprefix("files/"): packed.read(name) for name in names}
    except FileNotFoundError:
        raise StoreProblem(f"{file}: there is no such file") from None
    except (*_DAMAGE, KeyError, ValueError, TypeError, OSError, EOFError) as error:
        raise StoreProblem(f"{file}: no backup of a shop, or a damaged one ({error}). Nothing was changed") from None
    _check_names(file, files)
    return Archive(file, contents["form"] or HEAD, contents["made_at"], contents["rows"], files)


def _digest(packed: zipfile.ZipFile, name: str) -> str:
    """The digest of a member. StoreProblem: a file of a shop that is far too large."""
    if name.startswith("files/") and packed.getinfo(name).file_size > _MOST_FILE_BYTES:
        raise ValueError(f"{name} has more than {_MOST_FILE_BYTES // 2**20} MB")
    digest = hashlib.sha256()
    with packed.open(name) as stream:
        while block := stream.read(2**20):
            digest.update(block)
    return digest.hexdigest()


def _check_names(file: Path, files: Mapping[str, bytes]) -> None:
    """Names that lead out of the folder they go to are refused: an archive may come from anywhere."""
    for name in files:
        parts = Path(name).parts
        if Path(name).is_absolute() or ".." in parts or len(parts) > 2 or "\\" in name or ":" in name:
            raise StoreProblem(f"{file}: holds a file by the name of {name!r}; no backup of ours does")


def put_back(connection: Connection, archive: Archive) -> None:
    """Put the rows of an archive in the place of all there are, inside the caller's transaction.

    One of an older form goes through a database of that form, which is brought up to date first. What was worked out
    from the rows that go, goes with them.
    """
    for made in MADE_AGAIN:
        connection.execute(made.delete())
    for table in reversed([*ORDER]):
        connection.execute(sa.text(f"DELETE FROM {table}"))
    if archive.form == HEAD:
        _insert(connection, {table: _rows(archive.file, table) for table in archive.rows})
        return
    with tempfile.TemporaryDirectory() as folder:
        older = make_engine(str(Path(folder) / "older.db"))
        try:
            migrate_to(older, archive.form)
            with older.connect() as between:
                between.execution_options(writes=True)
                with between.begin():
                    _insert(between, {table: _rows(archive.file, table) for table in archive.rows})
            migrate_to(older, HEAD)
            with older.connect() as between, between.begin():
                there = sa.inspect(between).get_table_names()
                _insert(connection, {table: _all(between, table) for table in ORDER if table in there})
        finally:
            older.dispose()


def _rows(file: Path, table: str) -> Iterator[dict[str, Any]]:
    with zipfile.ZipFile(file) as packed, packed.open(f"tables/{table}.jsonl") as stream:
        for line in stream:
            yield json.loads(line)


def _all(connection: Connection, table: str) -> Iterator[dict[str, Any]]:
    for row in connection.execute(sa.text(f"SELECT * FROM {table} ORDER BY {ORDER[table]}")).mappings():
        yield dict(row)


def _insert(connection: Connection, tables: Mapping[str, Iterator[dict[str, Any]]]) -> None:
    for name in (each for each in ORDER if each in tables):
        columns = [column["name"] for column in sa.inspect(connection).get_columns(name)]
        into = sa.table(name, *(sa.column(column) for column in columns))
        waiting: list[dict[str, Any]] = []
        for row in tables[name]:
            waiting.append({column: row.get(column) for column in columns})
            if len(waiting) == _AT_ONCE:
                connection.execute(into.insert(), waiting)
                waiting = []
        if waiting:
            connection.execute(into.insert(), waiting)
        if connection.dialect.name == "postgresql" and "id" in columns:
            connection.execute(
                sa.text(
                    f"SELECT setval(pg_get_serial_sequence('{name}', 'id'), GREATEST(MAX(id), 1), MAX(id) IS NOT NULL) "
                    f"FROM {name}"
                )
            )
