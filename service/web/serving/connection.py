"""One connection: uvicorn's reading and writing of HTTP/1.1, with deadlines for the client.

A connection costs a few kilobytes and no thread, whatever its client does: no byte, one at a time,
half a head or body, or an answer that nobody reads.
"""

import asyncio
import socket
from collections.abc import Callable
from typing import Any, cast

import httptools
from uvicorn._types import ASGI3Application
from uvicorn.config import Config
from uvicorn.protocols.http.httptools_impl import HttpToolsProtocol, RequestResponseCycle
from uvicorn.server import ServerState

from service.web.problems import Problem
from service.web.serving.heads import RequestHead, head_too_large, problem_of, without_offer
from service.web.serving.limits import Limits
from service.web.serving.refusals import Refusal

SCOPE_KEY = "retake-ledger.connection"
"""Where a request's scope has its connection."""

PIPELINED_MAX = 16
"""How many requests may be sent ahead of their answers; whoever sends more is cut off."""

# Linux alone has it; where it is missing, a peer that is gone is dropped by `reader_s` as well
_USER_TIMEOUT = getattr(socket, "TCP_USER_TIMEOUT", None)


class Connection(HttpToolsProtocol):
    """A client's connection.

    `gone` tells whether the client has left; what is still being made for it may be given up.
    `count` is told the status of each refusal.
    """

    def __init__(
        self, config: Config, state: ServerState, limits: Limits, loop: asyncio.AbstractEventLoop,
        count: Callable[[int], None],
    ) -> None:  # fmt: skip
        super().__init__(config, state, {}, loop)
        self._limits = limits
        self._count = count
        self._head_deadline: asyncio.TimerHandle | None = None
        self._reader_deadline: asyncio.TimerHandle | None = None
        self._unsent = 0
        self._beneath: asyncio.Transport | None = None
        # what has come of a head, or since the last piece of a body: chunk lines and trailers
        self._head_bytes = 0
        # whose body is being read; None while a head is, or nothing
        self._body_of: RequestResponseCycle | None = None
        # whether what comes is thrown away, and what is answered for it once its turn has come
        self._deaf = False
        self._refusal: Refusal | None = None
        self._refused = False
        self._awaited_since = loop.time()
        # whether the head that was read last offers another protocol, and is to be read again
        self._offers = False
        # what is being answered, or was last; `cycle` is what was last begun to be read
        self._answered: RequestResponseCycle | None = None

    # what the event loop calls

    def encrypted_made(self, transport: asyncio.Transport, beneath: asyncio.Transport) -> None:
        """The same as `connection_made` with TLS; `beneath` is what takes the encrypted bytes."""
        self._beneath = beneath
        self.connection_made(transport)

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """A client has connected: from now on its first head is waited for."""
        super().connection_made(cast(asyncio.Transport, transport))
        _give_up_on_lost_peers(transport, self._limits.reader_s)
        self._await_head()

    def connection_lost(self, exc: Exception | None) -> None:
        """The client has left, or was dropped."""
        for deadline in (self._head_deadline, self._reader_deadline):
            if deadline is not None:
                deadline.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Bytes have come."""
        if self._deaf:
            return
        self._head_bytes += len(data)
        self._unset_keepalive_if_required()
        self._parse(data)
        if self._deaf or self.transport.is_closing():
            return
        in_head = self._body_of is None
        if self._head_bytes > self._limits.head_bytes_max:
            detail = head_too_large(self._limits) if in_head else self._trailers_too_large
            self._refuse_read(431, detail)
        elif in_head and self.is_idle:
            # bytes that begin nothing yet, such as empty lines, do not keep a connection
            self._await_head()

    def _parse(self, data: bytes) -> None:
        """Have bytes parsed, which calls what is below.

        An offer of another protocol is passed over (RFC 9110, section 7.8). The parser takes what
        follows it, the request's own body too, for that protocol: so a new one is given the same
        head without the offer.
        """
        while True:
            try:
                self.parser.feed_data(data)
            except httptools.HttpParserUpgrade as offer:
                if self._offers:
                    data = self._begin_again() + data[offer.args[0] :]
                    continue
            except httptools.HttpParserError:
                self.send_400_response("Invalid HTTP request received.")
            return

    def _begin_again(self) -> bytes:
        """Take a new parser; gives the head that was read last, without its offer, for that."""
        parser, self._offers = self.parser, False
        self.parser = httptools.HttpRequestParser(self)
        self.parser.set_dangerous_leniencies(lenient_data_after_close=True)
        version = parser.get_http_version().encode()
        lines = [b"%b %b HTTP/%b" % (parser.get_method(), self.url, version)]
        lines += [b"%b: %b" % header for header in without_offer(self.headers)]
        return b"\r\n".join([*lines, b"", b""])

    def pause_writing(self) -> None:
        """The client reads more slowly than it is answered."""
        super().pause_writing()
        self._watch_reader()

    def resume_writing(self) -> None:
        """The client has read on."""
        super().resume_writing()
        if self._reader_deadline is not None:
            self._reader_deadline.cancel()
            self._reader_deadline = None

    # what the parser calls

    def on_message_begin(self) -> None:
        """The first byte of a request is there."""
        super().on_message_begin()
        cast(dict[str, Any], self.scope)[SCOPE_KEY] = self
        self._await_head()

    def on_header(self, name: bytes, value: bytes) -> None:
        """A field is whole; one behind a body is none of the head, and nothing here reads it."""
        if self._body_of is None:
            super().on_header(name, value)

    def on_headers_complete(self) -> None:
        """A head is whole: what can be refused by it is refused before anything is read or run."""
        is_tunnel = self.parser.get_method() == b"CONNECT"
        if self.parser.should_upgrade() and not is_tunnel:
            self._offers = not self._deaf
            return
        self._head_bytes = 0
        self._awaited_since = self.loop.time()
        self._end_head()
        if self._deaf:
            return
        head = RequestHead(self.url, self.parser.get_http_version(), self.headers)
        problem = problem_of(head, self._limits)
        if problem is None and is_tunnel:
            problem = 501, "CONNECT is not served."
        if problem is not None:
            self._refuse_read(*problem)
        elif len(self.pipeline) >= PIPELINED_MAX:
            self._deaf = self._refused = True
            self.transport.abort()
        else:
            super().on_headers_complete()
            self._body_of = self.cycle

    def on_body(self, body: bytes) -> None:
        """A piece of a body is there."""
        self._head_bytes = 0
        if not self._deaf:
            super().on_body(body)

    def on_message_complete(self) -> None:
        """A request is whole."""
        if self._offers:
            return  # its head is read again
        self._head_bytes = 0
        if not self._deaf:
            self._body_of = None
            super().on_message_complete()

    # what uvicorn calls

    def _start_asgi_task(self, cycle: RequestResponseCycle, app: ASGI3Application) -> None:
        self._answered = cycle
        super()._start_asgi_task(cycle, app)

    def send_400_response(self, msg: str) -> None:
        """Refuse what is no HTTP."""
        self._refuse_read(400, f"This is not HTTP/1.1 as RFC 9112 has it: {msg}")

    def on_response_complete(self) -> None:
        """An answer has been handed over; the client may still have to read it."""
        super().on_response_complete()
        self._awaited_since = self.loop.time()
        if self._refusal is not None and not self._is_answering:
            self._refuse(self._refusal)
        self._watch_reader()

    def shutdown(self) -> None:
        """The service ends: a request that is whole is still answered, one that is not is not."""
        if self.cycle is not None and self.cycle.more_body and not self.pipeline:
            self.drop()
        else:
            super().shutdown()
            self._watch_reader()

    def timeout_keep_alive_handler(self) -> None:
        """The connection was idle for its time."""
        self.drop()

    @property
    def _trailers_too_large(self) -> str:
        return f"At most {self._limits.head_bytes_max} bytes of chunk lines and trailers are taken."

    # what the app's side calls

    @property
    def gone(self) -> bool:
        """Whether the client of the request that is being answered has left."""
        return self._refused or self.transport.is_closing()

    @property
    def is_idle(self) -> bool:
        """Whether no request is being answered."""
        return self.cycle is None or self.cycle.response_complete

    @property
    def awaited_since(self) -> float | None:
        """The loop's time since when the client has been waited for, None while it waits itself."""
        waits = self._is_answering and self._answered is not self._body_of
        return None if waits and not self._refused else self._awaited_since

    @property
    def _is_answering(self) -> bool:
        return self._answered is not None and not self._answered.response_complete

    def refuse(self, status: int, detail: str) -> None:
        """Answer what is being answered with a problem instead, read no further and close."""
        self._refuse(Refusal.of(status, detail))

    def refuse_as(self, problem: Problem) -> None:
        """The same, as a route would answer it."""
        self._refuse(Refusal.of_problem(problem))

    def _refuse_read(self, status: int, detail: str) -> None:
        """Refuse what is being read, in its turn: after the answers to what came before it."""
        if self._deaf:
            return  # what was refused first says why
        refusal = Refusal.of(status, detail)
        self._deaf = True
        before = self._answered
        if before is None or before.response_complete or before is self._body_of:
            self._refuse(refusal)
            return
        self._end_head()
        self._refusal = refusal
        if self._body_of is not None:
            self.pipeline.popleft()  # it was to be answered when its turn came
            self.cycle = self.pipeline[0][0] if self.pipeline else before

    def _refuse(self, refusal: Refusal) -> None:
        """Answer so.

        What the client goes on to send is thrown away for a while: closing at once would reset the
        connection, and the client might never read the answer.
        """
        if self._refused:
            return
        self._deaf = self._refused = True
        self._awaited_since = self.loop.time()
        self.pipeline.clear()
        if self._answered is not None and not self._answered.response_complete:
            if self._answered.response_started:
                self.drop()  # an answer is half written: a second one would run into it
                return
            self._answered.disconnected = True
            self._answered.message_event.set()
        self._end_head()
        self._unset_keepalive_if_required()
        if self.transport.is_closing():
            return
        self._count(refusal.status)
        self.transport.write(refusal.sent())
        self.flow.resume_reading()
        self.loop.call_later(self._limits.discard_s, self.drop)

    def drop(self) -> None:
        """Close; what was not read by now is not sent any more."""
        if self._left():
            self.transport.abort()
        else:
            self.transport.close()
            self._watch_reader()

    # deadlines

    def _await_head(self) -> None:
        if self._head_deadline is None:
            self._head_deadline = self.loop.call_later(self._limits.head_s, self._head_is_late)

    def _end_head(self) -> None:
        if self._head_deadline is not None:
            self._head_deadline.cancel()
            self._head_deadline = None

    def _head_is_late(self) -> None:
        self._head_deadline = None
        if not self.is_idle:
            self._await_head()  # the one before is still being answered
        elif self._head_bytes == 0:
            self.drop()
        else:
            self._refuse_read(408, f"The head of a request has {self._limits.head_s:g} s.")

    def _watch_reader(self) -> None:
        left = self._left()
        if self._reader_deadline is not None or not (left or self.transport.is_closing()):
            return
        # with TLS, closing is over when the client has taken leave as well
        wait_s = self._limits.reader_s if left else self._limits.discard_s
        self._unsent = left
        self._reader_deadline = self.loop.call_later(wait_s, self._reader_is_due)

    def _reader_is_due(self) -> None:
        self._reader_deadline = None
        left, least = self._left(), self._limits.reader_bytes_least
        too_little = left and self._unsent - left < min(least, self._unsent)
        if too_little or not self._unsent:
            self.transport.abort()
        else:
            self._watch_reader()

    def _left(self) -> int:
        beneath = 0 if self._beneath is None else self._beneath.get_write_buffer_size()
        return self.transport.get_write_buffer_size() + beneath


def _give_up_on_lost_peers(transport: asyncio.BaseTransport, seconds: float) -> None:
    peer: socket.socket | None = transport.get_extra_info("socket")
    if peer is not None and _USER_TIMEOUT is not None and peer.family != socket.AF_UNIX:
        peer.setsockopt(socket.IPPROTO_TCP, _USER_TIMEOUT, int(seconds * 1000))
