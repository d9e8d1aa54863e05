"""Crowding others out: 200 connections with the dearest posts there are, of one token or of forty.

Each asks the service to strike a note at the beginning of a long record, together with a note whose
code is taken: everything is folded again before the batch can be refused, so that it may be sent
again and again. Beside them somebody of another studio asks for its episodes and posts notes.
"""

import http.client
import multiprocessing
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from http import HTTPStatus
from itertools import count
from multiprocessing.synchronize import Event
from pathlib import Path
from statistics import median
from typing import Any

import orjson

from service.client import BATCH, Client, event
from tests.attacks.soak import Load
from tests.crash.clients import at_work
from tests.crash.poster import note
from tests.serving import command, data_folder, issued, served
from tests.telling import office_facts

RECORDED, BATCH_MOST = 20_000, 1000
"""How many notes the record has that is folded again, and how many are posted at a time."""
CONNECTIONS, TOKENS = 200, 40
MEASURED_S, REQUEST_EVERY_S = 30.0, 0.05
MEDIAN_MS_MAX, LONGEST_MS_MAX = 100.0, 2000.0
"""The goals: how long others wait."""
_ENDED_S_MAX = 120


class Striker(Load):
    """Posts a batch that is refused only after the whole record was folded again."""

    def __init__(self, url: str, token: str, number: int, position: int, at: str) -> None:
        super().__init__(url, token, 0.0, 0.0)
        self._headers["Content-Type"] = BATCH
        self._number, self._position, self._at, self._places = number, position, at, count()

    def _send(self, connection: http.client.HTTPConnection) -> None:
        id_ = f"{self._number}-{next(self._places)}"
        data = {"position": self._position, "why": "a slip of the pen"}
        batch = [
            event("/tests/crowd", "event.struck", "studio", data, time=self._at, id=id_),
            note(0, 1, self._at) | {"id": f"taken-{id_}"},
        ]
        connection.request("POST", "/events", orjson.dumps(batch), self._headers)


class Reader(Load):
    """Asks for the episodes of its studio."""

    def _send(self, connection: http.client.HTTPConnection) -> None:
        connection.request("GET", "/episodes", headers=self._headers)


class Poster(Load):
    """Posts one note after the other."""

    def __init__(self, url: str, token: str, number: int, at: str) -> None:
        super().__init__(url, token, REQUEST_EVERY_S, REQUEST_EVERY_S / 2)
        self._number, self._at, self._places = number, at, count()

    def _send(self, connection: http.client.HTTPConnection) -> None:
        body = orjson.dumps(note(self._number, next(self._places), self._at))
        connection.request("POST", "/events", body, self._headers)


@dataclass(frozen=True)
class Waits:
    """How long somebody of another studio waited, in milliseconds."""

    read_ms: float
    read_ms_max: float
    post_ms: float
    post_ms_max: float

    def __str__(self) -> str:
        return (
            f"reads {self.read_ms:.1f} ms, longest {self.read_ms_max:.0f} ms; "
            f"posts {self.post_ms:.1f} ms, longest {self.post_ms_max:.0f} ms"
        )


@dataclass(frozen=True)
class Installed:
    """A running service: the tokens of the crowd's studio, and that of another."""

    url: str
    crowd: Sequence[str]
    other: str
    position: int
    """Where the note stands that the crowd strikes."""
    at: str


@contextmanager
def installed(recorded: int, tokens: int) -> Iterator[Installed]:
    """A service with a studio that has a long record, and with another."""
    with data_folder() as data:
        offices = {name: _made(data, name) for name in ("paper", "other")}
        crowd = [issued(data, "supervisor", name=f"crowd {number}") for number in range(tokens)]
        other = issued(data, "supervisor", "other")
        with served(data) as url:
            for office in offices.values():
                with Client(url, office) as ledger:
                    at = ledger.get("/clock")["now"]
                    ledger.post(office_facts(scenes=1, at=at))
            with Client(url, crowd[0]) as ledger:
                position = ledger.post([note(0, 0, at)])[0]["position"]
                notes = [note(0, place, at) for place in range(1, recorded)]
                for first in range(0, len(notes), BATCH_MOST):
                    ledger.post(notes[first : first + BATCH_MOST])
            yield Installed(url, crowd, other, position, at)


