"""A real PostgreSQL for tests: one server a run, started from the system's programs, gone when nobody uses it.

Workers of a run share it. Who uses it holds a lock that the system takes back however a process ends, and a guard that
waits for that lock stops the server: nothing is left running, not even by a run that is killed.

python servers.py guard FOLDER CLUSTER PROGRAMS      that guard; FOLDER is the run's, CLUSTER the server's
"""

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import count
from pathlib import Path
from typing import NoReturn

import pytest

STARTING, IN_USE, PLACE = "postgresql.starting", "postgresql.in_use", "postgresql.place"
"""Files in the run's folder: two locks, and where the server is while there is one."""

_NUMBERS = count()


class NoServer(Exception):
    """No server can be started here; the message says why."""


@dataclass(frozen=True)
class Server:
    """A running server. folder: of its socket; there is no port."""

    folder: Path

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

    def version(initdb: Path) -> list[int]:
        return [int(number) for number in re.findall(r"\d+", initdb.parts[-3])]

    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=version)
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    return None if on_path is None else Path(on_path).resolve().parent


def without_server(reason: str, environment: Mapping[str, str]) -> NoReturn:
    """Skip a test that needs a server, with the reason; in CI that is a failure."""
    if environment.get("CI"):
        pytest.fail(f"{reason}, and CI may not leave these tests out")
    pytest.skip(reason)


@contextmanager
def shared_server(folder: Path) -> Iterator[Server]:
    """The run's server, started by whoever comes first. folder: of the run, the same for all its workers.

    NoServer: none can be started here.
    """
    programs = server_programs()
    if programs is None or sys.platform == "win32":
        raise NoServer("no PostgreSQL server's programs are installed here (Debian: postgresql)")
    import fcntl

    with (folder / IN_USE).open("a") as in_use:
        with (folder / STARTING).open("a") as starting:
            fcntl.flock(starting, fcntl.LOCK_EX)
            fcntl.flock(in_use, fcntl.LOCK_SH)  # waits for a server that is being stopped
            place = folder / PLACE
            if not place.exists():
                place.write_text(str(_started(programs, folder)), encoding="utf-8")
        yield Server(Path(place.read_text(encoding="utf-8")))


def _started(programs: Path, folder: Path) -> Path:
    """The folder of a new cluster whose server runs; its guard was there before it."""
    cluster = Path(tempfile.mkdtemp(prefix="faultnet-pg-"))  # short: a socket's path has little room
    guard = [sys.executable, str(Path(__file__).resolve()), "guard", str(folder), str(cluster), str(programs)]
    subprocess.run(guard, check=True, cwd="/", stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    # No fsync, for speed: what is killed in these tests are those who write, never the server or the machine.
    options = f"-c listen_addresses='' -c unix_socket_directories='{cluster}' -c fsync=off -c max_connections=200"
    initdb, data, log = programs / "initdb", cluster / "data", cluster / "log"
    try:
        if os.getuid() == 0:
            shutil.chown(cluster, "postgres")
        _run(initdb, "-D", data, "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "-N")
        _run(programs / "pg_ctl", "-D", data, "-l", log, "-w", "-o", options, "start")
    except (OSError, LookupError, subprocess.SubprocessError) as error:
        said = getattr(error, "stderr", "") or str(error)
        logged = log.read_text(encoding="utf-8", errors="replace") if log.exists() else ""
        raise NoServer(f"a PostgreSQL server does not start here: {(said + logged).strip()}") from None
    return cluster


def _run(*command: Path | str) -> None:
    """Run a program of the server's, as the user postgres where we are root: it refuses to run as that."""
    as_user = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
    subprocess.run([*as_user, *map(str, command)], check=True, capture_output=True, text=True, cwd="/", timeout=120)


def _guard(folder: Path, cluster: Path, programs: Path) -> None:
    """Wait in the background until nobody uses the server, then stop it and clear up."""
    import fcntl

    if os.fork():
        return
    os.setsid()  # what ends the run from the keyboard does not end the guard
    with (folder / IN_USE).open("a") as in_use:
        fcntl.flock(in_use, fcntl.LOCK_EX)
        if (cluster / "data" / "postmaster.pid").exists():
            _run(programs / "pg_ctl", "-D", cluster / "data", "-m", "immediate", "stop")
        shutil.rmtree(cluster, ignore_errors=True)
        (folder / PLACE).unlink(missing_ok=True)


if __name__ == "__main__":
    _guard(*map(Path, sys.argv[2:]))
