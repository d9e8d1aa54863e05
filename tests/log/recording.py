"""Events for tests of the log, appended the way the service does it."""

from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import Any

from sqlalchemy import Connection

from service.log.append import Head, Row, append_rows, lock_head
from service.log.engine import service_engine
from service.proofs.tree import append, leaf_hash
from service.settings import Settings

STUDIO = "north"
START_US = 1_900_000_000_000_000
MINUTE_US = 60_000_000
COMMITS = 25


def make_row(position: int, **given: Any) -> Row:
    body = f'{{"position":{position}}}'.encode()
    row = Row(
        position=position,
        source="/desks/layout",
        id=f"event-{position}",
        type="hand-off.made",
        subject="OWL-101/42A",
        department="layout",
        time_at_us=START_US + position * MINUTE_US,
        recorded_at_us=START_US + position * MINUTE_US + 1,
        poster="ann",
        content_hash=sha256(body).digest(),
        body=body,
        nodes=bytes(32),
        salt=None,
        personal=None,
    )
    return row._replace(**given)


def record(
    connection: Connection, given: Sequence[Mapping[str, object]], studio: str = STUDIO
) -> list[Row]:
    """Append one event for each of these sets of columns; gives the rows."""
    head = lock_head(connection, studio)
    rows: list[Row] = []
    frontier = head.frontier
    for position, columns in enumerate(given, head.position + 1):
        row = make_row(position, **dict(columns))
        nodes, frontier = append(frontier, position - 1, leaf_hash(row.body))
        rows.append(row._replace(nodes=nodes))
    last = rows[-1]
    append_rows(connection, studio, rows, Head(last.position, last.recorded_at_us, frontier, None))
    return rows


def append_many(url: str, writer: int) -> None:
    """One writer's share: so many commits of one to three events each."""
    engine = service_engine(url, Settings.from_environment({"HOME": "/"}))
    for commit in range(COMMITS):
        with engine.begin() as connection:
            record(
                connection,
                [
                    {
                        "id": f"{writer}-{commit}-{part}",
                        "body": f"{writer}/{commit}/{part}".encode(),
                    }
                    for part in range(1 + (writer + commit) % 3)
                ],
            )
    engine.dispose()