@contextmanager
def crowding(service: Installed, tokens: Sequence[str], connections: int) -> Iterator[Counter[int]]:
    """So many connections strike until the end of the block; gives how they were answered then.

    They are in a process of their own, so that who waits beside them waits for the service alone.
    """
    spawn = multiprocessing.get_context("spawn")
    stop, answered = spawn.Event(), spawn.Queue()
    process = spawn.Process(target=_strike, args=(service, tokens, connections, stop, answered))
    process.start()
    statuses = Counter[int]()
    try:
        assert answered.get(timeout=_ENDED_S_MAX) is None  # it has begun
        yield statuses
    finally:
        stop.set()
        try:
            statuses.update(answered.get(timeout=_ENDED_S_MAX))
        finally:
            process.terminate()
            process.join()


def _strike(
    service: Installed, tokens: Sequence[str], connections: int, stop: Event, answered: Any
) -> None:
    strikers = [
        Striker(service.url, tokens[place % len(tokens)], place, service.position, service.at)
        for place in range(connections)
    ]
    with at_work(strikers, _ENDED_S_MAX):
        answered.put(None)
        stop.wait()
    answered.put(sum((striker.statuses for striker in strikers), Counter[int]()))


def _made(data: Path, studio: str) -> str:
    command(data, "studio", "make", studio)
    return issued(data, "office", studio)


def waits_of_others(service: Installed, number: int, measured_s: float) -> Waits:
    """How long the other studio waits now. Fails where it is refused anything."""
    with Client(service.url, service.other) as ledger:
        at = ledger.get("/clock")["now"]
    reader = Reader(service.url, service.other, REQUEST_EVERY_S, 0.0)
    poster = Poster(service.url, service.other, number, at)
    with at_work([reader, poster], _ENDED_S_MAX):
        time.sleep(measured_s)
    assert set(reader.statuses) == {HTTPStatus.OK}, reader.statuses
    assert set(poster.statuses) == {HTTPStatus.CREATED}, poster.statuses
    reads, posts = ([1000 * wait_s for wait_s in load.waits_s] for load in (reader, poster))
    return Waits(median(reads), max(reads), median(posts), max(posts))


def attack(part: float = 1.0) -> Iterator[tuple[str, str]]:
    """What others feel of a part of so many connections; fails where a goal is missed."""
    connections = max(2, round(CONNECTIONS * part))
    tokens = max(2, round(TOKENS * part))
    measured_s = max(1.0, MEASURED_S * part)
    missed = []
    with installed(max(10, round(RECORDED * part)), tokens) as service:
        waits_of_others(service, 1, measured_s)  # warm
        yield "another studio, quiet", str(waits_of_others(service, 2, measured_s))
        for number, crowd in enumerate((service.crowd[:1], service.crowd), 3):
            with crowding(service, crowd, connections) as answered:
                waits = waits_of_others(service, number, measured_s)
            what = f"beside {connections} connections of {len(crowd)} tokens"
            yield what, str(waits)
            yield "they were answered", _shown(answered)
            missed += [f"{what}: {goal}" for goal in goals_missed(waits)]
    if missed:
        raise SystemExit("; ".join(missed))


def goals_missed(waits: Waits) -> list[str]:
    """Which of the goals were missed."""
    missed = []
    if max(waits.read_ms, waits.post_ms) > MEDIAN_MS_MAX:
        missed.append(f"others wait more than {MEDIAN_MS_MAX:.0f} ms in the median")
    if max(waits.read_ms_max, waits.post_ms_max) > LONGEST_MS_MAX:
        missed.append(f"others wait more than {LONGEST_MS_MAX:.0f} ms at the longest")
    return missed


def _shown(statuses: Counter[int]) -> str:
    return ", ".join(f"{status}: {number:,}" for status, number in sorted(statuses.items()))
