"""`POST /what-if` on the demo's log, by four clients at once, beside a request that asks little."""

import statistics
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from random import Random
from typing import Any
from urllib.parse import urlsplit

import httpx
import orjson
from rich.console import Console

import seed
from service import demo
from service.client import Client
from service.log.embedded import ensure_running, stop
from service.log.migrate import migrate
from service.production.folding import fold
from service.production.state import EMPTY, State
from service.settings import Settings
from service.vocabulary.event import read_event
from service.web.negotiation import EVENT
from tests.benchmarks.figures import Figure, Size
from tests.posting import post_all, request
from tests.seed.generated import DAYS, generated
from tests.serving import environ_of, served

CLIENTS = 4
REQUESTS = 400
FINAL_EVERY = 100
"""How often the usual calls have the demo's last retake among them, by far the largest."""
DAYS_LEAST = 20


def measure(size: Size) -> list[Figure]:
    """Median and 99th percentile in milliseconds, and those of the demo's last retake."""
    days = generated(size.of(DAYS, DAYS_LEAST))
    calls = retakes(state_of(days), days[-1].clock_at, size.of(REQUESTS, 8))
    last = [seed.final_retake()] if len(days) == DAYS else []
    calls = [call for place in range(0, len(calls), FINAL_EVERY)
             for call in (*last, *calls[place : place + FINAL_EVERY])]  # fmt: skip
    with filled(days) as (url, secret):
        usual = [what_if(url, secret, call) for call in calls]
        post_all(url, shared(usual[-CLIENTS:] * 4))  # every worker catches up first
        little = post_all(url, shared([show_clock(url, secret)] * len(usual))).waits_s
        waits = post_all(url, shared(usual)).waits_s
        alone = post_all(url, [usual[: len(usual) // CLIENTS]]).waits_s
        figures = [Figure("clock, median", 1000 * statistics.median(little), "ms")]
        figures += compared("what if, four clients", waits, little)
        figures += compared("what if, one client", alone, little)
        if last:
            largest = post_all(url, shared([what_if(url, secret, last[0])] * 40)).waits_s
            figures += compared("what if: the demo's last retake", largest, little)
    return figures


def what_if(url: str, secret: str, call: dict[str, Any]) -> bytes:
    """The bytes of a request to try a call."""
    return request(url, "/what-if", secret, EVENT, orjson.dumps(call))


def show_clock(url: str, secret: str) -> bytes:
    """The bytes of a request that asks for the studio's clock."""
    host = urlsplit(url).netloc
    return f"GET /clock HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {secret}\r\n\r\n".encode()


def shared(requests: Sequence[bytes]) -> list[Sequence[bytes]]:
    """Requests by client."""
    return [requests[place::CLIENTS] for place in range(CLIENTS)]


def compared(what: str, waits_s: Sequence[float], little_s: Sequence[float]) -> list[Figure]:
    """Median and 99th percentile, the median beside that of the clock."""
    median, most = (at(waits_s, percent) for percent in (50, 99))
    beside = median / at(little_s, 50)
    return [
        Figure(f"{what}, median", 1000 * median, "ms", beside, "the clock"),
        Figure(f"{what}, 99th percentile", 1000 * most, "ms", most / median, "its median"),
    ]


def at(waits_s: Sequence[float], percent: int) -> float:
    """A percentile."""
    return statistics.quantiles(waits_s, n=100, method="inclusive")[percent - 1]


def state_of(days: Sequence[seed.Day]) -> State:
    """What these days add up to."""
    recorded = [(day, event) for day in days for post in day.posts for event in post.events]
    struck = {event["data"]["position"] for _, event in recorded if event["type"] == "event.struck"}
    bodies = (
        {**event, "position": position, "recordedat": day.clock_at, "poster": "measured"}
        for position, (day, event) in enumerate(recorded, 1)
        if position not in struck
    )
    return fold(EMPTY, (read_event(orjson.dumps(body)) for body in bodies))


def retakes(state: State, at: str, count: int) -> list[dict[str, Any]]:
    """Calls as a floor knows them: most of one scene, some of several, some of an element."""
    random = Random("what if")
    begun = {
        item: [name for name, visit in visits.items() if visit.takes[0].begun]
        for item, visits in state.visits.items()
        if item not in state.episodes
    }
    open_ = [item for item, names in begun.items() if names and not _delivered(state, item)]
    scenes = [item for item in open_ if item in state.scenes]
    elements = [item for item in open_ if item in state.elements]
    calls = []
    for number in range(count):
        item = random.choice(elements if elements and number % 8 == 7 else scenes)
        back_to = random.choice(begun[item])
        several = random.sample(scenes, 5) if number % 8 == 6 else []
        items = [item, *(other for other in several if back_to in begun[other])]
        data = {
            "retake": f"R-{number}",
            "kind": "retake",
            "urgency": "must-fix",
            "back_to": back_to,
            "strands": ["background", "character"],
            "share": 0.2,
            "asked_by": "studio",
            "items": list(dict.fromkeys(items)),
        }
        calls.append(
            {
                "specversion": "1.0",
                "id": f"what-if-{number}",
                "source": "/supervision",
                "type": "retake.called",
                "subject": item,
                "time": at,
                "data": data,
            }
        )
    return calls


def _delivered(state: State, item: str) -> bool:
    users = state.elements[item].scenes if item in state.elements else (item,)
    return all(state.episodes[state.scenes[user].episode].delivered_us >= 0 for user in users)


@contextmanager
def filled(days: Sequence[seed.Day]) -> Iterator[tuple[str, str]]:
    """The URL of a service that holds these days, and the supervisor's token."""
    with tempfile.TemporaryDirectory(prefix="rl-") as folder:
        Path(folder).chmod(0o711)  # so that the account which root runs the server as can pass
        data = Path(folder) / "data"
        database_url = ensure_running(data)
        try:
            migrate(database_url)
            settings = Settings.from_environment(environ_of(data))
            _, secrets = demo._make_studio(settings, database_url)
            together = [day._replace(posts=tuple(demo.batched(day.posts))) for day in days]
            with served(data) as url, httpx.Client(timeout=60) as http:
                clients = {name: Client(url, secret, http) for name, secret in secrets.items()}
                demo._post(Console(quiet=True), clients, together)
                yield url, secrets["supervisor"]
        finally:
            stop(data)
