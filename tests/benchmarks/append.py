"""Appending over HTTP, beside bare clients of the database that write the same.

The service is the real one: `retake-ledger serve`, two workers, the embedded server as an
installation has it, so that a commit is on the disk (fsync) before it is answered. Rounds of HTTP
and of what stands beside it take turns, so that both have the same machine; figures are medians
of the rounds.
"""

import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from statistics import median
from threading import Thread
from typing import Any

import orjson
import psycopg
from sqlalchemy.engine import make_url

from service.client import BATCH, event
from service.log import append, embedded, studios, tokens
from service.log.engine import service_engine
from service.log.migrate import migrate
from service.settings import Settings
from service.vocabulary.facts import Role
from service.vocabulary.instants import parse_instant
from tests.benchmarks.figures import Figure, Size, took_s
from tests.posting import Posted, post_all, request
from tests.serving import served
from tests.telling import office

SINGLE = "application/cloudevents+json"
STUDIO, BARE = "heronry", "bare"
AT = "2031-03-03T08:00:00Z"
CLIENTS = 8
BATCHERS = (1, 4)
BATCH_EVENTS = 500
ROUNDS = 5
POSTS = 100
BATCHES = 12
DEPARTMENTS = ("layout", "background", "animation", "paint", "camera")
TWINS = {
    "a bare COPY of the same rows, no index but the key": (
        "LIKE event INCLUDING CONSTRAINTS, PRIMARY KEY (studio, position)"
    ),
    "the same with the log's indexes": "LIKE event INCLUDING ALL",
}
A_SCENE = 3 * len(DEPARTMENTS) + 1


