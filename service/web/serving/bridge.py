"""From an event loop to a WSGI app: a thread is taken when a request is whole, and for no longer.

Bodies are read before, answers are sent after; neither waits on a thread for its client.
"""

import asyncio
import io
from collections.abc import Awaitable, Callable, Iterable, Iterator
from functools import partial
from http import HTTPStatus
from typing import Any, NamedTuple, TypeVar, cast
from urllib.parse import unquote_to_bytes
from wsgiref.types import WSGIApplication

from uvicorn._types import ASGIReceiveCallable, ASGISendCallable, HTTPScope, Scope

from service.web.problems import Problem, too_large
from service.web.serving.bodies import Bodies, Share
from service.web.serving.connection import SCOPE_KEY, Connection
from service.web.serving.lanes import Client, Lane, LaneFullError
from service.web.serving.limits import KIB, Limits

_Result = TypeVar("_Result")

PIECE_BYTES = 64 * KIB
"""How much of an answer is handed to the connection at a time."""
MADE_AHEAD_BYTES = 256 * KIB
"""How much of a streamed answer is made before what was made is sent."""
# headers that an environ has under other names, or that are no longer so once a body is whole
_NOT_PASSED_ON = frozenset({b"content-length", b"content-type", b"transfer-encoding"})


class Head(NamedTuple):
    """The head of an answer."""

    status: int
    headers: list[tuple[bytes, bytes]]


class Answer:
    """What a WSGI app made of a request, taken from it piece by piece."""

    def __init__(self, app: WSGIApplication, environ: dict[str, Any]) -> None:
        self.head = Head(HTTPStatus.INTERNAL_SERVER_ERROR, [])
        self.is_whole = False
        self._parts = app(environ, self._start)
        self._iterator: Iterator[bytes] = iter(self._parts)

    def _start(self, status: str, headers: list[tuple[str, str]], exc_info: Any = None,
    ) -> Callable[[bytes], object]:  # fmt: skip
        if exc_info is not None and self.head.headers:
            raise exc_info[1].with_traceback(exc_info[2])
        sent = [(name.encode("latin-1"), value.encode("latin-1")) for name, value in headers]
        self.head = Head(int(status.split(" ", 1)[0]), sent)
        return _write_is_not_served

    def take(self) -> list[bytes]:
        """The next pieces, some hundred kilobytes; `is_whole` says that they were the last."""
        taken: list[bytes] = []
        size = 0
        try:
            for part in self._iterator:
                taken.append(part)
                size += len(part)
                if size >= MADE_AHEAD_BYTES:
                    return taken
        except BaseException:
            self.close()
            raise
        self.is_whole = True
        self.close()
        return taken

    def close(self) -> None:
        """Let the app end what it began for the answer."""
        close = getattr(self._parts, "close", None)
        if close is not None:
            close()


def _write_is_not_served(_: bytes) -> None:
    raise NotImplementedError("an app gives its answer as an iterable")


