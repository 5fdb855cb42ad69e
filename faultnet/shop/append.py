"""Adding an entry to the list of voltages, so that nothing is lost when two benches do it at once.

Lines are only ever added, each in one write at the end of the file under the system's lock on it. The lock keeps two
benches apart where they share a file, and ends with the process that holds it, so that none is ever left behind; the
one write keeps lines whole where a file system has no locks.
"""

import csv
import io
import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from faultnet.case.points import written_number
from faultnet.errors import FileProblem
from faultnet.shop.cells import defused
from faultnet.shop.voltages import COLUMNS, Entry

LONGEST_BLANK = 4096
"""Bytes at the start of a file without a heading that may be blank."""


def row(entry: Entry) -> list[str]:
    """The cells of an entry, as they stand in the file."""
    volts = [
        "" if value is None else written_number(value).removesuffix(".")
        for value in (entry.loaded_volts, entry.unplugged_volts)
    ]
    return [entry.day.isoformat(), entry.kind, defused(entry.code), *volts, entry.source, defused(entry.note)]


def append(file: Path, entry: Entry) -> None:
    """Add an entry at the end of the list, which is made if need be. FileProblem: it cannot be written.

    Readers skip a heading that stands again and empty lines, so that two first entries at once, without locks, do no
    harm.
    """
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        with file.open("ab+", buffering=0) as stream, _locked(stream.fileno()):
            line = _written(*([] if _has_lines(stream) else [COLUMNS]), row(entry))
            if not _ends_a_line(stream):
                line = b"\n" + line
            if stream.write(line) != len(line):
                raise FileProblem(f"{file}: only part of the last line could be written; is the disk full?")
            os.fsync(stream.fileno())
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise FileProblem(f"{file}: cannot be written: {reason}; name another with --file") from None


def _written(*rows: Iterable[str]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue().encode()


def _has_lines(stream: io.FileIO) -> bool:
    """Whether anything but blanks stands at the start of the file."""
    stream.seek(0)
    return bool((stream.read(LONGEST_BLANK) or b"").removeprefix(b"\xef\xbb\xbf").strip())


def _ends_a_line(stream: io.FileIO) -> bool:
    """Whether nothing stands in front of what is added: an editor may have left the last line open."""
    if stream.seek(0, os.SEEK_END) == 0:
        return True
    stream.seek(-1, os.SEEK_END)
    return stream.read(1) == b"\n"


@contextmanager
def _locked(descriptor: int) -> Iterator[None]:
    """The system's lock on a file, waited for; none where the file system has no locks."""
    if sys.platform == "win32":
        import msvcrt

        far_behind_the_end = 2**30
        os.lseek(descriptor, far_behind_the_end, os.SEEK_SET)
        with suppress(OSError):
            msvcrt.locking(descriptor, msvcrt.LK_LOCK, 1)
        try:
            yield
        finally:
            os.lseek(descriptor, far_behind_the_end, os.SEEK_SET)
            with suppress(OSError):
                msvcrt.locking(descriptor, msvcrt.LK_UNLCK, 1)
    else:
        import fcntl

        with suppress(OSError):
            fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield  # closing the file unlocks it
