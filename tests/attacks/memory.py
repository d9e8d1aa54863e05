"""Exhausting a worker's memory with one token: the dearest requests, and what each of them raises.

The studio is that of the benchmarks (`tests/benchmarks/year`), with what a hostile or careless desk
may have recorded: notes of as much text as an event takes, and some of an earlier release that took
7.5 MB. One worker serves it, and the kernel says how far each request raised what it has in memory.
"""

import os
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from http import HTTPStatus
from itertools import islice
from pathlib import Path
from typing import Any

import httpx
import orjson
from sqlalchemy import Engine

from service.client import BATCH
from service.log import studios, tokens
from service.log.append import lock_head
from service.log.chain import Chain
from service.log.embedded import ensure_running
from service.log.engine import service_engine
from service.log.migrate import migrate
from service.record.proposing import propose
from service.record.sealing import recorded_by, seal
from service.settings import Settings
from service.vocabulary.event import read_event
from service.vocabulary.instants import US_PER_MIN, parse_instant
from service.web.paging import Place, make_cursor
from tests.benchmarks import year
from tests.serving import data_folder, served

RAISED_MAX_MIB = 64
WEEKS, LONG_NOTES = 7, 1500
BUILT_S = 600
STUDIO = "heronry"
EPISODE, SCENE, SHOW = "HERONRY-101", "HERONRY-101/7", "HERONRY"
KIB = 1024
HUGE = 11
"""How many notes have text as an earlier release took it; they are the last of the log."""
HOLDERS: Mapping[str, tuple[str, tuple[str, ...]]] = {
    "office": ("office", ()),
    "supervisor": ("supervisor", ()),
    "auditor": ("auditor", ()),
    "desk": ("desk", ("layout", "clean-up")),
}


@dataclass(frozen=True)
class Request:
    """A request that may be dear: whose token, where, and what is posted if anything is.

    `wanted` is the status of its answer: what is refused for another reason than what it is about
    measures nothing.
    """

    who: str
    path: str
    body: bytes | None = None
    accept: str = "*/*"
    wanted: int = HTTPStatus.OK

    def __str__(self) -> str:
        what = f"GET {self.path}" if self.body is None else f"POST {self.path}, {len(self.body)} B"
        return f"{self.who}: {what}{'' if self.accept == '*/*' else ', ' + self.accept}"


@dataclass(frozen=True)
class Cost:
    """What a request came to: its status, how far it raised the worker at its height, its wait."""

    request: Request
    status: int
    raised_mib: float
    took_s: float
    answered_bytes: int


@contextmanager
def _serving(weeks: int, long_notes: int) -> Iterator[tuple[str, dict[str, str], int]]:
    """A service of one worker on the studio: its address, secrets by holder, the worker's pid."""
    bodies = list(year.bodies(weeks))
    with data_folder() as data:
        url = ensure_running(data, durable=False)
        migrate(url)
        engine = service_engine(url, Settings.from_environment({"HOME": "/"}))
        secrets = filled(engine, bodies, long_notes)
        engine.dispose()
        with served(data, workers=1) as address:
            yield address, secrets, _worker_of(address)


def filled(
    engine: Engine, bodies: Sequence[dict[str, Any]], long_notes: int | None
) -> dict[str, str]:
    """Record a studio with long notes behind its log; gives the secrets by holder.

    Without a number of long notes it has no hostile desk, and the huge ones are left out too.
    """
    at = bodies[-1]["recordedat"]
    with engine.begin() as connection:
        began_us = parse_instant(bodies[0]["recordedat"])
        studios.make_studio(connection, STUDIO, "simulated", parse_instant(at), begun_us=began_us)
        secrets = {
            holder: tokens.issue(
                connection, STUDIO, holder, role, departments, f"/{holder}", datetime.now(UTC)
            )[1]
            for holder, (role, departments) in HOLDERS.items()
        }
    _append(engine, ((body, {}) for body in bodies))
    if long_notes is not None:
        _append(engine, _hostile(at, len(bodies), long_notes))
    return secrets


