"""Nothing that was acknowledged is lost: many benches at once, killed writers, a full disk."""

import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from writers import JOBS, found_tokens, open_jobs

from faultnet.errors import StoreProblem
from faultnet.jobs import Entry
from faultnet.store.database import open_database
from faultnet.store.jobs import append, find_job

WRITERS = str(Path(__file__).parent / "writers.py")
BENCHES, WRITES = 8, 250
KILLS = 100


def started(*arguments: str) -> subprocess.Popen[str]:
    command = [sys.executable, WRITERS, *arguments]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def test_eight_benches_at_once_lose_nothing_and_double_nothing(database_url: str) -> None:
    database = open_database(database_url)
    open_jobs(database)
    running = [started("write", database_url, f"w{bench}", str(WRITES)) for bench in range(BENCHES)]
    said = [process.communicate(timeout=250) for process in running]
    assert [process.returncode for process in running] == [0] * BENCHES, [errors[-2000:] for _, errors in said]
    acknowledged = [token for out, _ in said for token in out.split()]
    assert len(acknowledged) == BENCHES * WRITES
    assert set(acknowledged) == set(found_tokens(database))
    with database.read() as connection:
        for number in JOBS:
            job = find_job(connection, number)
            assert [entry.seq for entry in job.entries] == [*range(1, len(job.entries) + 1)]
    database.close()


def test_a_writer_killed_at_any_moment_leaves_all_it_acknowledged_and_no_half(database_url: str) -> None:
    database = open_database(database_url)
    open_jobs(database)
    database.close()
    process = started("killed", database_url, str(KILLS), "7")
    out, errors = process.communicate(timeout=250)
    assert process.returncode == 0, errors[-3000:]
    assert int(out) > KILLS, "hardly anything was written before the kills"


ON_A_SMALL_DISK = """
import sys
from datetime import UTC, datetime
from faultnet.jobs import Entry, Job
from faultnet.store.database import open_database
from faultnet.store.jobs import append, insert_job
database = open_database(sys.argv[1])
now = datetime(2031, 5, 17, tzinfo=UTC)
with database.write() as connection:
    insert_job(connection, Job("1001", "backlight", "open", now, now))
for number in range(10**6):
    with database.write() as connection:
        append(connection, "1001", [Entry("note", note=f"{number} " + "x" * 2000)], now)
    print(number, flush=True)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="the size of a file is limited by the shell's ulimit")
def test_a_full_disk_is_told_and_all_before_is_there() -> None:
    """A limit on the size of any file stands for the disk: SQLite gets the same refusal for its next page."""
    with TemporaryDirectory() as folder:
        file = Path(folder) / "shop.db"
        script = f"trap \"\" XFSZ; ulimit -f 3000; exec {sys.executable} -c '{ON_A_SMALL_DISK}' {file}"
        done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, timeout=120, check=False)
        assert "StoreProblem" in done.stderr
        assert "full" in done.stderr or "reports an error" in done.stderr
        acknowledged = [int(line) for line in done.stdout.split()]
        assert len(acknowledged) > 50
        database = open_database(str(file))
        with database.read() as connection:
            notes = [int(entry.note.split()[0]) for entry in find_job(connection, "1001").entries]
        assert notes == acknowledged
        database.close()


def test_what_failed_can_be_entered_again_once_there_is_room(tmp_path: Path) -> None:
    """A database that may have so many pages and no more (SQLite's own limit), then more."""
    from datetime import UTC, datetime

    from faultnet.jobs import Job

    database = open_database(str(tmp_path / "shop.db"))
    now = datetime(2031, 5, 17, tzinfo=UTC)
    with database.write() as connection:
        insert = Job("1001", "backlight", "open", now, now)
        from faultnet.store.jobs import insert_job

        insert_job(connection, insert)
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        connection.exec_driver_sql(f"PRAGMA max_page_count={pages + 1}")
    long = Entry("note", note="y" * 20_000)

    def enter() -> None:
        with database.write() as connection:
            append(connection, "1001", [long], now)

    with pytest.raises(StoreProblem, match="the disk is full; nothing of this was written, all before is safe"):
        enter()
    with database.read() as connection:
        assert find_job(connection, "1001").entries == ()
        connection.exec_driver_sql("PRAGMA max_page_count=100000")
    enter()
    with database.read() as connection:
        assert len(find_job(connection, "1001").entries) == 1
    database.close()
