"""The service under gunicorn: one warm process compiles, then workers fork and open their own.

A worker's connections live on an asyncio loop, and a request takes a thread only when it is whole:

- `heads`: what is refused by its head alone.
- `connection`: uvicorn's reading and writing, with deadlines for head, body and reader.
- `bridge`: reads a body, runs the WSGI app on a thread of a lane, sends the answer in pieces.
- `bodies`: counts the bytes of all bodies that are held.
- `admission`: the lane of a route, the client of a token, who is refused by the token alone.
- `lanes`: threads, at which studios and in each its tokens take turns.
- `refusals`: problems that are answered before the app sees the request.
- `encryption`: TLS. `server`: accepts, and ends. `worker`: a process of gunicorn's that has one.
- `building`: the one worker that serves nobody.
- `master`: starts workers and ends them.

What is refused before the app is counted in `retake_ledger_requests` with the route `none`, and
comes in its turn, after the answers to what was sent before. The connection is read on for two
seconds then, since a reset could reach the client before the answer.
"""

import ctypes
import gc
import logging
import os
import shutil
import time
from contextlib import suppress
from dataclasses import replace
from functools import partial
from http import HTTPStatus
from pathlib import Path
from typing import Any

from flask import Flask, abort, request
from gunicorn.app.base import BaseApplication
from prometheus_client.multiprocess import mark_process_dead

from service.keys import KeysError, read_seal_key
from service.log.engine import POOL_SIZE, service_engine
from service.planning.kernel.compiled import CACHE_FOLDER, FOLDERS
from service.planning.kernel.dispatch import warm
from service.projections.projector import Pace, Projector
from service.record import Studios
from service.settings import Settings
from service.web.app import create_app
from service.web.observing import ensure_folder
from service.web.serving.building import Builder
from service.web.serving.lanes import threads_at_the_database
from service.web.serving.limits import Limits
from service.web.serving.master import Master
from service.web.serving.server import Options
from service.web.serving.worker import LoopWorker

__all__ = ["Limits", "Options", "Serving", "serve", "worker_app"]

# A worker's state is large, grows slowly and holds no cycles: looking through all of it as often as
# Python would by itself costs a tenth of the time and answers that wait for half a second. What is
# young is looked through sooner: each request leaves a cycle behind, the router's, and of 50,000
# objects that may wait 49,000 were in such cycles, with 83,000 blocks of memory.
GC_THRESHOLDS = (10_000, 50, 1000)

ARENAS_MAX = 2
_M_ARENA_MAX = -8  # of glibc's malloc.h

COMPILED_KEPT_S = 30 * 24 * 3600
"""How long compiled code of other sources is kept: another release may still be in use."""


def worker_app(settings: Settings, database_url: str) -> Flask:
    """The app of one worker, with connections of its own."""
    gc.set_threshold(*GC_THRESHOLDS)
    engine = service_engine(database_url, settings, bounded=True)
    seal_key = _seal_key(settings)
    return create_app(settings, engine, Studios(engine, seal_key=seal_key), seal_key)


def projector_of(settings: Settings, database_url: str) -> Projector:
    """What builds the trails, with connections of its own."""
    gc.set_threshold(*GC_THRESHOLDS)
    # each thread may want two connections at a time
    size = settings.pool_size or POOL_SIZE
    overflow = max(settings.pool_overflow, 2 - size)
    engine = service_engine(database_url, replace(settings, pool_overflow=overflow), bounded=True)
    studios = Studios(engine, seal_key=_seal_key(settings))
    pace = Pace(threads=min(Pace().threads, (size + overflow) // 2))
    return Projector(lambda name: studios.of(name).warm, engine, pace)


def sized(settings: Settings, threads: int) -> Settings:
    """The settings with a connection for each thread that may want one, unless they say how many.

    Else a burst of requests would have some wait for a connection while others hold theirs.
    """
    if settings.pool_size is not None:
        return settings
    return replace(settings, pool_size=threads_at_the_database(threads))


def _seal_key(settings: Settings) -> bytes | None:
    try:
        return read_seal_key(settings.keys_folder)
    except KeysError:
        return None  # the command has said so; the log is folded from its beginning


class Serving(BaseApplication):  # type: ignore[misc]  # gunicorn ships no types for it
    """Gunicorn, configured here and not from its command line."""

    def __init__(
        self, settings: Settings, database_url: str, config: dict[str, Any], options: Options
    ) -> None:
        self._settings = settings
        self._database_url = database_url
        self._config = config
        LoopWorker.options = options
        LoopWorker.builder = Builder(partial(projector_of, settings, database_url))
        super().__init__()

    def load_config(self) -> None:
        """Take the options given."""
        for name, value in self._config.items():
            self.cfg.set(name, value)
        self.cfg.set("worker_class", LoopWorker)
        # what a worker that is gone said last counts no more
        self.cfg.set("child_exit", _counts_no_more)

    def run(self) -> None:
        """Serve until a signal ends it."""
        Master(self).run()

    def load(self) -> Flask:
        """Make the app: in each worker, after the fork."""
        ensure_folder()
        settings = sized(self._settings, LoopWorker.options.threads)
        app = worker_app(settings, self._database_url)
        if LoopWorker.options.metrics_port is not None:
            keep_metrics_apart(app, LoopWorker.options.metrics_port)
        return app


def keep_metrics_apart(app: Flask, port: int) -> None:
    """Let an app answer /metrics at a port and nowhere else, and nothing else there."""

    @app.before_request
    def look_at_the_port() -> None:
        if (request.path == "/metrics") is not (request.environ["SERVER_PORT"] == str(port)):
            abort(HTTPStatus.NOT_FOUND)


def _counts_no_more(_: object, worker: Any) -> None:
    mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]  # the library's


def serve(settings: Settings, database_url: str, config: dict[str, Any], options: Options) -> None:
    """Serve until a signal ends it; what must be compiled is compiled before the workers fork.

    `config` is what gunicorn's master is told.
    """
    share_arenas()
    warm()
    discard_old_kernels(Path(CACHE_FOLDER), time.time() - COMPILED_KEPT_S)
    master = os.getpid()
    try:
        Serving(settings, database_url, config, options).run()
    except SystemExit as ended:
        if os.getpid() != master:
            # a worker: what was begun before the fork is the master's to end
            logging.shutdown()
            os._exit(_status_of(ended))
        raise


def _status_of(ended: SystemExit) -> int:
    """The exit status that Python gives a process that ends so."""
    if ended.code is None:
        return 0
    return ended.code if isinstance(ended.code, int) else 1


def share_arenas() -> None:
    """Have threads take memory from the same few arenas, in this process and those it forks.

    By itself glibc gives nearly each thread its own, and each keeps what a dear request once took:
    a worker grew by a third, and went on growing. Other C libraries have no such arenas.
    """
    with suppress(AttributeError):
        ctypes.CDLL(None).mallopt(_M_ARENA_MAX, ARENAS_MAX)


def discard_old_kernels(used: Path, before_s: float) -> None:
    """Remove folders of compiled code beside the one in use that were made before an instant."""
    for folder in used.parent.glob(f"{FOLDERS}*"):
        if folder != used and folder.stat().st_mtime < before_s:
            shutil.rmtree(folder, ignore_errors=True)
