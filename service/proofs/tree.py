"""The Merkle tree of RFC 6962 over the bodies of a log, grown one leaf at a time.

A frontier is the roots of the perfect subtrees that a tree of a given size consists of, the
largest first: one for every bit set in the size. It is all that is needed to go on appending.
"""

from hashlib import sha256

HASH_BYTES = 32

Frontier = tuple[bytes, ...]


def leaf_hash(body: bytes) -> bytes:
    """The hash of one leaf's bytes; its prefix differs from a node's, so neither can pose."""
    return sha256(b"\x00" + body).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """The hash of an inner node, from the hashes of its two halves."""
    return sha256(b"\x01" + left + right).digest()


def append(frontier: Frontier, size: int, leaf: bytes) -> tuple[bytes, Frontier]:
    """Append one leaf to a tree of `size` leaves.

    `leaf` is the leaf's hash (`leaf_hash`), not its body. Gives the hashes of every subtree that
    this leaf completes, 32 bytes each, the leaf's own first and then level by level; and the new
    frontier. Raises `ValueError` for a frontier of another size or a leaf that is no hash.
    """
    if len(leaf) != HASH_BYTES:
        raise ValueError(f"a leaf hash has {HASH_BYTES} bytes, not {len(leaf)}: hash the body")
    if len(frontier) != size.bit_count():
        raise ValueError(f"a frontier of {len(frontier)} roots is not that of {size} leaves")
    if not size & 1:
        return leaf, (*frontier, leaf)
    roots = list(frontier)
    completed = [leaf]
    while size & 1:
        completed.append(node_hash(roots.pop(), completed[-1]))
        size >>= 1
    return b"".join(completed), (*roots, completed[-1])


def root(frontier: Frontier) -> bytes:
    """The tree's root; of an empty tree the hash of nothing, as RFC 6962 has it."""
    if not frontier:
        return sha256(b"").digest()
    joined = frontier[-1]
    for larger in reversed(frontier[:-1]):
        joined = node_hash(larger, joined)
    return joined


def pack(frontier: Frontier) -> bytes:
    """The frontier as bytes, 32 for each root, the largest first."""
    return b"".join(frontier)


def unpack(packed: bytes) -> Frontier:
    """A packed frontier. Raises `ValueError` for a length that is no multiple of 32."""
    if len(packed) % HASH_BYTES:
        raise ValueError(f"{len(packed)} bytes are no whole number of {HASH_BYTES}-byte hashes")
    return tuple(packed[at : at + HASH_BYTES] for at in range(0, len(packed), HASH_BYTES))
