"""What serves a worker's clients on an event loop: it accepts them, makes room, and ends."""

import asyncio
import errno
import logging
import os
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from email.utils import formatdate
from functools import partial
from itertools import islice
from operator import itemgetter
from pathlib import Path
from typing import NamedTuple, cast

from flask import Flask
from gunicorn.workers.base import Worker
from uvicorn.config import Config
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware
from uvicorn.server import ServerState

from service.tls import context_of
from service.web.observing import refusal_counter
from service.web.serving.admission import admission, client_finder, lane_chooser
from service.web.serving.bridge import Bridge
from service.web.serving.connection import Connection
from service.web.serving.encryption import encrypt
from service.web.serving.lanes import Lanes
from service.web.serving.limits import Limits
from service.web.serving.refusals import Refusal
from service.web.throttle import Throttle

# Clients keep their connections, so where these go by chance one worker may have nearly all of them
# and its one interpreter's lock, while another idles.
CONNECTIONS_COUNTED = 4
# With so many, chance is even enough, and a crowd must not wait to be let in one by one.
CONNECTIONS_CROWD = 32
ACCEPTED_AT_ONCE = 64
TURNED_AWAY_MAX = 64
_RETRY_ACCEPT_S = 0.5
# accept(2): faults of the network that a client has met already, and that are its own alone
_OF_ONE_CLIENT = {
    errno.ECONNABORTED,
    errno.EHOSTDOWN,
    errno.EHOSTUNREACH,
    errno.ENETDOWN,
    errno.ENETUNREACH,
    errno.ENOPROTOOPT,
    errno.EOPNOTSUPP,
    errno.EPROTO,
}
_BUSY = "This service has as many connections as it takes. Come again in some seconds."

_log = logging.getLogger("retake_ledger.serving")


class Options(NamedTuple):
    """How workers serve.

    `proxies` are addresses or networks whose forwarding headers hold; `tls` are the files of a
    certificate and of its key, both PEM; `metrics_port` is a port for metrics alone. A worker looks
    every `tick_s` whether gunicorn is still there. It leaves a new client to the others for
    `yielded_s` times the connections that it has, counted up to a few.
    """

    threads: int
    limits: Limits
    proxies: tuple[str, ...] = ()
    tls: tuple[Path, Path] | None = None
    metrics_port: int | None = None
    tick_s: float = 1.0
    yielded_s: float = 0.001


