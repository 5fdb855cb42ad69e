"""Opening a shop's database, and every way in which that, or a transaction, can fail."""

import os
import re
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import Connection, Engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError

from faultnet.errors import StoreProblem
from faultnet.store.tables import HEAD

_SECRET = re.compile(r"//[^/]*@")
"""User and password in a URL that cannot be taken apart."""

WAIT_MS = 30_000
"""How long a writer waits for the others. SQLite gives the lock to whoever asks at the right moment, so with eight
writers on a busy machine one can be passed over for more than 10 s."""


@dataclass(frozen=True)
class Database:
    """An open database of the newest form. write and read hand out connections; each is one transaction."""

    engine: Engine

    @property
    def is_sqlite(self) -> bool:
        return self.engine.dialect.name == "sqlite"

    @property
    def shown(self) -> str:
        """Where it is, without a password."""
        return shown_url(self.engine.url)

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """A transaction that writes: all of it is there once this ends without an error, or nothing."""
        with told(self.engine.url), self.engine.connect() as connection:
            connection.execution_options(writes=True)
            with connection.begin():
                yield connection

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A transaction that sees one moment of the database."""
        with told(self.engine.url), self.engine.connect() as connection:
            if not self.is_sqlite:
                connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
            with connection.begin():
                yield connection

    @contextmanager
    def scratch(self) -> Iterator[Connection]:
        """The same with room for temporary tables, which are gone after it."""
        with told(self.engine.url), self.engine.connect() as connection:
            if not self.is_sqlite:
                connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin() as transaction:
                try:
                    yield connection
                finally:
                    transaction.rollback()

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()


def open_database(url: str, before_upgrade: Callable[[Engine], object] = lambda _: None) -> Database:
    """The database of this URL, created where there is none, brought to the newest form.

    before_upgrade: what is done to one of an older form first. StoreProblem: it cannot be opened, is no database of a
    shop, or one of a newer faultnet.
    """
    engine = make_engine(url)
    try:
        with told(engine.url):
            revision = revision_of(engine)
        if revision != HEAD:
            from faultnet.store.migrate import check_known, migrate_to

            check_known(engine, revision)
            if revision is not None:
                before_upgrade(engine)
            migrate_to(engine, HEAD)
    except BaseException:
        engine.dispose()
        raise
    return Database(engine)


def make_engine(url: str) -> Engine:
    """An engine for a URL or the path of a SQLite file, not connected yet. StoreProblem: neither is it."""
    parsed = parse_url(url)
    if parsed.get_backend_name() == "sqlite" and parsed.database:
        _make_folder(Path(parsed.database).parent, parsed)
    try:
        engine = sa.create_engine(parsed, pool_pre_ping=parsed.get_backend_name() != "sqlite")
    except (ModuleNotFoundError, NoSuchModuleError):
        raise StoreProblem(
            f"{shown_url(parsed)}: the driver for this database is missing; for PostgreSQL install faultnet[postgresql]"
        ) from None
    if engine.dialect.name == "sqlite":
        _as_sqlite_should_be(engine)
    return engine


def parse_url(text: str) -> URL:
    """A URL, or the path of a SQLite file as one. StoreProblem: another kind of database."""
    try:
        url = make_url(text) if "://" in text else URL.create("sqlite", database=str(Path(text).expanduser()))
    except (ArgumentError, ValueError):
        shown = _SECRET.sub("//***@", text)
        raise StoreProblem(f"{shown}: no URL of a database; write a file or postgresql://USER@HOST/NAME") from None
    if url.get_backend_name() not in ("sqlite", "postgresql"):
        raise StoreProblem(f"{shown_url(url)}: a shop's database is a file (SQLite) or postgresql://USER@HOST/NAME")
    return url


def shown_url(url: URL) -> str:
    """A URL for people: a file's path, or the address without its password."""
    is_file = url.get_backend_name() == "sqlite" and url.database
    return str(url.database) if is_file else url.render_as_string(hide_password=True)


def revision_of(engine: Engine) -> str | None:
    """The form of the database: a migration's number, None for one without tables. StoreProblem: not of a shop."""
    with engine.connect() as connection:
        names = set(sa.inspect(connection).get_table_names())
        if "alembic_version" in names:
            return connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
    if names:
        raise StoreProblem(
            f"{shown_url(engine.url)} holds something else ({', '.join(sorted(names)[:3])}): name another"
        )
    return None


def _make_folder(folder: Path, url: URL) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise StoreProblem(f"{shown_url(url)}: its folder cannot be made: {error.strerror}") from None


def _as_sqlite_should_be(engine: Engine) -> None:
    """Transactions that begin when we say, writers one after the other, safe on the disk once they end."""

    def connected(connection: Any, record: Any) -> None:
        connection.isolation_level = None
        record.info["file"] = _identity(engine.url.database)
        for pragma in (f"busy_timeout={WAIT_MS}", "journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
            connection.execute(f"PRAGMA {pragma}").close()

    def begun(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        if writes:
            _check_same_file(connection)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    event.listen(engine, "connect", connected)
    event.listen(engine, "begin", begun)


def _identity(file: str | None) -> tuple[int, int] | None:
    """Which file this is on its disk; None where there is none, such as of a database in memory."""
    try:
        found = Path(file or "").stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _check_same_file(connection: Connection) -> None:
    """StoreProblem: the file was moved, deleted or replaced since it was opened, so what is written would be lost."""
    url, opened = connection.engine.url, connection.connection.info.get("file")
    if opened is not None and _identity(url.database) != opened:
        raise StoreProblem(
            f"{shown_url(url)}: this file was moved or replaced since it was opened; nothing was written. Put it back, "
            "or start again with the one that is to be used"
        )


@contextmanager
def told(url: URL) -> Iterator[None]:
    """Errors of the database as `StoreProblem`: what happened, and what to do."""
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        raise StoreProblem(f"{shown_url(url)}: {_in_words(error, url)}") from error


def _in_words(error: Exception, url: URL) -> str:
    cause = error.orig if isinstance(error, DBAPIError) else error
    text = next(iter(str(cause).strip().splitlines()), type(cause).__name__)
    for sign, words in _SIGNS.items():
        if sign in text.lower():
            return words.format(text=text, folder=Path(url.database or ".").parent)
    if "unable to open" in text.lower() and url.database and not _may_write(Path(url.database).parent):
        return f"the folder {Path(url.database).parent} may not be written to; nothing was changed"
    return f"{text}; nothing was changed"


def _may_write(folder: Path) -> bool:
    return os.access(folder, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


_SIGNS = {
    "not a database": "this file is no database, or a damaged one; name another with --db, or restore a backup",
    "malformed": "the database is damaged; keep a copy of the file, then `faultnet shop restore` a backup",
    "database is locked": "another program holds the database; nothing was written: try again when it is done",
    "readonly database": "the file may not be written to; nothing was changed. Look at its rights, and its folder's",
    "disk is full": "the disk is full; nothing of this was written, all before is safe. Make room and enter it again",
    "disk i/o error": "the disk reports an error ({text}); nothing of this was written. Look at the disk first",
    "no space left": "the server's disk is full; nothing of this was written, all before is safe",
    "connection refused": "the server does not answer; is it running, and is the address right?",
    "could not connect": "the server does not answer ({text})",
    "connection failed": "the server does not answer ({text})",
    "authentication failed": "the server refuses this user or password",
    "server closed the connection": "the server went away; look with `faultnet job show` whether it was written",
    "read-only transaction": "the server takes no writes now ({text}); nothing was changed",
}
"""What a database says, and what it means for the person at the bench."""
