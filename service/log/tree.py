"""Reading the tree: each hash lies with the row of the last leaf that it covers.

Every signature is made behind `checked_head`: the frontier is derived from one row for each bit set
in the size and compared with the head's; of each of these rows the bytes must be those that were
hashed, and each hash that of its two halves. So a wrong head is found at the next signature. A
worker derives the frontier under the lock at its first post and, where others append too, once a
second; `serve` looks at every studio when it starts. Rows that no frontier needs are read by
`backup`, `restore`, `verify --all` and `mend`.
"""

from collections.abc import Iterable, Mapping

from sqlalchemy import Connection, text

from service.log.append import Head, UnknownStudioError
from service.proofs.examining import position_of
from service.proofs.paths import Ranges, Subtree, hashes, subtrees, wanted
from service.proofs.tree import HASH_BYTES, Frontier, leaf_hash, node_hash, root, unpack
from service.vocabulary.instants import instant_us

_NODES = text("""
SELECT asked.position, asked.level, substr(e.nodes, asked.level * :bytes + 1, :bytes)
FROM unnest(CAST(:positions AS bigint[]), CAST(:levels AS int[])) AS asked (position, level)
JOIN event e ON e.studio = :studio AND e.position = asked.position
""")

_FRONTIER_ROWS = text("""
SELECT position, body, nodes FROM event WHERE studio = :studio AND position = ANY(:positions)
""")

# in one statement, so that the head and the last row are of one moment
_HEAD_AND_END = text("""
SELECT h.position, h.recorded_at, h.frontier, h.clock_at,
       (SELECT max(e.position) FROM event e WHERE e.studio = h.studio)
FROM head h WHERE h.studio = :studio
""")


class FrontierError(RuntimeError):
    """The stored tree of a studio does not agree with itself or with the rows of the log.

    `position` is where: a row of the log, or the head's position. Nothing may be signed or appended
    then, since every later hash would rest on it.
    """

    def __init__(self, studio: str, position: int, reason: str) -> None:
        super().__init__(
            f"{studio}: position {position}: {reason}; nothing is recorded or signed until "
            f"`retake-ledger mend --studio {studio}` has put right what follows from the record, "
            "or a backup is restored"
        )
        self.studio = studio
        self.position = position
        self.reason = reason


def checked_head(connection: Connection, studio: str) -> Head:
    """The head of a studio's log, once its frontier is what the rows of the log have.

    Reads one row for each bit set in the size (`derive_frontier`), and looks that no row lies
    behind the head. Raises FrontierError, and UnknownStudioError.
    """
    found = connection.execute(_HEAD_AND_END, {"studio": studio}).first()
    if found is None:
        raise UnknownStudioError(studio)
    position, recorded_at, packed, clock_at, end = found
    head = Head(
        position,
        instant_us(recorded_at),
        unpack(packed),
        None if clock_at is None else instant_us(clock_at),
    )
    if end is not None and end > position:
        raise FrontierError(studio, position + 1, f"the head is at {position}, rows go to {end}")
    check_frontier(connection, studio, head)
    return head


def check_frontier(connection: Connection, studio: str, head: Head) -> None:
    """Raise FrontierError unless a head's frontier is the one that the log's rows have."""
    if derive_frontier(connection, studio, head.position) != head.frontier:
        raise FrontierError(
            studio, head.position, "the tree's frontier in the head is not what its rows have"
        )


def derive_frontier(connection: Connection, studio: str, size: int) -> Frontier:
    """The frontier of the tree over the first `size` events, from the hashes beside them.

    Of each row that is read, the bytes must be those that were hashed and say this position, and
    each hash must be that of its two halves; the left halves lie with other rows, some log2(size)
    squared half in all, whose own bytes are not looked at. Raises FrontierError.
    """
    named = subtrees(0, size)
    asked = {"studio": studio, "positions": [one.position for one in named]}
    found = connection.execute(_FRONTIER_ROWS, asked)
    rows = {position: (body, nodes) for position, body, nodes in found}
    halves = [_left_half(one, level) for one in named for level in range(one.level)]
    try:
        left = read_subtrees(connection, studio, halves)
    except LookupError as error:
        raise FrontierError(studio, size, str(error)) from error
    for subtree in named:
        if subtree.position not in rows:
            raise FrontierError(studio, subtree.position, "there is no event here")
        reason = _wrong_row(subtree, *rows[subtree.position], left)
        if reason is not None:
            raise FrontierError(studio, subtree.position, reason)
    return tuple(rows[subtree.position][1][-HASH_BYTES:] for subtree in named)


def _left_half(subtree: Subtree, level: int) -> Subtree:
    """What is hashed together with the subtree of a level that ends with this one."""
    return Subtree(level, ((subtree.position - (1 << level)) >> level) - 1)


def _wrong_row(
    subtree: Subtree, body: bytes, nodes: bytes, left: Mapping[Subtree, bytes]
) -> str | None:
    """What is wrong with the row that completes a subtree of a frontier; None if nothing is."""
    if len(nodes) != (subtree.level + 1) * HASH_BYTES:
        return "the row has not as many hashes as its leaf completes subtrees"
    if nodes[:HASH_BYTES] != leaf_hash(body):
        return "its bytes are not those that were hashed"
    if position_of(body) != subtree.position:
        return f"the event here says it is at {position_of(body)}"
    completed = unpack(nodes)
    for level in range(subtree.level):
        half = left[_left_half(subtree, level)]
        if node_hash(half, completed[level]) != completed[level + 1]:
            return f"the hash over the {2 << level} events up to here is not that of its halves"
    return None


def read_subtrees(
    connection: Connection, studio: str, subtrees: Iterable[Subtree]
) -> dict[Subtree, bytes]:
    """The hashes of subtrees of a studio's log, in one statement.

    Raises LookupError for one that the log has not completed yet.
    """
    named = {(subtree.position, subtree.level): subtree for subtree in subtrees}
    asked = {
        "studio": studio,
        "positions": [position for position, _ in named],
        "levels": [level for _, level in named],
        "bytes": HASH_BYTES,
    }
    rows = connection.execute(_NODES, asked)
    found = {named[position, level]: node for position, level, node in rows}
    missing = [subtree for subtree in named.values() if len(found.get(subtree, b"")) != HASH_BYTES]
    if missing:
        raise LookupError(f"the log of {studio} has no subtree {missing[0]}")
    return found


def read_root(connection: Connection, studio: str, size: int) -> bytes:
    """The root of the tree over the first `size` events. Raises LookupError beyond the log."""
    frontier = subtrees(0, size)
    hashes = read_subtrees(connection, studio, frontier)
    return root(tuple(hashes[subtree] for subtree in frontier))


def read_proof(connection: Connection, studio: str, ranges: Ranges) -> list[bytes]:
    """The hashes of a proof, O(log n) rows. Raises LookupError beyond the log."""
    return hashes(ranges, read_subtrees(connection, studio, wanted(ranges)))
