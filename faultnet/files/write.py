"""Writing a file so that nobody ever finds half of it."""

import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from faultnet.errors import FileProblem


@contextmanager
def whole_file(file: Path, approve: Callable[[Path], object] = lambda _: None) -> Iterator[IO[bytes]]:
    """A stream whose content takes the file's place once all of it is on the disk; whatever goes wrong, it stays.

    A file that was there keeps its rights. approve: looks at the file that is written aside, which has the same suffix,
    and raises to keep it out. OSError: it cannot be written.
    """
    aside = file.with_name(f".{file.stem}.{os.getpid()}.{threading.get_ident()}.part{file.suffix}")
    try:
        with aside.open("wb") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        approve(aside)
        if file.exists():
            aside.chmod(file.stat().st_mode & 0o777)
        aside.replace(file)
    finally:
        aside.unlink(missing_ok=True)


def write_whole(file: Path, text: str, approve: Callable[[Path], None] = lambda _: None) -> None:
    """Write text by `whole_file`. FileProblem: it cannot be written."""
    try:
        with whole_file(file, approve) as stream:
            stream.write(text.encode())
    except OSError as error:
        raise FileProblem(f"{file}: cannot be written: {error.strerror or error}") from None
