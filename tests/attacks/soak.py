"""An hour of steady use: 200 posts a second and 50 readers, a dozen episodes in work.

What is posted changes what the studio knows and adds nothing to it (priorities set anew, scenes
held and freed), for what a worker holds grows with that: memory that grows here was not
given back. Posts are sent at fixed instants, whether those before were answered or not, and each
wait is counted from the instant at which its post was due. The clock of the studio goes a minute
with every minute, so that its plans and its trail are made anew.
"""

import http.client
import threading
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from http import HTTPStatus
from itertools import count
from random import Random
from statistics import mean, quantiles
from typing import Any
from urllib.parse import quote, urlsplit

import orjson

from service.client import Client, RefusedError
from service.log.embedded import ensure_running
from service.log.engine import service_engine
from service.log.migrate import migrate
from service.settings import Settings
from service.vocabulary.instants import US_PER_MIN, format_instant, format_min, parse_instant
from tests.attacks import memory
from tests.benchmarks import year
from tests.crash.clients import Stoppable, at_work
from tests.serving import Service, data_folder
from tests.waiting import wait_until

SOAK_S = 3600.0
QUIET_S = 60.0
WEEKS, EPISODES, SCENES = 6, range(101, 107), 200
RECORDED_UNTIL = format_min(year.OPENED_MIN + (WEEKS + 1) * year.WEEK_MIN)
HELD_SHARE = 0.5
"""Of what is posted; the rest sets priorities."""
POSTERS, POSTS_PER_S, QUIET_PER_S = 8, 200.0, 5.0
READERS, READ_EVERY_S = 50, 2.0
SAMPLED_EVERY_S = 10.0
WARM = 1 / 6
"""The part of the time after which memory is watched."""
WAIT_MS_MAX, KEPT_UP, GROWN_MAX = 250.0, 0.99, 0.05
"""The goals: waits, the part of the posts that is kept up with, growth of a worker's memory."""
TIMEOUT_S = 120
_SINGLE = "application/cloudevents+json"
SEED = "2031-03-31"


class Load(Stoppable):
    """A client on a connection of its own that sends one request after the other.

    `waits_s` has the wait of each from the instant at which it was due, `statuses` how many were
    answered with which status, 0 where a connection broke.
    """

    def __init__(self, url: str, token: str, every_s: float, first_s: float) -> None:
        super().__init__(daemon=True)
        self.waits_s: list[float] = []
        self.statuses: Counter[int] = Counter()
        self._where = urlsplit(url)
        self._headers = {
            "Authorization": f"Bearer {token}",
            "Content-Type": "application/cloudevents+json",
        }
        self._every_s, self._first_s = every_s, first_s
        self._stopped = threading.Event()

    def stop(self) -> None:
        """End it after the request that is under way."""
        self._stopped.set()

    def run(self) -> None:
        connection = self._connection()
        due_s = time.monotonic() + self._first_s
        while not self._stopped.wait(max(0.0, due_s - time.monotonic())):
            try:
                self._send(connection)
                answer = connection.getresponse()
                answer.read()
                self.statuses[answer.status] += 1
            except (OSError, http.client.HTTPException):
                self.statuses[0] += 1
                connection.close()
                connection = self._connection()
            self.waits_s.append(time.monotonic() - due_s)
            due_s += self._every_s
        connection.close()

    def _connection(self) -> http.client.HTTPConnection:
        port = self._where.port
        return http.client.HTTPConnection(self._where.hostname or "", port, timeout=TIMEOUT_S)

    def _send(self, connection: http.client.HTTPConnection) -> None:
        raise NotImplementedError


