"""The system's lock on a file: it keeps two benches apart, and ends with the process that holds it."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress


@contextmanager
def locked(descriptor: int) -> Iterator[None]:
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
