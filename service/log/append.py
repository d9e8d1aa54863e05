"""Appending: lock the head, find what is there already, put rows after it.

All of it happens in the caller's transaction, which must be READ COMMITTED: what is read after
`lock_head` is then what stands once the lock is had, however long it was waited for.
"""

from collections.abc import Sequence
from typing import NamedTuple

from sqlalchemy import Connection

from service.log.engine import raw_cursor
from service.proofs.tree import Frontier, pack, unpack
from service.vocabulary.instants import instant, instant_us


class UnknownStudioError(LookupError):
    """No studio of that name has been made."""


class HeadMovedError(RuntimeError):
    """Rows were to be appended elsewhere than after the head: it was not locked, or not read."""


class Head(NamedTuple):
    """Where a studio's log stands.

    `position` is 0 and `frontier` empty before the first event. `recorded_at_us` is the last
    event's, or when the studio's clock began. `clock_at_us` is None where the clock is real.
    """

    position: int
    recorded_at_us: int
    frontier: Frontier
    clock_at_us: int | None


class Recorded(NamedTuple):
    """An event that is in the log already, as far as a repeat must be compared with it."""

    position: int
    content_hash: bytes
    recorded_at_us: int
    salt: bytes | None
    personal: bytes | None


class Row(NamedTuple):
    """An event to append.

    `body` is its canonical bytes, `nodes` the hashes of the subtrees that its leaf completes.
    `salt` and `personal` (canonical bytes of the personal text) are both there or both None.
    """

    position: int
    source: str
    id: str
    type: str
    subject: str
    department: str | None
    time_at_us: int
    recorded_at_us: int
    poster: str
    content_hash: bytes
    body: bytes
    nodes: bytes
    salt: bytes | None
    personal: bytes | None


_HEAD = "SELECT position, recorded_at, frontier, clock_at FROM head WHERE studio = %s"

# By keyset, which nothing but the unique index can answer in order: asked by equality, the planner
# takes any index that begins with the studio as long as its statistics do not know the studio.
_RECORDED = """
SELECT asked.source, asked.id, e.position, e.content_hash, e.recorded_at, p.salt, p.content
FROM unnest(%s::text[], %s::text[]) AS asked (source, id)
CROSS JOIN LATERAL (
    SELECT studio, source, id, position, content_hash, recorded_at FROM event
    WHERE (studio, source, id) >= (%s, asked.source, asked.id)
    ORDER BY studio, source, id LIMIT 1
) e
LEFT JOIN personal p ON p.studio = e.studio AND p.position = e.position
WHERE e.studio = %s AND e.source = asked.source AND e.id = asked.id
"""

_EVENTS = """
INSERT INTO event (studio, position, source, id, type, subject, department, time_at,
                   recorded_at, poster, content_hash, body, nodes)
SELECT %s, row.* FROM unnest(
    %b::bigint[], %b::text[], %b::text[], %b::text[], %b::text[], %b::text[], %b::timestamptz[],
    %b::timestamptz[], %b::text[], %b::bytea[], %b::bytea[], %b::bytea[]) AS row
"""

_PERSONAL = """
INSERT INTO personal (studio, position, salt, content)
SELECT %s, row.* FROM unnest(%b::bigint[], %b::bytea[], %b::bytea[]) AS row
"""

_MOVE = """
UPDATE head SET position = %s, recorded_at = %s, frontier = %s
WHERE studio = %s AND position = %s AND recorded_at <= %s
"""


def lock_head(connection: Connection, studio: str) -> Head:
    """Lock a studio's log until the transaction ends, and read its head.

    Raises `UnknownStudioError`.
    """
    return _head(connection, studio, _HEAD + " FOR UPDATE")


def read_head(connection: Connection, studio: str) -> Head:
    """Read a studio's head without locking it. Raises `UnknownStudioError`."""
    return _head(connection, studio, _HEAD)


def find_recorded(
    connection: Connection, studio: str, keys: Sequence[tuple[str, str]]
) -> dict[tuple[str, str], Recorded]:
    """Which of these (source, id) are in the log already; those that are not are left out."""
    if not keys:
        return {}
    with raw_cursor(connection) as cursor:
        asked = ([key[0] for key in keys], [key[1] for key in keys], studio, studio)
        cursor.execute(_RECORDED, asked)
        return {
            (source, identity): Recorded(
                position, content_hash, instant_us(recorded_at), salt, content
            )
            for source, identity, position, content_hash, recorded_at, salt, content in cursor
        }


def append_rows(connection: Connection, studio: str, rows: Sequence[Row], head: Head) -> None:
    """Insert rows and their personal text, and move the head.

    `head` is where the log stands after the rows; its clock is not written. The caller holds
    the lock and has numbered the rows from the locked head's position plus one. Raises
    `HeadMovedError` if the log does not stand right before the rows; roll back then.
    """
    if not rows:
        return
    before = rows[0].position - 1
    if [row.position for row in rows] != list(range(before + 1, head.position + 1)):
        raise HeadMovedError(f"{studio}: rows must be dense up to the new head, {head.position}")
    recorded_at = instant(head.recorded_at_us)
    moved = (head.position, recorded_at, pack(head.frontier), studio, before)
    personal = [row for row in rows if row.personal is not None]
    # In a pipeline, so that it takes one round trip and the lock is held no longer.
    with raw_cursor(connection) as cursor, cursor.connection.pipeline():
        cursor.execute(_EVENTS, _event_columns(studio, rows))
        if personal:
            cursor.execute(_PERSONAL, _personal_columns(studio, personal))
        moving = cursor.connection.execute(_MOVE, (*moved, instant(rows[0].recorded_at_us)))
    if moving.rowcount != 1:
        raise HeadMovedError(f"{studio}: the log does not stand at {before}, or is recorded later")


def _event_columns(studio: str, rows: Sequence[Row]) -> tuple[object, ...]:
    return (
        studio,
        [row.position for row in rows],
        [row.source for row in rows],
        [row.id for row in rows],
        [row.type for row in rows],
        [row.subject for row in rows],
        [row.department for row in rows],
        [instant(row.time_at_us) for row in rows],
        [instant(row.recorded_at_us) for row in rows],
        [row.poster for row in rows],
        [row.content_hash for row in rows],
        [row.body for row in rows],
        [row.nodes for row in rows],
    )


def _personal_columns(studio: str, rows: Sequence[Row]) -> tuple[object, ...]:
    return (
        studio,
        [row.position for row in rows],
        [row.salt for row in rows],
        [row.personal for row in rows],
    )


def _head(connection: Connection, studio: str, statement: str) -> Head:
    with raw_cursor(connection) as cursor:
        found = cursor.execute(statement.encode(), (studio,)).fetchone()
    if found is None:
        raise UnknownStudioError(studio)
    position, recorded_at, frontier, clock_at = found
    return Head(
        position,
        instant_us(recorded_at),
        unpack(frontier),
        None if clock_at is None else instant_us(clock_at),
    )
