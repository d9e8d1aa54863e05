"""A worker of gunicorn that keeps its connections on an event loop, and its requests on threads."""

import asyncio
import logging
import resource
import signal
import sys

from gunicorn.workers.base import Worker

from service.web.serving.building import Builder
from service.web.serving.master import END_SIGNALS
from service.web.serving.server import Options, Server

SWITCH_S = 0.0005
"""How long a thread may keep the interpreter while others want it. A request wants it some ten
times, the event loop as often: with Python's own 5 ms each may wait that long for a thread that
makes plans or walks a trail."""
# what uvicorn says where the answer to a client that left was given up
_GIVEN_UP = "ASGI callable returned without"


class LoopWorker(Worker):  # type: ignore[misc]  # gunicorn ships no types for it
    """A worker: an event loop with all connections, and lanes of threads with the requests."""

    options: Options
    builder: Builder
    """Set for all workers before they fork."""

    def init_signals(self) -> None:
        """Note a signal to end until `run` handles it, and ignore the others until then.

        What ends a worker that hangs still does.
        """
        for number in self.SIGNALS:
            # not the default, which would end the process without what it has to do at its end
            signal.signal(number, self._note_end if number in END_SIGNALS else _ignore)
        signal.signal(signal.SIGABRT, self.handle_abort)
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, END_SIGNALS)

    def _note_end(self, *_: object) -> None:
        self.alive = False

    def load_wsgi(self) -> None:
        """Make the app, unless this worker is the one that builds the trails."""
        self.builds = self.builder.take_turn()
        if not self.builds:
            super().load_wsgi()

    def run(self) -> None:
        """Serve until told to stop, or build the trails."""
        if self.builds:
            self.builder.build(self)
            return
        sys.setswitchinterval(SWITCH_S)
        allow_many_files()
        quiet_libraries()
        asyncio.run(self._serve())

    async def _serve(self) -> None:
        server = Server(self, self.options)
        loop = asyncio.get_running_loop()
        for number in END_SIGNALS:
            loop.add_signal_handler(number, server.stop)
        loop.add_signal_handler(signal.SIGUSR1, self.log.reopen_files)
        if not self.alive:  # told to end while the app was made
            server.stop()
        await server.serve()


def _ignore(*_: object) -> None:
    pass


def quiet_libraries() -> None:
    """Leave what clients do out of the log of faults: what is no HTTP, and who is gone."""
    of_uvicorn = logging.getLogger("uvicorn.error")
    of_uvicorn.setLevel(logging.ERROR)
    of_uvicorn.addFilter(lambda line: not line.getMessage().startswith(_GIVEN_UP))
    logging.getLogger("asyncio").setLevel(logging.ERROR)


def allow_many_files() -> None:
    """Let this process have as many connections open as the system allows it."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft != hard:
        resource.setrlimit(resource.RLIMIT_NOFILE, (hard, hard))