class Server:
    """What a worker does on its event loop."""

    def __init__(self, worker: Worker, options: Options) -> None:
        self._worker = worker
        self._options = options
        self._limits = options.limits
        self._lanes = Lanes.of(options.threads, self._limits)
        app: Flask = worker.wsgi
        self._count = refusal_counter(app)
        throttle = Throttle(
            requests_max=self._limits.requests_max, wrong_max=self._limits.wrong_tokens_max
        )
        throttle.install(app)
        bridge = Bridge(
            app,
            lane_chooser(app, self._lanes),
            client_finder(app, throttle, self._lanes.tokens),
            admission(app, throttle),
            self._limits,
        )
        self._config = Config(
            ProxyHeadersMiddleware(bridge, trusted_hosts=list(self._options.proxies)),
            ws="none",
            lifespan="off",
            interface="asgi3",
            log_config=None,
            access_log=False,
            proxy_headers=False,
            server_header=False,
            timeout_keep_alive=int(self._limits.idle_s),
        )
        self._config.load()
        self._state = ServerState()
        # no other protocol is served, so there are no others
        self._connections = cast(set[Connection], self._state.connections)
        self._tls = None if self._options.tls is None else context_of(*self._options.tls)
        self._stopped = asyncio.Event()
        # those being let in and since when, the longest first: with TLS, they may keep silent
        self._accepting: dict[asyncio.Task[None], float] = {}
        self._turned_away: set[socket.socket] = set()

    async def serve(self) -> None:
        """Accept and answer until it is stopped, or gunicorn is gone."""
        self._stamp()
        for listener in self._worker.sockets:
            listener.sock.setblocking(False)
            self._listen(listener.sock)
        while not self._stopped.is_set() and os.getppid() == self._worker.ppid:
            self._worker.notify()
            self._stamp()
            try:
                await asyncio.wait_for(self._stopped.wait(), self._options.tick_s)
            except TimeoutError:
                continue
        self.stop()  # also where gunicorn is gone: what was put off would accept on what is closed
        await self._end()

    def stop(self) -> None:
        """Take no more connections, and end what was begun."""
        self._stopped.set()

    @property
    def connections(self) -> int:
        """How many clients are connected."""
        return len(self._connections)

    def _stamp(self) -> None:
        date = formatdate(time.time(), usegmt=True).encode("ascii")
        self._state.default_headers = [(b"date", date)]

    # accepting

    def _listen(self, listener: socket.socket) -> None:
        if self._stopped.is_set():
            return
        asyncio.get_running_loop().add_reader(listener, self._give_way, listener)

    def _give_way(self, listener: socket.socket) -> None:
        """Accept after a while, the longer the more connections there are here already."""
        loop = asyncio.get_running_loop()
        loop.remove_reader(listener)
        connected = len(self._connections)
        if connected >= CONNECTIONS_CROWD:
            self._accept(listener, ACCEPTED_AT_ONCE)
        else:
            wait_s = self._options.yielded_s * min(connected, CONNECTIONS_COUNTED)
            loop.call_later(wait_s, self._accept, listener, 1)

    def _accept(self, listener: socket.socket, at_most: int) -> None:
        if self._stopped.is_set():
            return
        listen_after_s = 0.0
        try:
            for _ in range(at_most):
                self._accept_one(listener)
        except (BlockingIOError, InterruptedError):
            pass  # another worker was faster
        except OSError as error:
            # no more files or buffers, or nothing that is known: whatever it is may pass
            _log.error("no connection can be taken: %s", error)
            listen_after_s = _RETRY_ACCEPT_S
        finally:
            asyncio.get_running_loop().call_later(listen_after_s, self._listen, listener)

    def _accept_one(self, listener: socket.socket) -> None:
        try:
            client, _ = listener.accept()
        except OSError as error:
            if error.errno in _OF_ONE_CLIENT:
                return
            raise
        try:
            self._take(client)
        except OSError as error:
            _log.warning("a client was not let in: %s", error)
            client.close()

    def _take(self, client: socket.socket) -> None:
        client.setblocking(False)
        client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        full = len(self._connections) + len(self._accepting) >= self._limits.connections_max
        if full and not self._make_room():
            self._turn_away(client)
            return
        loop = asyncio.get_running_loop()
        task = loop.create_task(self._connect(client))
        self._accepting[task] = loop.time()
        task.add_done_callback(partial(self._let_in, client))

    def _let_in(self, client: socket.socket, task: asyncio.Task[None]) -> None:
        self._accepting.pop(task, None)
        if task.cancelled():
            client.close()

    async def _connect(self, client: socket.socket) -> None:
        loop = asyncio.get_running_loop()
        made = Connection(self._config, self._state, self._limits, loop, self._count)
        try:
            if self._tls is None:
                await loop.connect_accepted_socket(lambda: made, client)
            else:
                await encrypt(client, self._tls, made, self._limits.head_s)
        except (OSError, TimeoutError):  # no handshake, or the client left
            client.close()

    def _make_room(self) -> bool:
        """Drop the client that has been waited for longest; False where none is."""
        awaited: list[tuple[float, Callable[[], object]]] = [
            (one.awaited_since, one.drop)
            for one in self._connections
            if one.awaited_since is not None and not one.transport.is_closing()
        ]
        for task, since in islice(self._accepting.items(), 1):
            awaited.append((since, partial(self._give_up, task)))
        if awaited:
            min(awaited, key=itemgetter(0))[1]()
        return bool(awaited)

    def _give_up(self, task: asyncio.Task[None]) -> None:
        del self._accepting[task]
        task.cancel()

    def _turn_away(self, client: socket.socket) -> None:
        if self._tls is None:
            with suppress(OSError):
                client.send(Refusal.of(503, _BUSY).sent())
                client.shutdown(socket.SHUT_WR)
                self._count(503)
        if len(self._turned_away) >= TURNED_AWAY_MAX:
            client.close()
            return
        # closed at once, while the client is still sending, it might never read the answer
        self._turned_away.add(client)
        asyncio.get_running_loop().call_later(self._limits.discard_s, self._close_away, client)

    def _close_away(self, client: socket.socket) -> None:
        self._turned_away.discard(client)
        client.close()

    # ending

    async def _end(self) -> None:
        loop = asyncio.get_running_loop()
        for listener in self._worker.sockets:
            loop.remove_reader(listener.sock)
            listener.sock.close()
        for connection in list(self._connections):
            connection.shutdown()
        until = loop.time() + self._limits.stop_s
        while self._state.tasks and loop.time() < until:
            await asyncio.wait(list(self._state.tasks), timeout=0.1)
            self._worker.notify()
        while self._connections and loop.time() < until:
            await asyncio.sleep(0.02)
            self._worker.notify()
        for connection in list(self._connections):
            connection.transport.abort()
        for client in list(self._turned_away):
            self._close_away(client)
        self._lanes.stop()