def _hostile(at: str, after: int, long_notes: int) -> Iterator[tuple[dict[str, Any], Any]]:
    """Notes with as much text as is taken, and behind them some that an earlier release took."""
    texts: list[dict[str, Any]] = []
    wide = "\U0001f98a" * 4000
    for number in range(long_notes):
        other: Any = [[]] * (12 * KIB) if number % 2 else wide * 3
        texts.append({"/data/text": wide, "/data/other": other})
    huge = "x" * (7_500_000)
    texts += [{"/data/text": "short", "/data/other": huge}] * (HUGE - 1)
    texts += [{"/data/text": "short", "/data/other": [[]] * 2_500_000}]
    for number, personal in enumerate(texts, 1):
        body = {
            "specversion": "1.0",
            "id": f"hostile-{number}",
            "source": "/desk",
            "type": "note.given",
            "subject": SCENE,
            "time": at,
            "data": {"note": f"H-{number}", "to": "layout"},
            "position": after + number,
            "recordedat": at,
            "poster": "desk",
        }
        yield body, personal


def _append(engine: Engine, events: Iterator[tuple[dict[str, Any], Any]]) -> None:
    while part := list(islice(events, 2000)):
        with engine.begin() as connection:
            chain = Chain(lock_head(connection, STUDIO))
            for body, personal in part:
                event = read_event(orjson.dumps(body))
                public = {n: v for n, v in body.items() if n not in _SET_BY_THE_LOG}
                proposed = propose(public, personal, event.fact)
                by = recorded_by(event.poster, "supervisor", event.recorded_us)
                seal(chain, event, proposed, by)
            chain.write(connection, STUDIO)


_SET_BY_THE_LOG = frozenset({"position", "recordedat", "poster"})


