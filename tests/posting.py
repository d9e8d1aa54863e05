"""A light HTTP load: requests made beforehand, written to kept-alive sockets by one thread.

On a machine of two cores whoever asks competes with whoever answers, so as little as possible is
done here: no library, no JSON, nothing read of an answer but its status and its length.
"""

import selectors
import socket
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from urllib.parse import urlsplit

CONNECT_APART_S = 0.02
"""Who connects all at once is accepted by one worker alone."""
READ_BYTES = 1 << 18
SEND_BUFFER_BYTES = 1 << 21


@dataclass(frozen=True, slots=True)
class Posted:
    """What a load came to: from the first byte sent to the last answer, and each answer's wait."""

    took_s: float
    waits_s: tuple[float, ...]
    own_cpu_s: float


def request(url: str, path: str, token: str, content_type: str, body: bytes) -> bytes:
    """The bytes of a POST."""
    head = (
        f"POST {path} HTTP/1.1\r\nHost: {urlsplit(url).netloc}\r\n"
        f"Authorization: Bearer {token}\r\nContent-Type: {content_type}\r\n"
        f"Content-Length: {len(body)}\r\n\r\n"
    )
    return head.encode("ascii") + body


def post_all(url: str, clients: Sequence[Iterable[bytes]]) -> Posted:
    """Let clients send their requests, each one after the answer to its last.

    Raises RuntimeError for an answer that is no success.
    """
    own = time.process_time()
    with selectors.DefaultSelector() as selector:
        sessions = [_Session(url, requests) for requests in clients]
        for session in sessions:
            selector.register(session.socket, selectors.EVENT_READ, session)
        waits_s: list[float] = []
        began = time.perf_counter()
        open_ = sum(session.send() for session in sessions)
        while open_:
            for key, _ in selector.select():
                waiting: _Session = key.data
                if waiting.answered():
                    waits_s.append(time.perf_counter() - waiting.sent_at)
                    open_ -= not waiting.send()
        took_s = time.perf_counter() - began
        for session in sessions:
            session.socket.close()
    return Posted(took_s, tuple(sorted(waits_s)), time.process_time() - own)


class _Session:
    """One client's connection and what it has still to send."""

    def __init__(self, url: str, requests: Iterable[bytes]) -> None:
        time.sleep(CONNECT_APART_S)
        where = urlsplit(url)
        self.socket = socket.create_connection((where.hostname, where.port))
        # a whole batch fits, so that no client is held up while another's is written
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.sent_at = 0.0
        self._requests = iter(requests)
        self._read = b""

    def send(self) -> bool:
        """Send the next request, if there is one."""
        found = next(self._requests, None)
        if found is None:
            return False
        self.sent_at = time.perf_counter()
        self.socket.sendall(found)
        return True

    def answered(self) -> bool:
        """Read on; whether the answer is complete."""
        more = self.socket.recv(READ_BYTES)
        self._read += more
        head, found, body = self._read.partition(b"\r\n\r\n")
        if not more:
            raise RuntimeError(f"the service hung up: {self._read[:500]!r}")
        if not found or len(body) < _length(head):
            return False
        if not head.startswith(b"HTTP/1.1 2"):
            raise RuntimeError(f"not recorded: {self._read[:2000]!r}")
        self._read = b""
        return True


def _length(head: bytes) -> int:
    at = head.lower().index(b"content-length:") + len(b"content-length:")
    return int(head[at:].split(b"\r\n", 1)[0])