class Poster(Load):
    """Sets priorities, holds and frees scenes that no other poster does, one event a post."""

    def __init__(
        self, url: str, token: str, number: int, every_s: float, now: Sequence[str]
    ) -> None:
        super().__init__(url, token, every_s, number * every_s / POSTERS)
        self._draw = Random(f"{SEED} {number}")
        self._number, self._now = number, now
        self._places, self._held = count(), set[str]()

    def _send(self, connection: http.client.HTTPConnection) -> None:
        connection.request("POST", "/events", orjson.dumps(self._event()), self._headers)

    def _event(self) -> dict[str, Any]:
        clients = POSTERS + 1  # and the one of the quiet time
        number = self._draw.randrange(SCENES // clients) * clients + self._number + 1
        scene = f"{self._draw.choice(year.SHOWS)}-{self._draw.choice(EPISODES)}/{number}"
        type_ = "priority.set"
        data: dict[str, Any] = {"priority": self._draw.randint(-3, 3)}
        if self._draw.random() < HELD_SHARE:
            if scene in self._held:
                self._held.remove(scene)
                type_, data = "scene.freed", {}
            else:
                self._held.add(scene)
                type_, data = "scene.held", {"owes": "client", "by_on": "2031-12-31"}
        return {
            "specversion": "1.0",
            "id": f"{self._number}-{next(self._places)}",
            "source": f"/supervisor/{self._number}",
            "type": type_,
            "subject": scene,
            "time": self._now[-1],
            "data": data,
        }


class Reader(Load):
    """Reads what a supervisor looks at, one address after the other."""

    def __init__(self, url: str, token: str, number: int, now: str) -> None:
        super().__init__(url, token, READ_EVERY_S, number * READ_EVERY_S / READERS)
        self._draw = Random(f"{SEED} reader {number}")
        self._paths = (
            *("/episodes", "/departments", "/departments/clean-up/tray", "/notes?limit=100"),
            *("/episodes/HERONRY-103", "/episodes/HERONRY-103/scenes?limit=100", "/retakes"),
            *("/episodes/HERONRY-103/scenes/7", "/clock", "/trail/totals"),
            *(f"/events?from={quote(now)}&limit=100", "/shows/HERONRY/elements?limit=100"),
        )

    def _send(self, connection: http.client.HTTPConnection) -> None:
        connection.request("GET", self._draw.choice(self._paths), headers=self._headers)


def attack(part: float = 1.0) -> Iterator[tuple[str, str]]:
    """Waits in a quiet time and under the load, and memory, in a part of an hour."""
    with _serving() as (service, secrets):
        token = secrets["supervisor"]
        now = [_begun(service.url, token)]
        quiet = Poster(service.url, token, POSTERS, 1 / QUIET_PER_S, now)
        with at_work([quiet], TIMEOUT_S):
            time.sleep(QUIET_S * min(1.0, part * 10))
        yield "quiet posts", _waits([quiet])
        posters = [
            Poster(service.url, token, number, POSTERS / POSTS_PER_S, now)
            for number in range(POSTERS)
        ]
        readers = [Reader(service.url, token, number, now[0]) for number in range(READERS)]
        began_s = time.monotonic()
        with at_work([*posters, *readers], TIMEOUT_S):
            memory_mib = _watched(service, secrets["office"], now, SOAK_S * part)
        took_s = time.monotonic() - began_s
        missed = _missed(posters, took_s, memory_mib)
        yield "posts", f"{_waits(posters)}; {_rate(posters, took_s)}"
        yield "reads", f"{_waits(readers)}; {_rate(readers, took_s)}"
        for number, samples in enumerate(zip(*memory_mib, strict=True), 1):
            yield f"memory of worker {number}", _memory(samples)
    if missed:
        raise SystemExit("; ".join(missed))


@contextmanager
def _serving() -> Iterator[tuple[Service, dict[str, str]]]:
    with data_folder() as data:
        url = ensure_running(data)
        migrate(url)
        engine = service_engine(url, Settings.from_environment({"HOME": "/"}))
        recorded = [body for body in year.bodies(WEEKS) if body["recordedat"] <= RECORDED_UNTIL]
        secrets = memory.filled(engine, recorded, None)
        engine.dispose()
        service = Service(data, workers=2)
        service.start()
        try:
            service.wait_until_ready()
            yield service, secrets
        finally:
            service.end()


def _begun(url: str, token: str) -> str:
    """Have the studio read, planned and its trail built; gives its instant."""
    with Client(url, token) as ledger:
        for _ in range(20):  # both workers
            shown = ledger.get("/episodes")
        wait_until(lambda: _is_built(ledger), "the trail was not built", memory.BUILT_S, every_s=1)
    return str(shown["now"])


def _is_built(ledger: Client) -> bool:
    try:
        ledger.get("/trail/totals")
    except RefusedError as error:
        if error.status != HTTPStatus.SERVICE_UNAVAILABLE:
            raise
        return False
    return True


def _watched(service: Service, office: str, now: list[str], soak_s: float) -> list[list[float]]:
    """Move the clock on for so long; what each worker has in memory meanwhile, in MiB."""
    samples, ends_s = [], time.monotonic() + soak_s
    began_s, moved_min = time.monotonic(), 0
    with Client(service.url, office) as ledger:
        began_us = parse_instant(now[-1])
        while time.monotonic() < ends_s:
            time.sleep(min(SAMPLED_EVERY_S, max(0.0, ends_s - time.monotonic())))
            samples.append([memory.resident_mib(pid) for pid in sorted(service.child_pids())])
            if (passed_min := int((time.monotonic() - began_s) // 60)) > moved_min:
                moved_min = passed_min
                at = format_instant(began_us + moved_min * US_PER_MIN)
                ledger.put("/clock", {"now": at})
                now.append(at)
    return samples


def _missed(posters: Sequence[Load], took_s: float, memory_mib: list[list[float]]) -> list[str]:
    """Which of the goals were missed."""
    missed = []
    waits_ms = [1000 * wait_s for poster in posters for wait_s in poster.waits_s]
    if quantiles(waits_ms, n=100)[98] > WAIT_MS_MAX:
        missed.append(f"the 99th percentile of posts is above {WAIT_MS_MAX:.0f} ms")
    if sum(poster.statuses[HTTPStatus.CREATED] for poster in posters) < KEPT_UP * (
        POSTS_PER_S * took_s
    ):
        missed.append(f"fewer than {POSTS_PER_S:.0f} posts a second were recorded")
    if any(_grown(samples) > GROWN_MAX for samples in zip(*memory_mib, strict=True)):
        missed.append(f"a worker's memory grew by more than {GROWN_MAX:.0%}")
    return missed


def _waits(clients: Sequence[Load]) -> str:
    waits_ms = sorted(1000 * wait_s for client in clients for wait_s in client.waits_s)
    parts = quantiles(waits_ms, n=1000)
    return (
        f"median {parts[499]:.1f} ms, 95th percentile {parts[949]:.0f} ms, "
        f"99th {parts[989]:.0f} ms, longest {waits_ms[-1]:.0f} ms"
    )


def _rate(clients: Sequence[Load], took_s: float) -> str:
    statuses = sum((client.statuses for client in clients), Counter[int]())
    answers = ", ".join(f"{number:,} with {status}" for status, number in sorted(statuses.items()))
    return f"{statuses.total() / took_s:.1f} a second: {answers}"


def _memory(samples_mib: Sequence[float]) -> str:
    first_mib, last_mib = _ends(samples_mib)
    return (
        f"{samples_mib[0]:.0f} MiB at first; its first third once warm {first_mib:.0f}, its last "
        f"{last_mib:.0f} ({_grown(samples_mib):+.1%}); most {max(samples_mib):.0f}"
    )


def _grown(samples_mib: Sequence[float]) -> float:
    first_mib, last_mib = _ends(samples_mib)
    return last_mib / first_mib - 1


def _ends(samples_mib: Sequence[float]) -> tuple[float, float]:
    """The mean of the first and of the last third of the time in which it is warm."""
    watched = samples_mib[int(len(samples_mib) * WARM) :]
    third = max(1, len(watched) // 3)
    return mean(watched[:third]), mean(watched[-third:])
