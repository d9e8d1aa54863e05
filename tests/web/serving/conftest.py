"""A small WSGI app behind the connections and threads of the service, with short deadlines."""

import asyncio
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import pytest
from uvicorn.config import Config
from uvicorn.server import ServerState

from service.web.access import invalid_token, secret_in
from service.web.problems import Problem, ProblemError
from service.web.serving.bridge import Bridge
from service.web.serving.connection import Connection
from service.web.serving.lanes import Client, Lanes
from service.web.serving.limits import Limits

SHORT = Limits(
    connections_max=50,
    requests_max=1000,
    wrong_tokens_max=1000,
    head_s=0.4,
    head_bytes_max=4096,
    body_s=0.4,
    body_bytes_per_s=100_000,
    body_bytes_max=300_000,
    untrusted_body_bytes_max=10_000,
    reader_s=0.4,
    idle_s=1,
    waiting_max=6,
    stop_s=1,
    discard_s=0.3,
)
WAIT_S = 10
"""How long a test waits for what must come; the deadlines under test are much shorter."""


class Small:
    """A WSGI app; `seen` are the environs of the requests that reached it."""

    def __init__(self) -> None:
        self.seen: list[dict[str, Any]] = []
        self.hold = threading.Event()
        self.closed = 0

    def __call__(self, environ: dict[str, Any], start: Callable[..., Any]) -> Any:
        self.seen.append(environ)
        path = environ["PATH_INFO"]
        body = environ["wsgi.input"].read()
        if path == "/fault":
            raise ZeroDivisionError
        if path == "/held":
            self.hold.wait(WAIT_S)
        if path == "/stream":
            start("200 OK", [("Content-Type", "text/plain")])
            return _Stream(self)
        big = b"x" * 30_000_000 if path == "/big" else b"%d " % len(body) + path.encode("latin-1")
        start("200 OK", [("Content-Type", "text/plain"), ("Content-Length", str(len(big)))])
        return [big]


class _Stream:
    def __init__(self, app: Small) -> None:
        self._app = app

    def __iter__(self) -> Iterator[bytes]:
        for _ in range(2000):
            yield b"y" * 50_000

    def close(self) -> None:
        self._app.closed += 1


class Port:
    """A port with the app behind it; `refused` are the statuses of the refusals it counted."""

    def __init__(self, number: int, app: Small, state: ServerState, refused: list[int]) -> None:
        self.number = number
        self.app = app
        self.state = state
        self.refused = refused
        self._clients: list[socket.socket] = []

    def client(self) -> socket.socket:
        """A connection; it is closed with the test at the latest."""
        made = socket.create_connection(("127.0.0.1", self.number), timeout=WAIT_S)
        self._clients.append(made)
        return made

    def close(self) -> None:
        """Close all connections that were made."""
        for client in self._clients:
            client.close()

    def ask(self, sent: bytes) -> bytes:
        """Send bytes; gives all that comes until the service closes the connection."""
        with self.client() as client:
            client.sendall(sent)
            return read_all(client)


def read_all(client: socket.socket) -> bytes:
    """All bytes until the other side closes."""
    parts: list[bytes] = []
    while True:
        try:
            part = client.recv(65536)
        except ConnectionResetError:
            return b"".join(parts)
        if not part:
            return b"".join(parts)
        parts.append(part)


def refused_by(shown: str | None) -> Problem:
    """The problem that a request without a known token is answered with."""
    try:
        secret_in(shown)
    except ProblemError as error:
        return error.problem
    return invalid_token().problem


async def by_token(shown: str | None, address: str) -> Client:
    """The client of a request, as if each token were of a studio of its own."""
    return Client(shown or address, "")


@contextmanager
def serving(limits: Limits = SHORT, accepted: str = "Bearer known") -> Iterator[Port]:
    """The app behind a port of this machine, on an event loop in a thread."""
    app, state = Small(), ServerState()
    refused: list[int] = []
    lanes = Lanes.of(2, limits)
    bridge = Bridge(
        app,
        lambda _, path, __: lanes.probe if path == "/live" else lanes.usual,
        by_token,
        lambda shown, _: None if shown == accepted else refused_by(shown),
        limits,
    )
    config = Config(
        bridge, ws="none", lifespan="off", interface="asgi3", log_config=None, access_log=False,
        proxy_headers=False, timeout_keep_alive=int(limits.idle_s),
    )  # fmt: skip
    loop = asyncio.new_event_loop()
    server = loop.run_until_complete(
        loop.create_server(
            lambda: Connection(config, state, limits, loop, refused.append), "127.0.0.1", 0
        )
    )
    number = server.sockets[0].getsockname()[1]
    thread = threading.Thread(target=loop.run_forever)
    thread.start()
    port = Port(number, app, state, refused)
    try:
        yield port
    finally:
        port.close()
        app.hold.set()
        loop.call_soon_threadsafe(server.close)
        for connection in list(state.connections):
            loop.call_soon_threadsafe(connection.transport.abort)
        loop.call_soon_threadsafe(loop.call_later, 0.1, loop.stop)
        thread.join(WAIT_S)
        for task in asyncio.all_tasks(loop):
            task.cancel()
        loop.run_until_complete(asyncio.sleep(0))
        loop.close()
        lanes.stop()


@pytest.fixture
def port() -> Iterator[Port]:
    """The app with short deadlines."""
    with serving() as made:
        yield made


@pytest.fixture
def patient() -> Iterator[Port]:
    """The same with deadlines that no test reaches."""
    with serving(replace(SHORT, head_s=60, body_s=60, reader_s=60, idle_s=60)) as made:
        yield made
