"""Appending: lock the head, find what is there already, put rows after it.

All of it happens in the caller's transaction, which must be READ COMMITTED: what is read after
`lock_head` is then what stands once the lock is had, however long it was waited for.
"""

from collections.abc import Sequence
from typing import NamedTuple

from psycopg.pq.abc import PGresult
from sqlalchemy import Connection

from service.log import wire
from service.log.prepared import Call, rows_of, run, run_alone, run_together, statement
from service.proofs.tree import Frontier, pack, unpack


class UnknownStudioError(LookupError):
    """No studio of that name has been made."""

    def __init__(self, studio: str) -> None:
        super().__init__(
            f"there is no studio {studio}; make it first, or take one that `retake-ledger studio "
            "list` names"
        )


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
    """An event that is in the log already, as far as a repeat must be compared with it.

    `text_hash` is SHA-256 of its personal text, None where it has none or no more.
    """

    position: int
    content_hash: bytes
    recorded_at_us: int
    text_hash: bytes | None


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


_HEAD = "SELECT position, recorded_at, frontier, clock_at FROM head WHERE studio = $1"
_READ_HEAD = statement("read_head", _HEAD)
LOCK_HEAD = statement("lock_head", _HEAD + " FOR UPDATE")

# By keyset, which nothing but the unique index can answer in order: asked by equality, the planner
# takes any index that begins with the studio as long as its statistics do not know the studio.
_RECORDED = statement(
    "recorded",
    """
SELECT asked.place, e.position, e.content_hash, e.recorded_at, sha256(p.content)
FROM unnest($2::text[], $3::text[]) WITH ORDINALITY AS asked (source, id, place)
CROSS JOIN LATERAL (
    SELECT studio, source, id, position, content_hash, recorded_at FROM event
    WHERE (studio, source, id) >= ($1, asked.source, asked.id)
    ORDER BY studio, source, id LIMIT 1
) e
LEFT JOIN personal p ON p.studio = e.studio AND p.position = e.position
WHERE e.studio = $1 AND e.source = asked.source AND e.id = asked.id
""",
)

# One statement, so that the lock is held for one round trip less. Where no head was moved no row
# is inserted; asked in this way, it is asked once and not for each row.
_MOVE = """
WITH moved AS (
    UPDATE head SET position = $2 + cardinality($6::text[]), recorded_at = $3, frontier = $4
    WHERE studio = $1 AND position = $2 AND recorded_at <= $5 RETURNING 1
)"""
_EVENTS = """
INSERT INTO event (studio, position, source, id, type, subject, department, time_at, recorded_at,
                   poster, content_hash, body, nodes)
SELECT $1, $2 + row.place, source, id, type, subject, department, time_at, recorded_at,
       poster, content_hash, body, nodes
FROM unnest(
    $6::text[], $7::text[], $8::text[], $9::text[], $10::text[], $11::timestamptz[],
    $12::timestamptz[], $13::text[], $14::bytea[], $15::bytea[], $16::bytea[]
) WITH ORDINALITY AS row (source, id, type, subject, department, time_at, recorded_at, poster,
                          content_hash, body, nodes, place)
WHERE EXISTS (SELECT FROM moved)
"""
_PERSONAL = """, aside AS (
    INSERT INTO personal (studio, position, salt, content)
    SELECT $1, row.* FROM unnest($17::bigint[], $18::bytea[], $19::bytea[]) AS row
    WHERE EXISTS (SELECT FROM moved)
)"""
APPEND = statement("append", _MOVE + _EVENTS)
_APPEND_WITH_PERSONAL = statement("append_with_personal", _MOVE + _PERSONAL + _EVENTS)


def lock_head(connection: Connection, studio: str) -> Head:
    """Lock a studio's log until the transaction ends, and read its head.

    Raises `UnknownStudioError`.
    """
    call = locking_head(studio)
    return head_of(run(connection, call.statement, *call.values), studio)


def locking_head(studio: str) -> Call:
    """The call that `lock_head` makes, for `head_of` to read."""
    return Call(LOCK_HEAD, (studio.encode(),))


def read_head(connection: Connection, studio: str) -> Head:
    """Read a studio's head without locking it. Raises `UnknownStudioError`."""
    return head_of(run_alone(connection, _READ_HEAD, studio.encode()), studio)


def find_recorded(
    connection: Connection, studio: str, keys: Sequence[tuple[str, str]]
) -> dict[tuple[str, str], Recorded]:
    """Which of these (source, id) are in the log already; those that are not are left out."""
    if not keys:
        return {}
    sources, ids = zip(*keys, strict=True)
    found = run(connection, _RECORDED, studio.encode(), wire.texts(sources), wire.texts(ids))
    return {
        keys[wire.read_whole(place) - 1]: Recorded(
            wire.read_whole(position), content_hash, wire.read_instant(recorded_at), text_hash
        )
        for place, position, content_hash, recorded_at, text_hash in rows_of(found)
    }


def append_rows(
    connection: Connection, studio: str, rows: Sequence[Row], head: Head, *, commit: bool = False
) -> None:
    """Insert rows and their personal text, and move the head.

    With `commit` the transaction is committed in the same round trip, if there are rows.
    `head` is where the log stands after the rows; its clock is not written. The caller holds
    the lock and has numbered the rows from the locked head's position plus one. Raises
    `HeadMovedError` if the log does not stand right before the rows: nothing is inserted then.
    """
    if not rows:
        return
    before = rows[0].position - 1
    if [row.position for row in rows] != list(range(before + 1, head.position + 1)):
        raise HeadMovedError(f"{studio}: rows must be dense up to the new head, {head.position}")
    personal = [row for row in rows if row.personal is not None]
    values = (
        studio.encode(),
        wire.whole(before),
        wire.instant(head.recorded_at_us),
        pack(head.frontier),
        wire.instant(rows[0].recorded_at_us),
        *_event_columns(rows),
        *(_personal_columns(personal) if personal else ()),
    )
    call = Call(_APPEND_WITH_PERSONAL if personal else APPEND, values)
    (done,) = run_together(connection, call, commit=commit)
    if done.command_tuples != len(rows):
        raise HeadMovedError(f"{studio}: the log does not stand at {before}, or is recorded later")


def _event_columns(rows: Sequence[Row]) -> tuple[bytes, ...]:
    return (
        wire.texts([row.source for row in rows]),
        wire.texts([row.id for row in rows]),
        wire.texts([row.type for row in rows]),
        wire.texts([row.subject for row in rows]),
        wire.texts([row.department for row in rows]),
        wire.instants([row.time_at_us for row in rows]),
        wire.instants([row.recorded_at_us for row in rows]),
        wire.texts([row.poster for row in rows]),
        wire.octets([row.content_hash for row in rows]),
        wire.octets([row.body for row in rows]),
        wire.octets([row.nodes for row in rows]),
    )


def _personal_columns(rows: Sequence[Row]) -> tuple[bytes, ...]:
    return (
        wire.wholes([row.position for row in rows]),
        wire.octets([row.salt or b"" for row in rows]),
        wire.octets([row.personal or b"" for row in rows]),
    )


def head_of(found: PGresult, studio: str) -> Head:
    """The head that was read. Raises `UnknownStudioError`."""
    if found.ntuples == 0:
        raise UnknownStudioError(studio)
    ((position, recorded_at, frontier, clock_at),) = rows_of(found)
    return Head(
        wire.read_whole(position),
        wire.read_instant(recorded_at),
        unpack(frontier),
        None if clock_at is None else wire.read_instant(clock_at),
    )
