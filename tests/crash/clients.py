"""Clients that post and read without end while faults happen, and keep what they were told."""

import threading
import time
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from random import Random
from typing import Any

import httpx

from service.client import Client, RefusedError
from tests.crash.poster import note, post_until_answered, until_answered

BATCH_MAX = 5
PAUSE_S_MAX = 0.2
READ_PAUSE_S = 0.1
WAIT_S = 40.0
"""Longer than the database lets a statement run, so that the service gives up first."""
GIVEN_UP_S = 180.0


class Stoppable(threading.Thread):
    """A thread that can be told to end."""

    def stop(self) -> None:
        """End it once what it does is answered."""
        raise NotImplementedError


@contextmanager
def at_work(clients: Sequence[Stoppable], ended_s_max: float) -> Iterator[None]:
    """Have clients at work until the end of the block. Fails where one does not end then."""
    for client in clients:
        client.start()
    try:
        yield
    finally:
        for client in clients:
            client.stop()
    for client in clients:
        client.join(ended_s_max)
        assert not client.is_alive(), "a client waits without end"


class LoopingClient(Stoppable):
    """A client that does one thing again and again until told to stop.

    `lost` counts requests without an answer, `refused` those that were answered with a problem,
    by status. `error` is what ended it, where something did.
    """

    def __init__(self, url: str, token: str) -> None:
        super().__init__(daemon=True)
        self.url, self.token = url, token
        self.lost = 0
        self.refused: Counter[int] = Counter()
        self.error: BaseException | None = None
        self._stopped = threading.Event()
        self._pause_s: Callable[[], float] = lambda: READ_PAUSE_S

    def stop(self) -> None:
        """End it once what it does is answered."""
        self._stopped.set()

    def run(self) -> None:
        try:
            with httpx.Client(timeout=WAIT_S) as http:
                while not self._stopped.is_set():
                    self.turn(http)
                    self._stopped.wait(self._pause_s())
        except Exception as error:  # whatever it is, the main thread asks for it
            self.error = error

    def turn(self, http: httpx.Client) -> None:
        """Do it once."""
        raise NotImplementedError

    def failed(self, error: Exception) -> None:
        """Count a request that was not answered, or refused."""
        if isinstance(error, RefusedError):
            self.refused[error.status] += 1
        else:
            self.lost += 1


class Writer(LoopingClient):
    """Posts notes, one alone or some in a batch, and repeats what was not answered.

    `acknowledged` has the events by the position that they were acknowledged at. `sent_at` has
    when each request that was acknowledged was sent, and `answered_at` when its answer came.
    `repeated` counts the posts that were sent more than once, and `recorded_before` the events
    that a repeat found recorded.
    """

    def __init__(self, url: str, token: str, number: int, at: str, draw: Random) -> None:
        super().__init__(url, token)
        self.acknowledged: dict[int, dict[str, Any]] = {}
        self.sent_at: list[float] = []
        self.answered_at: list[float] = []
        self.repeated = self.recorded_before = 0
        self._number, self._at, self._draw = number, at, draw
        self._place = 0
        self._sent_at = 0.0
        self._pause_s = lambda: draw.uniform(0, PAUSE_S_MAX)

    def turn(self, http: httpx.Client) -> None:
        places = range(self._place, self._place + self._draw.randint(1, BATCH_MAX))
        events = [note(self._number, place, self._at) for place in places]
        failures = self.lost + self.refused.total()
        self._sent_at = time.monotonic()
        ledger = Client(self.url, self.token, http)
        receipts = post_until_answered(ledger, events, self.failed, GIVEN_UP_S)
        self.answered_at.append(time.monotonic())
        self.sent_at.append(self._sent_at)
        self.repeated += failures != self.lost + self.refused.total()
        self.recorded_before += sum(receipt["repeated"] for receipt in receipts)
        for event, receipt in zip(events, receipts, strict=True):
            assert receipt["id"] == event["id"], (receipt, event)
            assert receipt["position"] not in self.acknowledged, receipt
            self.acknowledged[receipt["position"]] = event
        self._place = places.stop

    def first_answer_since(self, moment: float) -> float | None:
        """When the first request sent after a moment was acknowledged; None if none was yet."""
        place = bisect_right(self.sent_at, moment)
        return self.answered_at[place] if place < len(self.sent_at) else None

    def failed(self, error: Exception) -> None:
        super().failed(error)
        self._sent_at = time.monotonic()  # what is sent next


class Reader(LoopingClient):
    """Reads the log on from where it is, and the episodes, in turn.

    `seen` has source and id of every event it was shown, by position.
    """

    def __init__(self, url: str, token: str) -> None:
        super().__init__(url, token)
        self.seen: dict[int, tuple[str, str]] = {}
        self.read = 0
        self._next = f"{url}/events?limit=1000"

    def turn(self, http: httpx.Client) -> None:
        page = until_answered(lambda: self._get(http, self._next), self.failed, GIVEN_UP_S)
        for event in page.json():
            wanted = len(self.seen) + 1
            assert event["position"] == wanted, f"position {event['position']} follows {wanted - 1}"
            self.seen[wanted] = (event["source"], event["id"])
        self._next = page.links["next"]["url"]
        episodes = f"{self.url}/episodes"
        shown = until_answered(lambda: self._get(http, episodes), self.failed, GIVEN_UP_S)
        assert shown.json()["items"], "no episodes"
        self.read += 2

    def _get(self, http: httpx.Client, url: str) -> httpx.Response:
        address = httpx.URL(self.url).join(url)
        answer = http.get(address, headers={"Authorization": f"Bearer {self.token}"})
        if not answer.is_success:
            raise RefusedError(answer.status_code, answer.json())
        return answer
