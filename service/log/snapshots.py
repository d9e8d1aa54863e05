"""Snapshots in the database: written by a worker that is far on, read by one that starts.

A snapshot serves only the release whose rules made it, and only the log that it was made from: its
`leaf` must be the tree's at its position. And it serves only where the service wrote it itself: a
seal, made with a key that lies outside the database, covers all of it by way of its last part, a
digest of the others to which `production/snapshot` holds them. Anything else is passed over, and
cleared at the next writing.
"""

import logging
from collections.abc import Iterable, Iterator
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

from sqlalchemy import Connection

from service.log.engine import raw_cursor
from service.proofs.seals import holds, seal

_log = logging.getLogger("retake_ledger.snapshots")

KEPT = 3
"""Snapshots kept of a studio: a mistake of some days ago is struck from the one before it."""

_LOCK_CLASS = 0x5E75  # any number, apart from other uses of advisory locks

_MOST = 2**63 - 1
_LEAF = "SELECT substr(nodes, 1, 32) FROM event WHERE studio = %s AND position = %s"

_OWN = """
SELECT s.position, s.leaf, s.digest, s.seal FROM snapshot s
JOIN event e ON e.studio = s.studio AND e.position = s.position
WHERE s.studio = %s AND s.made_by = %s AND s.position <= %s AND s.leaf = substr(e.nodes, 1, 32)
ORDER BY s.position DESC
"""

_PARTS = "SELECT parts FROM snapshot WHERE studio = %s AND position = %s"

_WRITE = """
INSERT INTO snapshot (studio, position, made_by, leaf, parts, digest, seal)
VALUES (%s, %s, %s, %b, %b::bytea[], %b, %b)
"""

_CLEAR = "DELETE FROM snapshot WHERE studio = %s AND NOT position = ANY(%s)"


class Snapshot(NamedTuple):
    """A fold's outcome at a position, in parts as `freeze` gave them."""

    position: int
    parts: list[bytes]


@cache
def made_by() -> str:
    """What a snapshot depends on besides the log.

    That is the core's source text, who packs it, and the time zones that work on desks was counted
    by.
    """
    root = Path(__file__).parents[1]
    digest = sha256(f"{version('msgspec')} {version('tzdata')}".encode())
    for folder in ("vocabulary", "production"):
        for path in sorted((root / folder).rglob("*.py")):
            digest.update(path.relative_to(root).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()


def latest_snapshot(
    connection: Connection, studio: str, until: int, seal_key: bytes
) -> Snapshot | None:
    """The last snapshot at or before a position that this release made and sealed."""
    with raw_cursor(connection) as cursor:
        for position, digest in _sealed(cursor, studio, until, seal_key):
            found = cursor.execute(_PARTS, (studio, position)).fetchone()
            # what the seal is over must be what is there
            if found is not None and found[0] and bytes(found[0][-1]) == digest:
                return Snapshot(position, [bytes(part) for part in found[0]])
    return None


def _sealed(cursor: Any, studio: str, until: int, seal_key: bytes) -> list[tuple[int, bytes]]:
    """Position and digest of what this release made and sealed of this log, the last first."""
    found = []
    for position, leaf, digest, sealed in cursor.execute(_OWN, (studio, made_by(), until)):
        if holds(seal_key, sealed, *_sealed_values(studio, position, leaf, digest)):
            found.append((position, bytes(digest)))
        else:
            _log.warning("snapshot of %s at %d passed over: not sealed here", studio, position)
    return found


def _sealed_values(
    studio: str, position: int, leaf: bytes, digest: bytes
) -> tuple[str, str, int, str, bytes, bytes]:
    return "snapshot", studio, position, made_by(), bytes(leaf), bytes(digest)


class Kept(NamedTuple):
    """A stored snapshot of this release, whomever it serves; `sealed` is None without the key."""

    position: int
    parts: list[bytes]
    sealed: bool | None


def kept_snapshots(connection: Connection, studio: str, seal_key: bytes | None) -> Iterator[Kept]:
    """Every stored snapshot of this release, the first one first, one at a time."""
    query = "SELECT position FROM snapshot WHERE studio = %s AND made_by = %s ORDER BY position"
    one = "SELECT leaf, digest, seal, parts FROM snapshot WHERE studio = %s AND position = %s"
    with raw_cursor(connection) as cursor:
        for (position,) in cursor.execute(query, (studio, made_by())).fetchall():
            found = cursor.execute(one, (studio, position)).fetchone()
            if found is None:
                continue  # a worker has cleared it meanwhile
            leaf, digest, sealed, parts = found
            holding = None
            if seal_key is not None:
                values = _sealed_values(studio, position, leaf, digest)
                holding = holds(seal_key, sealed, *values) and parts[-1:] == [digest]
            yield Kept(position, [bytes(part) for part in parts], holding)


def write_snapshot(
    connection: Connection,
    studio: str,
    position: int,
    parts: Iterable[bytes],
    apart: int,
    seal_key: bytes,
) -> bool:
    """Keep a snapshot, unless one lies less than `apart` positions before it, or behind it.

    Nor is one kept of a position that the log has not reached, or while another worker writes one.
    Clears those that no longer serve. Whether it was kept; the caller commits.
    """
    with raw_cursor(connection) as cursor:
        lock = "SELECT pg_try_advisory_xact_lock(%s, hashtext(%s))"
        if cursor.execute(lock, (_LOCK_CLASS, studio)).fetchone() != (True,):
            return False
        own = [at for at, _ in _sealed(cursor, studio, _MOST, seal_key)]
        leaf = cursor.execute(_LEAF, (studio, position)).fetchone()
        if leaf is None or (own and own[0] > position - apart):
            return False
        # first, since another release's may lie at this very position
        cursor.execute(_CLEAR, (studio, own[: KEPT - 1]))
        packed = list(parts)
        sealed = seal(seal_key, *_sealed_values(studio, position, leaf[0], packed[-1]))
        values = (studio, position, made_by(), leaf[0], packed, packed[-1], sealed)
        cursor.execute(_WRITE, values)
    return True
