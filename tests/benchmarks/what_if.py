"""`POST /what-if` on the demo's log, by four clients at once, beside a request that asks little."""

import statistics
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from random import Random
from typing import Any

import httpx
import orjson
from rich.console import Console

import seed
from service import demo
from service.client import Client
from service.log.embedded import ensure_running, stop
from service.log.migrate import migrate
from service.production.evolve import fold
from service.production.state import EMPTY, State
from service.settings import Settings
from service.vocabulary.event import read_event
from tests.benchmarks.figures import Figure, Size
from tests.seed.generated import generated
from tests.serving import environ_of, served

CLIENTS = 4
REQUESTS = 400
DAYS_LEAST = 40

Ask = Callable[[Client, int], object]


def measure(size: Size) -> list[Figure]:
    """Median and 99th percentile in milliseconds, and those of the demo's last retake."""
    days = generated()[: size.of(len(generated()), DAYS_LEAST)]
    calls = retakes(state_of(days), days[-1].clock_at, size.of(REQUESTS, 8))
    with filled(days) as (url, secret), ExitStack() as stack:
        connections = [stack.enter_context(httpx.Client(timeout=60)) for _ in range(CLIENTS)]
        clients = [Client(url, secret, connection) for connection in connections]
        each = len(calls) // CLIENTS

        def call(client: Client, number: int) -> object:
            return client.what_if([calls[number]])

        took_ms(clients, call, 2)  # every worker catches up first
        little = took_ms(clients, lambda client, _: client.get("/shows"), each)
        usual = took_ms(clients, call, each)
        figures = [Figure("list of shows, median", statistics.median(little), "ms")]
        figures += compared("what if: a retake", usual, little)
        if len(days) == len(generated()):
            last = [seed.final_retake()]
            took_ms(clients, lambda client, _: client.what_if(last), 1)
            largest = took_ms(clients, lambda client, _: client.what_if(last), each // 10)
            figures += compared("what if: the demo's last retake", largest, little)
    return figures


def compared(what: str, taken: Sequence[float], little: Sequence[float]) -> list[Figure]:
    """Median and 99th percentile beside the same of a list of shows."""
    beside = "a list of shows"
    marks = (("median", 50), ("99th percentile", 99))
    return [
        Figure(f"{what}, {name}", at(taken, p), "ms", at(taken, p) / at(little, p), beside)
        for name, p in marks
    ]


def at(taken: Sequence[float], percent: int) -> float:
    """A percentile."""
    return statistics.quantiles(taken, n=100, method="inclusive")[percent - 1]


def took_ms(clients: Sequence[Client], ask: Ask, each: int) -> list[float]:
    """Milliseconds of every request; the clients ask at once, each one request after the other."""
    taken: list[float] = []

    def run(place: int, client: Client) -> None:
        for turn in range(each):
            began = time.perf_counter()
            ask(client, place * each + turn)
            taken.append(1000 * (time.perf_counter() - began))

    threads = [
        threading.Thread(target=run, args=(place, client)) for place, client in enumerate(clients)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return taken


def state_of(days: Sequence[seed.Day]) -> State:
    """What these days add up to."""
    told = [(day, event) for day in days for post in day.posts for event in post.events]
    struck = {event["data"]["position"] for _, event in told if event["type"] == "event.struck"}
    bodies = (
        {**event, "position": position, "recordedat": day.clock_at, "poster": "measured"}
        for position, (day, event) in enumerate(told, 1)
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
