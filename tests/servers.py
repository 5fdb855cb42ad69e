"""A real PostgreSQL for tests: a cluster of its own, started from the system's programs, gone when the run ends."""

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count
from pathlib import Path

import pytest

_NUMBERS = count()


@dataclass(frozen=True)
class Server:
    """A running server. folder: of its socket; there is no port."""

    folder: Path
    programs: Path

    def url(self, name: str) -> str:
        return f"postgresql+psycopg://postgres@/{name}?host={self.folder}"

    def sql(self, statement: str) -> None:
        """Run a statement in the server's own database."""
        import psycopg

        with psycopg.connect(host=str(self.folder), user="postgres", dbname="postgres", autocommit=True) as connection:
            connection.execute(statement)  # type: ignore[arg-type]

    @contextmanager
    def new_database(self) -> Iterator[str]:
        """The URL of an empty database, dropped afterwards."""
        name = f"shop_{os.getpid()}_{next(_NUMBERS)}"
        self.sql(f"CREATE DATABASE {name}")
        try:
            yield self.url(name)
        finally:
            self.sql(f"DROP DATABASE {name} WITH (FORCE)")


def server_programs() -> Path | None:
    """The folder of the server's programs, the newest; None where there are none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parts[-3]))
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    return None if on_path is None else Path(on_path).resolve().parent


def without_server(environment: Mapping[str, str]) -> None:
    """Skip a test that needs a server, with the reason; in CI that is a failure."""
    reason = "no PostgreSQL server's programs are installed here (Debian: postgresql)"
    if environment.get("CI"):
        pytest.fail(f"{reason}, and CI may not leave these tests out")
    pytest.skip(reason)


@contextmanager
def running_server(programs: Path) -> Iterator[Server]:
    """A server of a new cluster, as the user postgres where we are root: it refuses to run as that."""
    folder = Path(tempfile.mkdtemp(prefix="faultnet-pg-"))
    as_user = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
    if as_user:
        shutil.chown(folder, "postgres")

    def run(*command: str) -> None:
        done = subprocess.run([*as_user, *command], capture_output=True, text=True, check=False, cwd="/", timeout=120)
        assert done.returncode == 0, f"{command}: {done.stdout}{done.stderr}"

    data, log = folder / "data", folder / "log"
    run(str(programs / "initdb"), "-D", str(data), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "-N")
    options = f"-c listen_addresses='' -c unix_socket_directories='{folder}' -c fsync=off -c max_connections=60"
    try:
        run(str(programs / "pg_ctl"), "-D", str(data), "-l", str(log), "-w", "-o", options, "start")
        yield Server(folder, programs)
    finally:
        run(str(programs / "pg_ctl"), "-D", str(data), "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)
