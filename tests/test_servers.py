"""The databases that tests run on: both kinds answer, none knows of another, and no server is left behind."""

import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
import servers
import sqlalchemy as sa
from servers import NoServer, Server, shared_server, without_server

USER = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from servers import shared_server
with shared_server(Path(sys.argv[2])) as server:
    print(server.folder, flush=True)
    sys.stdin.read()
"""


def user_of(folder: Path) -> subprocess.Popen[str]:
    """A process that uses the server of a run, says where it is, and stays until its input ends."""
    command = [sys.executable, "-c", USER, str(Path(servers.__file__).parent), str(folder)]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def is_gone(place: Path, seconds: float = 30) -> bool:
    """Whether the folder of a server goes, which is after it was stopped."""
    end = time.monotonic() + seconds
    while place.exists() and time.monotonic() < end:
        time.sleep(0.05)
    return not place.exists()


def answer(url: str, statement: str) -> object:
    engine = sa.create_engine(url)
    with engine.begin() as connection:
        found = connection.execute(sa.text(statement))
        told = found.scalar() if found.returns_rows else None
    engine.dispose()
    return told


def test_a_database_of_each_kind_answers(database_url: str) -> None:
    assert answer(database_url, "SELECT 1") == 1


def test_a_new_database_is_empty_and_another_one(postgresql_url: str, postgresql_server: Server) -> None:
    answer(postgresql_url, "CREATE TABLE bench (number INTEGER)")
    with postgresql_server.new_database() as other:
        tables = "SELECT count(*) FROM information_schema.tables WHERE table_name = 'bench'"
        assert (answer(postgresql_url, tables), answer(other, tables)) == (1, 0)
    with pytest.raises(sa.exc.OperationalError, match="does not exist"):
        answer(other, "SELECT 1")


def test_workers_share_a_server_which_stops_after_the_last_however_that_ends(
    postgresql_server: Server, tmp_path: Path
) -> None:
    with user_of(tmp_path) as first, user_of(tmp_path) as second:
        assert first.stdout is not None
        assert second.stdout is not None
        place = Path(first.stdout.readline().strip())
        assert Path(second.stdout.readline().strip()) == place != postgresql_server.folder
        first.kill()
        first.wait()
        assert not is_gone(place, 0.5)
        assert answer(Server(place).url("postgres"), "SELECT 1") == 1
        second.kill()
        second.wait()
        assert is_gone(place)
        with user_of(tmp_path) as third:
            assert third.stdout is not None
            again = Path(third.stdout.readline().strip())
            assert again.is_dir(), "who comes after the end gets a server of their own"
            third.communicate("")
        assert third.returncode == 0
        assert is_gone(again)


def test_without_its_programs_there_is_no_server(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(servers, "server_programs", lambda: None)
    with pytest.raises(NoServer, match="no PostgreSQL server's programs"), shared_server(tmp_path):
        pass


@pytest.mark.skipif(sys.platform == "win32", reason="no server is started there")
def test_a_server_that_does_not_start_is_told_with_the_reason(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with TemporaryDirectory() as programs:
        Path(programs).chmod(0o755)
        initdb = Path(programs) / "initdb"
        initdb.write_text("#!/bin/sh\necho no room left >&2\nexit 1\n", encoding="utf-8")
        initdb.chmod(0o755)
        monkeypatch.setattr(servers, "server_programs", lambda: Path(programs))
        with pytest.raises(NoServer, match="does not start here: no room left"), shared_server(tmp_path):
            pass


def test_a_missing_server_skips_and_in_ci_fails() -> None:
    with pytest.raises(pytest.skip.Exception, match="no room"):
        without_server("no room", {})
    with pytest.raises(pytest.skip.Exception, match="no room"):
        without_server("no room", {"CI": ""})
    with pytest.raises(pytest.fail.Exception, match="no room, and CI may not"):
        without_server("no room", {"CI": "true"})
