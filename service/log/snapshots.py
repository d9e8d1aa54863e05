"""Snapshots in the database: written by a worker that is far on, read by one that starts.

A snapshot serves only the release whose rules made it, and only the log that it was made from: its
`leaf` must be the tree's at its position. Anything else is passed over and cleared at the next
writing.
"""

from collections.abc import Iterable
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path
from typing import NamedTuple

from sqlalchemy import Connection

from service.log.engine import raw_cursor

KEPT = 3
"""Snapshots kept of a studio: a mistake of some days ago is struck from the one before it."""

_LOCK_CLASS = 0x5E75  # any number, apart from other uses of advisory locks

_LEAF = "SELECT substr(nodes, 1, 32) FROM event WHERE studio = %s AND position = %s"

_LATEST = """
SELECT s.position, s.parts FROM snapshot s
JOIN event e ON e.studio = s.studio AND e.position = s.position
WHERE s.studio = %s AND s.made_by = %s AND s.position <= %s AND s.leaf = substr(e.nodes, 1, 32)
ORDER BY s.position DESC LIMIT 1
"""

_NEWEST = """
SELECT max(s.position) FROM snapshot s
JOIN event e ON e.studio = s.studio AND e.position = s.position
WHERE s.studio = %s AND s.made_by = %s AND s.leaf = substr(e.nodes, 1, 32)
"""

_WRITE = """
INSERT INTO snapshot (studio, position, made_by, leaf, parts) VALUES (%s, %s, %s, %b, %b::bytea[])
"""

_CLEAR = """
DELETE FROM snapshot WHERE studio = %s AND position NOT IN (
    SELECT s.position FROM snapshot s
    JOIN event e ON e.studio = s.studio AND e.position = s.position
    WHERE s.studio = %s AND s.made_by = %s AND s.leaf = substr(e.nodes, 1, 32)
    ORDER BY s.position DESC LIMIT %s)
"""


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


def latest_snapshot(connection: Connection, studio: str, until: int) -> Snapshot | None:
    """The last snapshot at or before a position that this release may use."""
    with raw_cursor(connection) as cursor:
        found = cursor.execute(_LATEST, (studio, made_by(), until)).fetchone()
    return None if found is None else Snapshot(*found)


def write_snapshot(
    connection: Connection, studio: str, position: int, parts: Iterable[bytes], apart: int
) -> bool:
    """Keep a snapshot, unless one lies less than `apart` positions before it, or behind it.

    Nor is one kept of a position that the log has not reached, or while another worker writes one.
    Clears those that no longer serve. Whether it was kept; the caller commits.
    """
    with raw_cursor(connection) as cursor:
        lock = "SELECT pg_try_advisory_xact_lock(%s, hashtext(%s))"
        if cursor.execute(lock, (_LOCK_CLASS, studio)).fetchone() != (True,):
            return False
        newest = cursor.execute(_NEWEST, (studio, made_by())).fetchone()
        leaf = cursor.execute(_LEAF, (studio, position)).fetchone()
        if leaf is None or (newest and newest[0] is not None and newest[0] > position - apart):
            return False
        # first, since another release's may lie at this very position
        cursor.execute(_CLEAR, (studio, studio, made_by(), KEPT - 1))
        cursor.execute(_WRITE, (studio, position, made_by(), leaf[0], list(parts)))
    return True
