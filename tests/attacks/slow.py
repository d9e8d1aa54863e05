"""Holding the service up with connections that do nothing, or as little as they can.

Clients of five kinds, so many of each, all from this machine: silent; one byte of a head every
half second; half a head; half a body; and one that asks for the OpenAPI document again and again
and reads nothing of it. Beside them `/live` is read on connections of its own, and clients post
one event at a time, as they did before the attack.
"""

import resource
import selectors
import socket
import threading
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from statistics import median
from urllib.parse import urlsplit

import orjson

from service.client import Client
from tests.crash.poster import note
from tests.posting import post_all, request
from tests.serving import command, data_folder, issued, served
from tests.telling import office_facts

EACH = 500
POSTERS, POSTS = 8, 60
LIVE_REQUESTS = 200
TRICKLE_S = 0.5
HELD_S_MAX = 60
LIVE_MS_MAX, POSTS_SLOWED_MAX = 50.0, 2.0
"""The goals, in the median: the wait for `/live`, and that for posts in terms of a quiet time."""
KINDS = ("silent", "one byte at a time", "half a head", "half a body", "reads nothing")
_SINGLE = "application/cloudevents+json"
_HALF_HEAD = b"GET /live HTTP/1.1\r\nHost: a\r\nAccept"
_HALF_BODY = b"POST /events HTTP/1.1\r\nHost: a\r\nContent-Length: 1000\r\n\r\n{"
_ASKS = b"GET /openapi.json HTTP/1.1\r\nHost: a\r\n\r\n"


@dataclass
class Slow:
    """A connection of one kind: how long it has been held, in seconds, None while it still is."""

    kind: str
    socket: socket.socket
    began_at: float
    held_s: float | None = None


@dataclass
class Held:
    """All of them, driven by one thread until they are dropped or `stop` is set."""

    connections: list[Slow]
    stop: threading.Event = field(default_factory=threading.Event)

    def drive(self) -> None:
        """Do for each what its kind does."""
        with selectors.DefaultSelector() as selector:
            for one in self.connections:
                if one.kind != "reads nothing":
                    selector.register(one.socket, selectors.EVENT_READ, one)
            trickle_at = time.monotonic()
            while not self.stop.is_set():
                for key, _ in selector.select(timeout=0.1):
                    if _is_over(key.data):
                        selector.unregister(key.fileobj)
                if time.monotonic() >= trickle_at:
                    trickle_at += TRICKLE_S
                    self._trickle()

    def _trickle(self) -> None:
        for one in self.connections:
            if one.held_s is not None:
                continue
            if one.kind == "one byte at a time":
                _send(one, b"G")
            elif one.kind == "reads nothing":
                _send(one, _ASKS)


def _is_over(one: Slow) -> bool:
    try:
        over = one.socket.recv(65536) == b""
    except BlockingIOError:
        return False
    except OSError:
        over = True
    if over and one.held_s is None:
        one.held_s = time.monotonic() - one.began_at
    return over


def _send(one: Slow, data: bytes) -> None:
    try:
        one.socket.send(data)
    except BlockingIOError:
        return
    except OSError:
        if one.held_s is None:
            one.held_s = time.monotonic() - one.began_at


def connect(url: str, kind: str) -> Slow:
    """One more connection of a kind, which has done the first of what its kind does."""
    where = urlsplit(url)
    client = socket.socket()
    if kind == "reads nothing":
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    client.connect((where.hostname, where.port))
    first = {"half a head": _HALF_HEAD, "half a body": _HALF_BODY, "reads nothing": _ASKS}
    client.sendall(first.get(kind, b""))
    client.setblocking(False)
    return Slow(kind, client, time.monotonic())


