"""The worker that builds the trails of dates and serves nobody.

It is a process of its own, since building holds the interpreter of a worker for seconds, and each
request wants that some ten times; and it takes the processor's time last. Of gunicorn's workers the
first to take the turn is the builder. When it ends, its turn falls to the next one that is started,
which is the one that takes its place.
"""

import fcntl
import os
import signal
from collections.abc import Callable
from select import select
from tempfile import TemporaryFile

from gunicorn.workers.base import Worker

from service.projections.projector import Projector

NICENESS = 10
PIPE_BYTES = 4096
"""More than the signals that come while it does not look, each of which writes one."""
TICK_S = 1.0
"""How often it says that it lives, and looks whether gunicorn does."""


class Builder:
    """What the workers of one service share to have one builder among them; made before they fork.

    `projector_of` makes what builds, with connections of its own.
    """

    def __init__(self, projector_of: Callable[[], Projector]) -> None:
        self._projector_of = projector_of
        self._turn = TemporaryFile()  # noqa: SIM115  # it is open as long as the process

    def take_turn(self) -> bool:
        """Become the builder until this process ends; False where another process is."""
        try:
            # such a lock is the process's, however many have inherited the file
            fcntl.lockf(self._turn, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except (BlockingIOError, PermissionError):
            return False
        return True

    def build(self, worker: Worker) -> None:
        """Keep the trails built until a signal comes, or gunicorn is gone."""
        os.nice(NICENESS)
        signal.signal(signal.SIGUSR1, lambda *_: worker.log.reopen_files())
        projector = self._projector_of()
        projector.start()
        ready, noted = worker.PIPE
        signal.set_wakeup_fd(noted)  # a signal ends the wait; the worker's handlers say what it was
        while worker.alive and os.getppid() == worker.ppid:
            worker.notify()
            if select([ready], [], [], TICK_S)[0]:
                os.read(ready, PIPE_BYTES)
        projector.stop()