class Bridge:
    """An ASGI app that answers with a WSGI app on the threads of lanes.

    `lane_of` tells the lane of a method, path and query; `client_of` tells by its Authorization
    header and address whose request it is. `refused` tells by the same with which problem a client
    is refused, None if it is not: it is asked, on a thread, before much of a body is read.
    """

    def __init__(
        self,
        app: WSGIApplication,
        lane_of: Callable[[str, str, bytes], Lane],
        client_of: Callable[[str | None, str], Awaitable[Client]],
        refused: Callable[[str | None, str], Problem | None],
        limits: Limits,
    ) -> None:
        self._app = app
        self._lane_of = lane_of
        self._client_of = client_of
        self._refused = refused
        self._limits = limits
        self._bodies = Bodies(limits.bodies_bytes_max)

    async def __call__(
        self, scope: Scope, receive: ASGIReceiveCallable, send: ASGISendCallable
    ) -> None:
        """Answer one request."""
        scope = cast(HTTPScope, scope)
        connection = cast(Connection, cast(dict[str, Any], scope)[SCOPE_KEY])
        lane = self._lane_of(scope["method"], scope["path"], scope["query_string"])
        try:
            made = await self._made(scope, receive, connection, lane)
        except LaneFullError:
            connection.refuse(503, BUSY)
            return
        if made is not None:
            await self._send(*made, lane, connection, send)

    async def _made(self, scope: HTTPScope, receive: ASGIReceiveCallable, connection: Connection,
                    lane: Lane) -> "_Made | None":  # fmt: skip
        """The beginning of the app's answer; None where the client left or was refused."""
        share = Share(self._bodies)
        running: asyncio.Future[_Made | None] | None = None
        try:
            body = await self._body(scope, receive, connection, lane, share)
            if body is None:
                return None
            begin = partial(_begin, self._app, environ_of(scope, body), connection)
            running = asyncio.ensure_future(self._run(lane, scope, begin))
            done, _ = await asyncio.wait((running,), timeout=lane.answer_s)
        finally:
            share.release_after(running)
        if done:
            return running.result()
        running.add_done_callback(_close_unsent)
        connection.refuse(503, lane.too_long)
        return None

    async def _body(self, scope: HTTPScope, receive: ASGIReceiveCallable, connection: Connection,
                    lane: Lane, share: Share) -> bytes | None:  # fmt: skip
        """The body whole; None where the client left, was refused, or took too long."""
        limits = self._limits
        loop = asyncio.get_running_loop()
        body = bytearray()
        checked = False
        deadline = loop.time() + limits.body_s
        while True:
            try:
                async with asyncio.timeout_at(deadline + len(body) / limits.body_bytes_per_s):
                    message = await receive()
            except TimeoutError:
                connection.refuse(
                    408,
                    f"A body has {limits.body_s:g} s, and a second more for each "
                    f"{limits.body_bytes_per_s} bytes.",
                )
                return None
            if message["type"] != "http.request":
                return None
            body += message["body"]
            if len(body) > limits.untrusted_body_bytes_max:
                if not checked and not await self._is_trusted(scope, connection, lane):
                    return None
                checked = True
                if not self._has_room(len(body), connection, share):
                    return None
            if not message["more_body"]:
                return bytes(body)

    async def _is_trusted(self, scope: HTTPScope, connection: Connection, lane: Lane) -> bool:
        """Whether the client may send a large body by its token; else it is refused."""
        shown, address = header_of(scope, b"authorization"), address_of(scope)
        problem = await self._run(lane, scope, partial(self._refused, shown, address))
        if problem is not None:
            connection.refuse_as(problem)
        return problem is None

    async def _run(self, lane: Lane, scope: HTTPScope, call: Callable[[], _Result]) -> _Result:
        """The result of a call on a thread of the lane, once it is this client's turn."""
        shown, address = header_of(scope, b"authorization"), address_of(scope)
        client = Client(address, "")
        if lane.by_studio:
            client = await self._client_of(shown, address)
        return await lane.run(call, client)

    def _has_room(self, size_bytes: int, connection: Connection, share: Share) -> bool:
        """Whether a body may be so large; else it is refused."""
        if size_bytes > self._limits.body_bytes_max:
            connection.refuse(413, too_large(self._limits.body_bytes_max))
            return False
        if not share.grow_to(size_bytes):
            connection.refuse(503, NO_ROOM)
            return False
        return True

    async def _send(self, answer: Answer, pieces: list[bytes], lane: Lane, connection: Connection,
                    send: ASGISendCallable) -> None:  # fmt: skip
        head = answer.head
        await send({"type": "http.response.start", "status": head.status, "headers": head.headers})
        while True:
            for piece in _cut(pieces):
                await send({"type": "http.response.body", "body": piece, "more_body": True})
            if answer.is_whole or connection.gone:
                break
            pieces = await lane.run_on(answer.take)
        if not answer.is_whole:
            await lane.run_on(answer.close)
            return
        await send({"type": "http.response.body", "body": b"", "more_body": False})


BUSY = "Too many requests wait already. Ask again in some seconds."
NO_ROOM = "Too many large bodies are being read already. Send this again in some seconds."


# an answer and its first pieces
_Made = tuple[Answer, list[bytes]]


def _close_unsent(running: "asyncio.Future[_Made | None]") -> None:
    made = None if running.cancelled() or running.exception() else running.result()
    if made is not None and not made[0].is_whole:
        made[0].close()


def _begin(app: WSGIApplication, environ: dict[str, Any], connection: Connection) -> _Made | None:
    # who left while the request waited for a thread was never told that it was taken
    if connection.gone:
        return None
    answer = Answer(app, environ)
    return answer, answer.take()


def _cut(pieces: Iterable[bytes]) -> Iterator[bytes]:
    for piece in pieces:
        for start in range(0, len(piece), PIECE_BYTES):
            yield piece[start : start + PIECE_BYTES]


def header_of(scope: HTTPScope, wanted: bytes) -> str | None:
    """The value of a header, the first where there are several."""
    values = (value.decode("latin-1") for name, value in scope["headers"] if name == wanted)
    return next(values, None)


def address_of(scope: HTTPScope) -> str:
    """Where a request comes from; "" where that is not known."""
    return scope["client"][0] if scope["client"] else ""


def environ_of(scope: HTTPScope, body: bytes) -> dict[str, Any]:
    """The environ of a request, as PEP 3333 has it, with the body whole."""
    server = scope["server"] or ("localhost", None)
    environ: dict[str, Any] = {
        "REQUEST_METHOD": scope["method"],
        "SCRIPT_NAME": "",
        "PATH_INFO": unquote_to_bytes(scope["raw_path"]).decode("latin-1"),
        "QUERY_STRING": scope["query_string"].decode("latin-1"),
        "REQUEST_URI": scope["raw_path"].decode("latin-1"),
        "SERVER_NAME": server[0],
        "SERVER_PORT": str(server[1] or 80),
        "SERVER_PROTOCOL": f"HTTP/{scope['http_version']}",
        "REMOTE_ADDR": address_of(scope),
        "CONTENT_LENGTH": str(len(body)),
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": scope["scheme"],
        "wsgi.input": io.BytesIO(body),
        "wsgi.input_terminated": True,
        "wsgi.errors": io.StringIO(),
        "wsgi.multithread": True,
        "wsgi.multiprocess": True,
        "wsgi.run_once": False,
    }
    for name, value in scope["headers"]:
        shown = value.decode("latin-1")
        if name == b"content-type":
            environ["CONTENT_TYPE"] = shown
        elif name not in _NOT_PASSED_ON:
            key = "HTTP_" + name.decode("latin-1").upper().replace("-", "_")
            # RFC 9110, section 5.3: several of one name are one, with commas
            environ[key] = f"{environ[key]},{shown}" if key in environ else shown
    return environ