@contextmanager
def held(url: str, each: int) -> Iterator[Held]:
    """So many connections of each kind, until the end of the block."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, min(hard, 20_000)), hard))
    held = Held([connect(url, kind) for _ in range(each) for kind in KINDS])
    thread = threading.Thread(target=held.drive)
    thread.start()
    try:
        yield held
    finally:
        held.stop.set()
        thread.join()
        for one in held.connections:
            one.socket.close()


@dataclass(frozen=True)
class Measured:
    """Waits in milliseconds: the usual and the longest of `/live`, and the usual of posts."""

    live_ms: float
    live_ms_max: float
    post_ms: float


def measured(
    url: str, token: str, round_: int, live_requests: int = LIVE_REQUESTS, posts: int = POSTS
) -> Measured:
    """How long others wait now."""
    waits: list[float] = []
    for _ in range(live_requests):
        began = time.perf_counter()
        _ask_live(url)
        waits.append((time.perf_counter() - began) * 1000)
    with Client(url, token) as ledger:
        at = ledger.get("/clock")["now"]
    clients = [
        [
            request(url, "/events", token, _SINGLE, orjson.dumps(note(poster, place, at)))
            for place in range(round_ * posts, (round_ + 1) * posts)
        ]
        for poster in range(POSTERS)
    ]
    posted = post_all(url, clients)
    return Measured(median(waits), max(waits), median(posted.waits_s) * 1000)


def _ask_live(url: str) -> None:
    where = urlsplit(url)
    with socket.create_connection((where.hostname, where.port), timeout=60) as client:
        client.sendall(b"GET /live HTTP/1.1\r\nHost: a\r\nConnection: close\r\n\r\n")
        answer = b"".join(iter(lambda: client.recv(4096), b""))
        assert answer.startswith(b"HTTP/1.1 200 "), answer


@contextmanager
def installed() -> Iterator[tuple[str, str]]:
    """A running service with a studio: its URL, and a supervisor's token."""
    with data_folder() as data:
        command(data, "studio", "make", "paper")
        office, supervisor = issued(data, "office"), issued(data, "supervisor")
        with served(data) as url:
            with Client(url, office) as ledger:
                at = ledger.get("/clock")["now"]
                ledger.post(office_facts(scenes=1, at=at))
            yield url, supervisor


def attack(part: float = 1.0) -> Iterator[tuple[str, str]]:
    """What others feel of a part of so many connections, and when each kind is dropped.

    Fails where a goal is missed.
    """
    each = max(1, round(EACH * part))
    with installed() as (url, token):
        measured(url, token, 0)  # warm
        quiet = measured(url, token, 1)
        yield "quiet", _shown(quiet)
        with held(url, each) as connections:
            under = [measured(url, token, round_) for round_ in (2, 3)]
            yield f"with {each} of each kind", _shown(under[0])
            yield "the same, later", _shown(under[1])
            until = time.monotonic() + HELD_S_MAX
            while time.monotonic() < until and any(
                one.held_s is None for one in connections.connections
            ):
                time.sleep(0.5)
            for kind in KINDS:
                yield kind, _dropped(connections.connections, kind)
            missed = goals_missed(quiet, under, connections.connections)
        yield "afterwards", _shown(measured(url, token, 4))
    if missed:
        raise SystemExit("; ".join(missed))


def goals_missed(
    quiet: Measured, under: Sequence[Measured], connections: Sequence[Slow]
) -> list[str]:
    """Which of the goals were missed: waits of others, and that each connection is dropped."""
    missed = []
    if max(waits.live_ms for waits in under) >= LIVE_MS_MAX:
        missed.append(f"/live takes {LIVE_MS_MAX:.0f} ms or more")
    if max(waits.post_ms for waits in under) >= POSTS_SLOWED_MAX * quiet.post_ms:
        missed.append(f"posts take {POSTS_SLOWED_MAX:g} times as long as in a quiet time, or more")
    still_held = Counter(one.kind for one in connections if one.held_s is None)
    missed += [f"{number} not dropped: {kind}" for kind, number in still_held.items()]
    return missed


def _shown(waits: Measured) -> str:
    return (
        f"/live {waits.live_ms:.1f} ms, longest {waits.live_ms_max:.0f} ms; "
        f"posts {waits.post_ms:.1f} ms"
    )


def _dropped(connections: list[Slow], kind: str) -> str:
    of_kind = [one for one in connections if one.kind == kind]
    after = sorted(one.held_s for one in of_kind if one.held_s is not None)
    if not after:
        return f"none of {len(of_kind)} dropped in {HELD_S_MAX} s"
    return f"{len(after)} of {len(of_kind)} dropped, after {after[0]:.1f} to {after[-1]:.1f} s"
