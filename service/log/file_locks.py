"""Locks on files, which processes share or have alone, and which end with them."""

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from service.log.server_programs import EmbeddedServerError

_POLL_S = 0.05


class HeldError(EmbeddedServerError):
    """A file lock was not let go of in time."""


@contextmanager
def file_lock(path: Path, kind: int, within_s: float) -> Iterator[None]:
    """Hold a lock on a file, which is made if need be: `fcntl.LOCK_SH` or `LOCK_EX`.

    Processes that are forked meanwhile hold it too, until all have ended. Raises HeldError where
    others do not let go of it in time, and OSError where the file cannot be opened.
    """
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        deadline = time.monotonic() + within_s
        while not _try_lock(descriptor, kind):
            if time.monotonic() > deadline:
                raise HeldError(f"{path}: another process holds it without end")
            time.sleep(_POLL_S)
        yield
    finally:
        os.close(descriptor)


def _try_lock(descriptor: int, kind: int) -> bool:
    try:
        fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
