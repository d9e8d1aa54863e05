"""The service under gunicorn: one warm process compiles, then workers fork and open their own."""

import atexit
import gc
import json
import socket
import time
from http import HTTPStatus
from typing import Any

from flask import Flask
from gunicorn import util
from gunicorn.app.base import BaseApplication
from gunicorn.workers.gthread import ThreadWorker
from prometheus_client.multiprocess import mark_process_dead

from service.keys import KeysError, read_seal_key
from service.log.engine import service_engine
from service.planning.dispatch import warm
from service.projections.projector import Projector
from service.record import Studios
from service.settings import Settings
from service.web.app import create_app
from service.web.problems import MEDIA_TYPE

# A worker's state is large, grows slowly and holds no cycles: looking through all of it as often as
# Python would by itself costs a tenth of the time and answers that wait for half a second.
GC_THRESHOLDS = (50_000, 50, 1000)


# Clients keep their connections, so where these go by chance one worker may have nearly all of them
# and its one interpreter's lock, while another idles.
CONNECTIONS_TOLD_APART = 4
YIELDED_S = 0.001


class EvenWorker(ThreadWorker):  # type: ignore[misc]  # gunicorn ships no types for it
    """A worker that gives way to those with fewer connections when a new one comes in."""

    def accept(self, listener: socket.socket) -> None:
        """Take a connection, unless another worker took it while this one gave way."""
        time.sleep(YIELDED_S * min(self.nr_conns, CONNECTIONS_TOLD_APART))
        super().accept(listener)


def worker_app(settings: Settings, database_url: str) -> Flask:
    """The app of one worker, with connections of its own."""
    gc.set_threshold(*GC_THRESHOLDS)
    engine = service_engine(database_url, settings)
    seal_key = _seal_key(settings)
    studios = Studios(engine, seal_key=seal_key)
    app = create_app(settings, engine, studios, seal_key)
    projector = Projector(lambda name: studios.of(name).warm, engine)
    app.before_request(projector.give_way)
    projector.start()
    atexit.register(projector.stop)
    return app


def _seal_key(settings: Settings) -> bytes | None:
    try:
        return read_seal_key(settings.keys_folder)
    except KeysError:
        return None  # the command has said so; the log is folded from its beginning


class Serving(BaseApplication):  # type: ignore[misc]  # gunicorn ships no types for it
    """Gunicorn, configured here and not from its command line."""

    def __init__(self, settings: Settings, database_url: str, options: dict[str, Any]) -> None:
        self._settings = settings
        self._database_url = database_url
        self._options = options
        super().__init__()

    def load_config(self) -> None:
        """Take the options given."""
        for name, value in self._options.items():
            self.cfg.set(name, value)
        self.cfg.set("worker_class", EvenWorker)
        # what a worker that is gone said last counts no more
        self.cfg.set("child_exit", _counts_no_more)

    def load(self) -> Flask:
        """Make the app: in each worker, after the fork."""
        return worker_app(self._settings, self._database_url)


def _counts_no_more(_: object, worker: Any) -> None:
    mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]  # the library's


def write_problem(client: socket.socket, status: int, _: str, detail: str) -> None:
    """Answer a request that gunicorn refuses before any app sees it, and close.

    RFC 9457, section 4.2.1: about:blank says no more than the status does.
    """
    title = HTTPStatus(status).phrase
    problem = {"type": "about:blank", "title": title, "status": status, "detail": detail}
    body = json.dumps(problem)
    head = f"HTTP/1.1 {status} {title}\r\nConnection: close\r\nContent-Type: {MEDIA_TYPE}\r\n"
    util.write_nonblock(client, f"{head}Content-Length: {len(body)}\r\n\r\n{body}".encode("ascii"))


def serve(settings: Settings, database_url: str, options: dict[str, Any]) -> None:
    """Serve until a signal ends it; what must be compiled is compiled before the workers fork."""
    warm()
    util.write_error = write_problem  # there is no setting for it
    Serving(settings, database_url, options).run()
