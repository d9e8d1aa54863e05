"""A year's log in PostgreSQL: a worker that starts cold, one that starts warm, and its memory."""

import subprocess
import sys
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import orjson
from sqlalchemy import Connection, Engine, text

from service.kept import USUAL
from service.log.append import lock_head
from service.log.chain import Chain
from service.log.embedded import ensure_running, stop
from service.log.engine import driver_cursor, service_engine
from service.log.migrate import migrate
from service.log.studios import make_studio
from service.proofs.tree import leaf_hash
from service.settings import Settings
from service.studio import Studio
from service.vocabulary.event import read_event
from tests.benchmarks import year
from tests.benchmarks.figures import Figure, Size, best_s, no_collector, took_s
from tests.recording import SEAL_KEY

NAME = "measured"
AT_ONCE = 2000
STARTS = 5
ROWS = "SELECT position, body FROM event WHERE studio = %s ORDER BY position"
AS_JSON = (
    "SELECT position, convert_from(body, 'UTF8')::json FROM event "
    "WHERE studio = %s ORDER BY position"
)
SNAPSHOTS = "SELECT count(*) FROM snapshot WHERE studio = :studio"


def measure(size: Size) -> list[Figure]:
    """Cold replay beside a bare cursor, warm start, and memory in megabytes."""
    with database() as (engine, url):
        count = fill(engine, year.bodies_of_part(size))
        with no_collector():
            bare_s = best_s(lambda: read_bare(engine, ROWS), 3)
            json_s = best_s(lambda: read_bare(engine, AS_JSON), 2)
            cold = Studio(NAME, engine, lambda: 0, SEAL_KEY)
            cold_s = took_s(cold.view)
            cold.history.snapshots.wait()
            if count >= USUAL.snapshot_every:
                assert snapshots_of(engine) > 0, "no snapshot was written to start from"
        del cold
        warm_s, before_mb, worker_mb = min(started_warm(url) for _ in range(size.of(STARTS)))
    return [
        Figure("bare cursor, rows as octets", count / bare_s, "events/s"),
        Figure("bare cursor, rows as JSON", count / json_s, "events/s"),
        Figure("cold replay", count / cold_s, "events/s", json_s / cold_s, "rows as JSON"),
        Figure("cold replay", count / cold_s, "events/s", bare_s / cold_s, "rows as octets"),
        Figure("start from a snapshot", warm_s, "s", warm_s / cold_s, "cold replay"),
        Figure(
            "worker, resident", worker_mb, "MB", worker_mb / before_mb, "before it reads the log"
        ),
    ]


@contextmanager
def database() -> Iterator[tuple[Engine, str]]:
    """A migrated database of its own with one studio, and its URL."""
    with tempfile.TemporaryDirectory(prefix="rl-") as folder:
        Path(folder).chmod(0o711)  # so that the account which root runs the server as can pass
        data = Path(folder) / "data"
        url = ensure_running(data, durable=False)
        try:
            migrate(url)
            engine = service_engine(url, Settings.from_environment({"HOME": "/"}))
            with engine.begin() as connection:
                opened_us = (year.OPENED_MIN - 10 * year.WEEK_MIN) * 60_000_000
                make_studio(connection, NAME, "simulated", opened_us)
            yield engine, url
            engine.dispose()
        finally:
            stop(data)


def fill(engine: Engine, bodies: Iterable[dict[str, Any]]) -> int:
    """Record the year's events as they are; how many there are."""
    packed = [orjson.dumps(body, option=orjson.OPT_SORT_KEYS) for body in bodies]
    for first in range(0, len(packed), AT_ONCE):
        with engine.begin() as connection:
            record(connection, packed[first : first + AT_ONCE])
    return len(packed)


def record(connection: Connection, bodies: list[bytes]) -> None:
    """Append bodies whose positions come next."""
    chain = Chain(lock_head(connection, NAME))
    for body in bodies:
        chain.put(read_event(body), body, leaf_hash(body))
    chain.write(connection, NAME)


def read_bare(engine: Engine, statement: str) -> int:
    """All rows through the driver's cursor, as a program without rules would read them."""
    with engine.connect() as connection, driver_cursor(connection) as cursor:
        return len(cursor.execute(statement, (NAME,)).fetchall())


def snapshots_of(engine: Engine) -> int:
    """How many snapshots of the studio there are."""
    with engine.connect() as connection:
        return int(connection.execute(text(SNAPSHOTS), {"studio": NAME}).scalar_one())


def started_warm(url: str) -> tuple[float, float, float]:
    """Seconds a process takes from a connection to the studio's state, and its megabytes.

    Those are taken before it, and when it has made a plan too.
    """
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.warm_start", url, NAME, SEAL_KEY.hex()],
        capture_output=True,
        text=True,
        check=True,
    )
    seconds, before, after = done.stdout.split()
    return float(seconds), float(before), float(after)
