"""Processes that write to a shop at once, and one that is killed while it writes; run by `test_nothing_lost.py`.

python writers.py write URL WORKER COUNT     mixed writes, each acknowledged on stdout once it is done
python writers.py killed URL TIMES SEED      a writer that is killed so many times, looked at after each
"""

import os
import random
import select
import signal
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime

from faultnet.jobs import Entry, Job, Part
from faultnet.shop import Shop
from faultnet.store.check import check_database
from faultnet.store.database import Database, open_database
from faultnet.store.jobs import append, find_job, insert_job, next_number
from faultnet.workshop.entering import add_entries, take_back
from faultnet.workshop.workshop import Workshop

JOBS = tuple(f"J{n}" for n in range(1, 6))


def now() -> datetime:
    return datetime.now(UTC)


def workshop_of(database: Database) -> Workshop:
    return Workshop(Shop(), database, now)


def open_jobs(database: Database) -> None:
    with database.write() as connection:
        for number in JOBS:
            insert_job(connection, Job(number, "backlight", "open", now(), now()))


def write_once(workshop: Workshop, rng: random.Random, token: str) -> None:
    """One write of some kind; its token stands in the notes of all that it wrote, or in a job's number."""
    number, kind = rng.choice(JOBS), rng.randrange(5)
    if kind == 0:
        add_entries(workshop, number, [Entry("finding", "sound", "present", symptom="showing", note=token)])
    elif kind == 1:
        entries = [Entry("setup", part, "off", note=token) for part in ("cover", "mains")]
        add_entries(workshop, number, [*entries, Entry("fact", "size", str(rng.randrange(32, 80)), note=token)])
    elif kind == 2:
        with workshop.database.write() as connection:
            fitted = [Part(0, "replace_strips", token, token, price=1.5), Part(0, "replace_driver", token, token)]
            entries = [Entry("repair", "replace_strips+replace_driver", "not", note=token)]
            append(connection, number, entries, now(), fitted=fitted, currency="EUR")
    elif kind == 3:
        (note,) = add_entries(workshop, number, [Entry("note", note=f"{token}!")])
        take_back(workshop, number, note.seq, token)
    else:
        with workshop.database.write() as connection:
            opened = next_number(connection)
            insert_job(connection, Job(opened, "backlight", "open", now(), now()))
            append(connection, opened, [Entry("note", note=token), Entry("fact", "panel", token, note=token)], now())


def write(url: str, worker: str, count: int) -> None:
    workshop, rng = workshop_of(open_database(url)), random.Random(worker)
    for number in range(count):
        token = f"{worker}-{number}"
        write_once(workshop, rng, token)
        print(token, flush=True)
    workshop.database.close()


SIZES = {("finding",): 1, ("setup", "setup", "fact"): 3, ("repair",): 1, ("taken_back",): 1, ("note", "fact"): 2}


def found_tokens(database: Database) -> dict[str, list[str]]:
    """Of every token the kinds of the entries that carry it, in order. AssertionError: a part of a write is missing."""
    tokens: dict[str, list[str]] = {}
    with database.read() as connection:
        numbers = connection.exec_driver_sql("SELECT number FROM jobs").scalars().all()
        jobs = [find_job(connection, number) for number in numbers]
        wrong = list(check_database(connection))
    assert not wrong, wrong
    for job in jobs:
        assert job.number in JOBS or job.entries, f"job {job.number} without what was written with it"
        for entry in job.entries:
            if not entry.note.endswith("!"):
                tokens.setdefault(entry.note, []).append(entry.kind)
        for entry in job.entries:
            if entry.kind == "repair":
                assert [part.old_code for part in job.parts if part.seq == entry.seq] == [entry.note] * 2
    for token, kinds in tokens.items():
        assert tuple(kinds) in SIZES, f"{token}: {kinds}"
    return tokens


def _acknowledged(descriptor: int, seconds: float) -> Iterator[str]:
    """The lines that come through a pipe within so many seconds."""
    rest, end = b"", time.monotonic() + seconds
    while (left := end - time.monotonic()) > 0:
        ready, _, _ = select.select([descriptor], [], [], left)
        if not ready:
            return
        block = os.read(descriptor, 65536)
        if not block:
            return
        *lines, rest = (rest + block).split(b"\n")
        yield from (line.decode() for line in lines)


def killed(url: str, times: int, seed: int) -> None:
    rng = random.Random(seed)
    known: set[str] = set()
    for number in range(times):
        reading, writing = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(reading)
            workshop, own = workshop_of(open_database(url)), random.Random(number)
            for count in range(10**6):
                token = f"{number}-{count}"
                write_once(workshop, own, token)
                os.write(writing, f"{token}\n".encode())
        os.close(writing)
        known.update(_acknowledged(reading, 0.02 + 0.1 * rng.random()))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        known.update(_acknowledged(reading, 0.2))
        os.close(reading)
        if number % 10 == 9 or number < 3:
            database = open_database(url)
            there = found_tokens(database)
            database.close()
            lost = known - set(there)
            assert not lost, f"acknowledged, and lost: {sorted(lost)[:5]}"
            assert len(set(there) - known) <= number + 1, "more than one unacknowledged write a kill"
    print(len(known))


if __name__ == "__main__":
    if sys.argv[1] == "write":
        write(sys.argv[2], sys.argv[3], int(sys.argv[4]))
    else:
        killed(sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
