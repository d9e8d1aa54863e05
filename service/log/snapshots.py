"""Snapshots in the database: written by a worker that is far on, read by one that starts.

A snapshot serves only the release whose rules made it, and only the log that it was made from: its
`leaf` must be the tree's at its position. And it serves only where the service wrote it itself: a
seal, made with a key that lies outside the database, covers all of it by way of its last part, a
digest of the others to which `production/snapshot` holds them. Anything else is passed over, and
cleared at the next writing.
"""

import logging
from collections.abc import Callable, Iterable, Iterator
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import NamedTuple

from sqlalchemy import ColumnElement, Connection, and_, delete, func, insert, select

from service.log.engine import driver_cursor
from service.log.schema import event, snapshot
from service.proofs.seals import holds, seal
from service.proofs.tree import HASH_BYTES
from service.release import SERVICE, sources_digest

_log = logging.getLogger("retake_ledger.snapshots")

KEPT = 3
"""Snapshots kept of a studio: a mistake of some days ago is struck from the one before it."""

_LOCK_CLASS = 0x5E75  # any number, apart from other uses of advisory locks

_MOST = 2**63 - 1
_LEAF_OF = func.substr(event.c.nodes, 1, HASH_BYTES)


class Snapshot(NamedTuple):
    """A fold's outcome at a position, in parts as `freeze` gave them."""

    position: int
    parts: list[bytes]


@cache
def made_by() -> str:
    """What a snapshot depends on besides the log, of this release."""
    return release_digest(SERVICE)


def release_digest(package: Path, version_of: Callable[[str], str] = version) -> str:
    """A digest of what a snapshot depends on besides the log, of the service in a folder.

    That is the core's source text, who packs it, and the time zones that work on desks was counted
    by.
    """
    packed_by, zones = version_of("msgspec"), version_of("tzdata")
    return sources_digest(package, ("vocabulary", "production"), packed_by, zones)


def latest_snapshot(
    connection: Connection, studio: str, until: int, seal_key: bytes
) -> Snapshot | None:
    """The last snapshot at or before a position that this release made and sealed."""
    for position, digest in _sealed(connection, studio, until, seal_key):
        parts = _parts(connection, studio, position)
        # what the seal is over must be what is there
        if parts and parts[-1] == digest:
            return Snapshot(position, parts)
    return None


def _sealed(
    connection: Connection, studio: str, until: int, seal_key: bytes
) -> list[tuple[int, bytes]]:
    """Position and digest of what this release made and sealed of this log, the last first."""
    same = and_(event.c.studio == snapshot.c.studio, event.c.position == snapshot.c.position)
    own = (
        select(snapshot.c.position, snapshot.c.leaf, snapshot.c.digest, snapshot.c.seal)
        .join_from(snapshot, event, same)
        .where(snapshot.c.studio == studio, snapshot.c.made_by == made_by())
        .where(snapshot.c.position <= until, snapshot.c.leaf == _LEAF_OF)
        .order_by(snapshot.c.position.desc())
    )
    found = []
    for position, leaf, digest, sealed in connection.execute(own):
        if holds(seal_key, sealed, *_sealed_values(studio, position, leaf, digest)):
            found.append((position, digest))
        else:
            _log.warning("snapshot of %s at %d passed over: not sealed here", studio, position)
    return found


def _parts(connection: Connection, studio: str, position: int) -> list[bytes]:
    """The parts of a stored snapshot; none where there is none any more."""
    query = "SELECT parts FROM snapshot WHERE studio = %s AND position = %s"
    with driver_cursor(connection) as cursor:
        found = cursor.execute(query, (studio, position)).fetchone()
    return [] if found is None else [bytes(part) for part in found[0]]


def _is_at(studio: str, position: int) -> tuple[ColumnElement[bool], ColumnElement[bool]]:
    return snapshot.c.studio == studio, snapshot.c.position == position


def _sealed_values(
    studio: str, position: int, leaf: bytes, digest: bytes
) -> tuple[str, str, int, str, bytes, bytes]:
    return "snapshot", studio, position, made_by(), leaf, digest


class Kept(NamedTuple):
    """A stored snapshot of this release, whomever it serves; `sealed` is None without the key."""

    position: int
    parts: list[bytes]
    sealed: bool | None


def kept_snapshots(connection: Connection, studio: str, seal_key: bytes | None) -> Iterator[Kept]:
    """Every stored snapshot of this release, the first one first, one at a time."""
    own = (
        select(snapshot.c.position)
        .where(snapshot.c.studio == studio, snapshot.c.made_by == made_by())
        .order_by(snapshot.c.position)
    )
    columns = snapshot.c.leaf, snapshot.c.digest, snapshot.c.seal
    for position in connection.scalars(own).all():
        found = connection.execute(select(*columns).where(*_is_at(studio, position))).first()
        if found is None:
            continue  # a worker has cleared it meanwhile
        leaf, digest, sealed = found
        parts = _parts(connection, studio, position)
        holding = None
        if seal_key is not None:
            values = _sealed_values(studio, position, leaf, digest)
            holding = holds(seal_key, sealed, *values) and parts[-1:] == [digest]
        yield Kept(position, parts, holding)


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
    lock = func.pg_try_advisory_xact_lock(_LOCK_CLASS, func.hashtext(studio))
    if not connection.scalar(select(lock)):
        return False
    own = [at for at, _ in _sealed(connection, studio, _MOST, seal_key)]
    here = event.c.studio == studio, event.c.position == position
    leaf = connection.scalar(select(_LEAF_OF).where(*here))
    if leaf is None or (own and own[0] > position - apart):
        return False
    # first, since another release's may lie at this very position
    others = snapshot.c.studio == studio, snapshot.c.position.not_in(own[: KEPT - 1])
    connection.execute(delete(snapshot).where(*others))
    packed = list(parts)
    connection.execute(
        insert(snapshot).values(
            studio=studio,
            position=position,
            made_by=made_by(),
            leaf=leaf,
            parts=packed,
            digest=packed[-1],
            seal=seal(seal_key, *_sealed_values(studio, position, leaf, packed[-1])),
        )
    )
    return True