def dear_requests(at: str, last: int, big: int = 4 * KIB * KIB) -> list[Request]:
    """The requests that are tried, each a way in which one might be dear.

    `at` is the studio's clock, `last` the last position, `big` how many bytes are posted.
    """
    gets = (
        *("/events?limit=1000", "/events?type=note.given&limit=1000", "/notes?limit=1000"),
        *(f"/episodes/{EPISODE}/scenes/7", f"/episodes/{EPISODE}/scenes?limit=1000"),
        *(f"/episodes/{EPISODE}/replay", f"/episodes/{EPISODE}/replay/events?limit=1000"),
        *(f"/episodes/{EPISODE}/replay?position={last * 2 // 3}", "/retakes?limit=1000"),
        *(f"/shows/{SHOW}/elements?limit=1000", "/departments/clean-up/tray?limit=1000"),
        *("/departments", "/episodes", "/checkpoints?limit=1000", "/openapi.json"),
        *("/trail/totals", f"/episodes/{EPISODE}/trail?limit=1000"),
    )
    found = [Request(who, path) for who in ("desk", "supervisor") for path in gets]
    diary = f"/episodes/{EPISODE}/diary"
    query = {"studio": STUDIO, "path": diary}
    cursor = make_cursor(Place(last, parse_instant(at) // US_PER_MIN, last - HUGE - 50), query)
    found += [
        Request("auditor", f"{diary}?limit=100&cursor={cursor}", accept=accept)
        for accept in ("application/json", "text/csv", "text/plain")
    ]
    found += [Request("supervisor", "/reports/retakes?limit=1000")]
    found += [Request("auditor", f"/events/{last - 1}{what}") for what in ("", "/personal")]
    found += [Request("auditor", f"/events/{last}{what}") for what in ("", "/personal")]
    for body, wanted, _ in _hostile_posts(at, big, "/desk"):
        found.append(Request("desk", "/events", body, wanted=wanted))
    for body, _, wanted in _hostile_posts(at, big, "/supervisor"):
        found.append(Request("supervisor", "/what-if", body, wanted=wanted))
    return found


def _hostile_posts(at: str, big: int, source: str) -> Iterator[tuple[bytes, int, int]]:
    """Bodies of as many bytes as are taken, each of another kind.

    With each: what is answered where a desk posts it, and where a supervisor supposes it.
    """

    def event(number: int, **data: Any) -> dict[str, Any]:
        note = f"{source[1:5].upper()}-{number}"  # a code stands once in a studio
        data = {"note": note, "to": "layout", "department": "layout", **data}
        return {
            "specversion": "1.0", "id": f"p-{number}", "source": source, "type": "note.given",
            "subject": SCENE, "time": at, "data": data,
        }  # fmt: skip

    def filled(part: bytes, count: int) -> bytes:
        whole = orjson.dumps([event(1, other="HERE")])
        return whole.replace(b'"HERE"', b"[" + b",".join([part] * count) + b"]")

    def beneath_a_long_name(part: bytes, count: int, first: bytes = b"1") -> bytes:
        name = b"x" * (room // 2)
        return filled(b'{"%b":[%b]}' % (name, b",".join([first] + [part] * count)), 1)

    room = big - 1000
    for body, status in (
        (filled(b"[]", room // 3), 413),
        (filled(b"[]", 49_000), 422),
        (filled(b'{"a":1}', 49_000), 422),
        (filled(b'{"a": 1}', 49_000), 422),
        (filled(b'{"a":1,"a":2}', 33_000), 400),
        (filled(b"null", 99_000), 422),
        (filled(b"0.125", 99_000), 422),
        (filled(b'"%b"' % (b"x" * 30), 99_000), 422),
        (filled(b'"%b"' % (b"x" * (room - 200) + "\U0001f98a".encode()), 1), 422),
        (filled(b'"%b"' % (b"\\u00e9" * (room // 6 - 100)), 1), 422),
        # each of these values has a pointer of that length
        (beneath_a_long_name(b"null", 9_000), 422),
        (beneath_a_long_name(b"0", 90_000, b'"\\u0041"'), 422),
        (beneath_a_long_name(b"1e999", 9_000), 400),
    ):
        yield body, status, status
    yield orjson.dumps([event(number, text="\U0001f98a" * 900) for number in range(1000)]), 201, 200
    unlike = [
        {**event(number), "id": f"u-{number}", "type": "hand-off.made"} for number in range(1000)
    ]
    yield orjson.dumps(unlike), 422, 422
    yield orjson.dumps([{"type": 1, "x": None} for _ in range(1000)]), 422, 422
    # ids that are recorded already, those with the longest texts among them
    repeated = [
        {**event(number, text="Up."), "id": f"hostile-{number}"} for number in range(1, 1000)
    ]
    yield orjson.dumps(repeated), 409, 200
    call = {
        "retake": "R",
        "kind": "retake",
        "urgency": "must-fix",
        "items": [f"{EPISODE}/{number}" for number in range(900, 1890)],
        "back_to": "layout",
        "strands": ["character"],
        "share": 1,
        "asked_by": "client",
    }
    calls = [
        {
            **event(number),
            "id": f"c-{number}",
            "type": "retake.called",
            "subject": EPISODE,
            "data": call,
        }
        for number in range(95)
    ]
    yield orjson.dumps(calls), 403, 422


def measure(weeks: int, long_notes: int) -> Iterator[Cost]:
    """What each of the dear requests raises a warm worker by."""
    with (
        _serving(weeks, long_notes) as (address, secrets, pid),
        httpx.Client(base_url=address, timeout=300) as client,
    ):

        def send(request: Request) -> httpx.Response:
            headers = {"Authorization": f"Bearer {secrets[request.who]}", "Accept": request.accept}
            if request.body is None:
                return client.get(request.path, headers=headers)
            return client.post(
                request.path, content=request.body, headers={**headers, "Content-Type": BATCH}
            )

        at, last = _warmed(send)
        for request in dear_requests(at, last):
            yield _cost(request, send, pid)


def _warmed(send: Callable[[Request], httpx.Response]) -> tuple[str, int]:
    """Have the worker fold, plan and build; gives the studio's clock and the last position."""
    for path in ("/departments", f"/episodes/{EPISODE}", f"/episodes/{EPISODE}/scenes?limit=5"):
        assert send(Request("supervisor", path)).status_code == 200
    until = time.monotonic() + BUILT_S
    while send(Request("supervisor", "/trail/totals")).status_code == 503:  # it is being built
        assert time.monotonic() < until, "the trail was not built"
        time.sleep(1)
    shown = send(Request("supervisor", "/episodes")).json()
    return shown["now"], shown["position"]


def _cost(request: Request, send: Callable[[Request], httpx.Response], pid: int) -> Cost:
    _reset_height(pid)
    before = _status_kib(pid, "VmRSS")
    began = time.perf_counter()
    answer = send(request)
    took_s = time.perf_counter() - began
    raised = (_status_kib(pid, "VmHWM") - before) / KIB
    return Cost(request, answer.status_code, raised, took_s, len(answer.content))


def _reset_height(pid: int) -> None:
    """Let the kernel count the most that a process has had in memory from here on (proc(5))."""
    Path(f"/proc/{pid}/clear_refs").write_text("5")


def _status_kib(pid: int, name: str) -> int:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith(f"{name}:"):
            return int(line.split()[1])
    raise LookupError(name)


def resident_mib(pid: int) -> float:
    """What a process has in memory, MiB."""
    return _status_kib(pid, "VmRSS") / KIB


def _worker_of(address: str) -> int:
    """The one worker of the service at an address: the process whose parent serves it too."""
    port = address.rpartition(":")[2]
    serving = {}
    for folder in Path("/proc").iterdir():
        if not folder.name.isdigit():
            continue
        try:
            words = (folder / "cmdline").read_bytes().split(b"\0")
            if b"serve" in words and port.encode() in words:
                serving[int(folder.name)] = _status_kib(int(folder.name), "PPid")
        except OSError:
            continue  # it ended meanwhile
    own = os.getpriority(os.PRIO_PROCESS, 0)
    (pid,) = [
        pid
        for pid, parent in serving.items()
        # the one that builds trails lets others go first
        if parent in serving and os.getpriority(os.PRIO_PROCESS, pid) == own
    ]
    return pid


def attack(part: float = 1.0) -> Iterator[tuple[str, str]]:
    """Each request's figures, and the dearest last, on a part of the studio.

    Fails where one is dearer than the bound, or is not answered as it should be.
    """
    costs = []
    for cost in measure(max(1, round(WEEKS * part)), max(10, round(LONG_NOTES * part))):
        costs.append(cost)
        yield (
            str(cost.request),
            f"{cost.raised_mib:7.1f} MiB  {cost.took_s:6.2f} s  {cost.status}  "
            f"{cost.answered_bytes:9,} bytes",
        )
    dearest_mib = max(cost.raised_mib for cost in costs)
    yield "the dearest", f"{dearest_mib:.1f} MiB; the bound is {RAISED_MAX_MIB}"
    if missed := not_held(costs):
        raise SystemExit("; ".join(missed))


def not_held(costs: Sequence[Cost]) -> list[str]:
    """Which requests raised the worker by more than the bound, or were not answered as wanted."""
    missed = []
    for cost in costs:
        if cost.raised_mib > RAISED_MAX_MIB:
            missed.append(f"{cost.request} raised the worker by {cost.raised_mib:.1f} MiB")
        if cost.status != cost.request.wanted:
            missed.append(f"{cost.request} was answered {cost.status}, not {cost.request.wanted}")
    return missed
