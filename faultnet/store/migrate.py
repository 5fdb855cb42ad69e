"""Bringing a database from one form to another, one transaction each; Alembic does it."""

from pathlib import Path
from typing import Any

from sqlalchemy import Engine

from faultnet.errors import StoreProblem
from faultnet.store.database import shown_url, told
from faultnet.store.tables import HEAD

_LOCK = 7_215_019_446
"""The number of our lock on a server, any other would do."""

_FOLDER = Path(__file__).resolve().parent / "migrations"


def check_known(engine: Engine, revision: str | None) -> None:
    """Nothing, where this form is known. StoreProblem: it is of a newer faultnet."""
    if revision is not None and revision not in revisions():
        raise StoreProblem(
            f"{shown_url(engine.url)} was made by a newer faultnet (form {revision}; this one knows up to {HEAD}): "
            "install the newer one, or name another database. Nothing was changed"
        )


def migrate_to(engine: Engine, revision: str) -> None:
    """Bring a database up or down to a form; `base` is one without tables. All of it, or nothing."""
    from alembic import command

    with told(engine.url), engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            connection.exec_driver_sql("PRAGMA foreign_keys=OFF")  # tables are copied and dropped on the way
            connection.commit()
        connection.execution_options(writes=True)
        with connection.begin():
            if engine.dialect.name == "postgresql":
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")  # two may open it first
            config = _config()
            config.attributes["connection"] = connection
            numbers = [*revisions()]
            down = revision == "base" or (
                (now := _current(connection)) is not None and numbers.index(now) > numbers.index(revision)
            )
            (command.downgrade if down else command.upgrade)(config, revision)
            if engine.dialect.name == "sqlite":
                _check_links(connection, engine)
    engine.dispose()  # connections with foreign keys on, again


def revisions() -> tuple[str, ...]:
    """Every form there is, the oldest first."""
    from alembic.script import ScriptDirectory

    found = [script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()]
    return tuple(reversed(found))


def _current(connection: Any) -> str | None:
    from alembic.runtime.migration import MigrationContext

    current: str | None = MigrationContext.configure(connection).get_current_revision()
    return current


def _config() -> Any:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_FOLDER).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


def _check_links(connection: Any, engine: Engine) -> None:
    broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if broken:
        raise StoreProblem(
            f"{shown_url(engine.url)}: {len(broken)} rows would lose what they belong to; nothing was changed"
        )
