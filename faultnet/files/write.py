"""Writing a file so that nobody ever finds half of it."""

import os
from collections.abc import Callable
from pathlib import Path

from faultnet.errors import FileProblem


def write_whole(file: Path, text: str, approve: Callable[[Path], None] = lambda _: None) -> None:
    """Write text aside, have it approved, and move it into place; whatever goes wrong, what was there stays.

    approve: looks at the file that is written aside, which has the same suffix, and raises to keep it out. FileProblem:
    it cannot be written.
    """
    aside = file.with_name(f".{file.stem}.{os.getpid()}.part{file.suffix}")
    try:
        try:
            with aside.open("w", encoding="utf-8", newline="\n") as stream:
                stream.write(text)
                stream.flush()
                os.fsync(stream.fileno())
            approve(aside)
            aside.replace(file)
        finally:
            aside.unlink(missing_ok=True)
    except OSError as error:
        raise FileProblem(f"{file}: cannot be written: {error.strerror or error}") from None
