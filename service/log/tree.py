"""Reading the tree: each hash lies with the row of the last leaf that it covers."""

from collections.abc import Iterable

from sqlalchemy import Connection

from service.log.engine import raw_cursor
from service.proofs.paths import Ranges, Subtree, hashes, subtrees, wanted
from service.proofs.tree import HASH_BYTES, root

_NODES = """
SELECT asked.position, asked.level, substr(e.nodes, asked.level * %s + 1, %s)
FROM unnest(%s::bigint[], %s::int[]) AS asked (position, level)
JOIN event e ON e.studio = %s AND e.position = asked.position
"""


def read_subtrees(
    connection: Connection, studio: str, asked: Iterable[Subtree]
) -> dict[Subtree, bytes]:
    """The hashes of subtrees of a studio's log, in one statement.

    Raises LookupError for one that the log has not completed yet.
    """
    named = {(subtree.position, subtree.level): subtree for subtree in asked}
    positions, levels = [at for at, _ in named], [level for _, level in named]
    with raw_cursor(connection) as cursor:
        rows = cursor.execute(_NODES, (HASH_BYTES, HASH_BYTES, positions, levels, studio))
        found = {named[position, level]: bytes(node) for position, level, node in rows}
    missing = [subtree for subtree in named.values() if len(found.get(subtree, b"")) != HASH_BYTES]
    if missing:
        raise LookupError(f"the log of {studio} has no subtree {missing[0]}")
    return found


def read_root(connection: Connection, studio: str, size: int) -> bytes:
    """The root of the tree over the first `size` events. Raises LookupError beyond the log."""
    frontier = subtrees(0, size)
    known = read_subtrees(connection, studio, frontier)
    return root(tuple(known[subtree] for subtree in frontier))


def read_proof(connection: Connection, studio: str, ranges: Ranges) -> list[bytes]:
    """The hashes of a proof, O(log n) rows. Raises LookupError beyond the log."""
    return hashes(ranges, read_subtrees(connection, studio, wanted(ranges)))