def measure(size: Size) -> list[Figure]:
    """Single posts and batches over HTTP, beside bare commits and a bare COPY."""
    rounds, posts, batches = size.of(ROUNDS), size.of(POSTS, 4), size.of(BATCHES, 1)
    with _installed() as installed, served(installed.data) as url:
        floor = _Floor(installed, url, rounds * (posts + batches * BATCH_EVENTS))
        singles: list[Posted] = []
        bare: list[float] = []
        together: dict[int, list[float]] = {clients: [] for clients in BATCHERS}
        copied: list[tuple[float, ...]] = []
        for _ in range(rounds):
            singles.append(post_all(url, floor.singles(posts)))
            bare.append(CLIENTS * posts / took_s(lambda: _bare_commits(installed.dsn, posts)))
            for clients, rates in together.items():
                each = -(-batches // clients)
                posted = post_all(url, floor.batches(clients, each))
                rates.append(clients * each * BATCH_EVENTS / posted.took_s)
            copied.append(tuple(_bare_copies(installed.dsn, batches * BATCH_EVENTS)))
    return _figures(singles, bare, together, copied)


def _figures(
    singles: Sequence[Posted],
    bare: Sequence[float],
    together: dict[int, list[float]],
    copied: Sequence[tuple[float, ...]],
) -> list[Figure]:
    rate = median(len(posted.waits_s) / posted.took_s for posted in singles)
    commits, copies = median(bare), [median(rates) for rates in zip(*copied, strict=True)]
    beside = f"{CLIENTS} bare clients, the same statements"
    return [
        Figure(f"single posts, {CLIENTS} clients", rate, "a second", rate / commits, beside),
        Figure(beside, commits, "a second"),
        Figure(
            "wait for the answer to a single post",
            median(median(posted.waits_s) for posted in singles) * 1000,
            "ms",
        ),
        *(
            Figure(
                f"events in batches of {BATCH_EVENTS}, clients: {clients}",
                median(rates),
                "a second",
                median(rates) / copies[0],
                "a bare COPY of the same rows",
            )
            for clients, rates in together.items()
        ),
        *(Figure(what, rate, "a second") for what, rate in zip(TWINS, copies, strict=True)),
    ]


@dataclass(frozen=True)
class _Installed:
    """An installation with a studio, one for the bare clients, and tokens of the first."""

    data: Path
    dsn: str
    secrets: dict[Role, str]


@contextmanager
def _installed() -> Iterator[_Installed]:
    folder = Path(tempfile.mkdtemp(prefix="rl-"))
    folder.chmod(0o711)  # so that the account which root runs the server as can pass
    data = folder / "data"
    try:
        url = embedded.ensure_running(data)
        migrate(url)
        engine = service_engine(url, Settings.from_environment({"RETAKE_LEDGER_DATA": str(data)}))
        with engine.begin() as connection:
            for studio in (STUDIO, BARE):
                studios.make_studio(connection, studio, "simulated", parse_instant(AT))
            secrets = {
                role: tokens.issue(
                    connection, STUDIO, role, role, (), f"/{role}", datetime.now(UTC)
                )[1]
                for role in (Role.OFFICE, Role.SUPERVISOR)
            }
        engine.dispose()
        dsn = make_url(url).set(drivername="postgresql").render_as_string(hide_password=False)
        yield _Installed(data, dsn, secrets)
    finally:
        embedded.stop(data)
        shutil.rmtree(folder)


class _Floor:
    """What desks post, each client for an episode of its own."""

    def __init__(self, installed: _Installed, url: str, events: int) -> None:
        self._url = url
        self._secrets = installed.secrets
        episodes = tuple(f"KESTREL-{number}" for number in range(1, CLIENTS + 1))
        scenes = events // A_SCENE + 1
        office_events = [
            event("/office", type_, subject, data, time=AT, id=f"office-{place}")
            for place, (type_, subject, data) in enumerate(office(scenes, episodes))
        ]
        listed = range(0, len(office_events), BATCH_EVENTS)
        facts = [self._batch(Role.OFFICE, office_events[at : at + BATCH_EVENTS]) for at in listed]
        post_all(url, [facts])
        self._desks = [_desks(episode, scenes) for episode in episodes]

    def singles(self, posts: int) -> list[list[bytes]]:
        """The requests of each client, one event in each."""
        return [
            [self._request(Role.SUPERVISOR, SINGLE, fact) for fact in islice(desk, posts)]
            for desk in self._desks
        ]

    def batches(self, clients: int, each: int) -> list[list[bytes]]:
        """The requests of each client, batches of events."""
        return [
            [self._batch(Role.SUPERVISOR, list(islice(desk, BATCH_EVENTS))) for _ in range(each)]
            for desk in self._desks[:clients]
        ]

    def _batch(self, role: Role, events: list[dict[str, Any]]) -> bytes:
        return self._request(role, BATCH, events)

    def _request(self, role: Role, type_: str, body: object) -> bytes:
        return request(self._url, "/events", self._secrets[role], type_, orjson.dumps(body))


def _desks(episode: str, scenes: int) -> Iterator[dict[str, Any]]:
    """Each scene handed out, started and handed off at every desk, and a note of each."""
    for scene in range(1, scenes + 1):
        subject = f"{episode}/{scene}"
        for department in DEPARTMENTS:
            artist = {"department": department, "artist": f"{department[0]}{scene % 20:02}"}
            for type_, data in (
                ("hand-out.made", artist),
                ("work.started", artist),
                ("hand-off.made", {"department": department}),
            ):
                source = f"/supervisor/{department}"
                id_ = f"{type_}-{subject}"
                yield event(source, type_, subject, data, time=AT, id=id_)
        note = {"note": f"N-{episode}-{scene}", "to": "paint", "text": "The lamp is lit here."}
        yield event("/supervisor", "note.given", subject, note, time=AT, id=f"note-{subject}")


def _bare_commits(dsn: str, posts: int) -> None:
    """Clients that lock the head, insert a row, move the head and commit, again and again."""
    clients = [Thread(target=_bare_client, args=(dsn, number, posts)) for number in range(CLIENTS)]
    for client in clients:
        client.start()
    for client in clients:
        client.join()


def _bare_client(dsn: str, number: int, posts: int) -> None:
    at = datetime.fromisoformat(AT)
    digest, body = bytes(32), b"x" * 320
    with psycopg.connect(dsn, cursor_factory=psycopg.RawCursor) as connection:
        for _ in range(posts):
            cursor = connection.cursor(binary=True)
            head = cursor.execute(append.LOCK_HEAD.text, (BARE,)).fetchone()
            assert head is not None
            position, recorded_at, frontier, _clock = head
            row = ("/bare", f"{number}-{position}", "work.started", "KESTREL-1/1", "layout")
            columns = (*row, at, at, "bare", digest, body, digest)
            moved = (BARE, position, recorded_at, frontier, recorded_at)
            cursor.execute(append.APPEND.text, (*moved, *([value] for value in columns)))
            connection.commit()


def _bare_copies(dsn: str, rows: int) -> Iterator[float]:
    """Rows a second when the log's last rows are copied into an empty table, for each in TWINS."""
    with psycopg.connect(dsn) as connection, connection.cursor() as cursor:
        last = (
            "COPY (SELECT * FROM event WHERE studio = %s ORDER BY position DESC LIMIT %s) "
            "TO STDOUT (FORMAT BINARY)"
        )
        with cursor.copy(last, (STUDIO, rows)) as out:
            copied = b"".join(out)

        def copy() -> None:
            with cursor.copy("COPY twin FROM STDIN (FORMAT BINARY)") as into:
                into.write(copied)
            connection.commit()

        for made in TWINS.values():
            cursor.execute(f"CREATE TABLE twin ({made})".encode())
            connection.commit()
            yield rows / took_s(copy)
            cursor.execute("DROP TABLE twin")
            connection.commit()
