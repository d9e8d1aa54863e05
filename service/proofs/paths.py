"""Proofs of the Merkle tree: that a leaf is in it, and that one tree goes on from another.

RFC 9162, section 2.1.3 (inclusion) and 2.1.4 (consistency); the trees are those of RFC 6962.
A subtree is named by level and number: it covers the 2**level leaves from number * 2**level on. The
log keeps the hash of each with the row of the last leaf it covers, so a proof reads O(log n) rows.
"""

from collections.abc import Mapping, Sequence
from functools import reduce
from itertools import chain
from typing import NamedTuple

from service.proofs.tree import HASH_BYTES, node_hash


class Subtree(NamedTuple):
    """A perfect subtree: which hash the log holds, and where."""

    level: int
    number: int

    @property
    def position(self) -> int:
        """The position of the event whose leaf completes it."""
        return (self.number + 1) << self.level

    @property
    def offset(self) -> int:
        """Where its hash lies in that row's `nodes`, in bytes."""
        return self.level * HASH_BYTES


Ranges = tuple[tuple[int, int], ...]
"""Leaves from, until: what each hash of a proof covers."""


def inclusion(leaf: int, size: int) -> Ranges:
    """What the hashes cover that prove leaf `leaf` (from 0) in a tree of `size`, from below.

    Raises ValueError for a leaf that such a tree does not have.
    """
    if not 0 <= leaf < size:
        raise ValueError(f"a tree of {size} leaves has no leaf {leaf}")
    found = []
    start, end = 0, size
    while end - start > 1:
        middle = _middle(start, end)
        if leaf < middle:
            found.append((middle, end))
            end = middle
        else:
            found.append((start, middle))
            start = middle
    return tuple(reversed(found))


def consistency(old: int, new: int) -> Ranges:
    """What the hashes cover that prove a tree of `new` leaves to begin with one of `old`.

    Empty where the sizes are equal. Raises ValueError unless 0 < old <= new: of the empty tree
    there is nothing to prove.
    """
    if not 0 < old <= new:
        raise ValueError(f"a tree of {new} leaves does not go on from one of {old}")
    found: list[tuple[int, int]] = []
    start, end = 0, new
    while end != old:
        middle = _middle(start, end)
        if old <= middle:
            found.append((middle, end))
            end = middle
        else:
            found.append((start, middle))
            start = middle
    if start > 0:
        found.append((start, end))  # else it is the old tree itself, whose root is known
    return tuple(reversed(found))


def _middle(start: int, end: int) -> int:
    """Where a tree over more than one leaf divides: at the largest power of two below its size."""
    return start + (1 << (end - start - 1).bit_length() - 1)


def subtrees(start: int, end: int) -> list[Subtree]:
    """The perfect subtrees that leaves `start` to `end` of a proof consist of, largest first."""
    found = []
    while start < end:
        level = (end - start).bit_length() - 1
        found.append(Subtree(level, start >> level))
        start += 1 << level
    return found


def wanted(ranges: Ranges) -> list[Subtree]:
    """Every subtree whose hash a proof needs."""
    return list(chain.from_iterable(subtrees(*covered) for covered in ranges))


def hashes(ranges: Ranges, hash_of: Mapping[Subtree, bytes]) -> list[bytes]:
    """The hashes of a proof. Raises KeyError for a subtree that is not known."""
    return [_joined([hash_of[subtree] for subtree in subtrees(*covered)]) for covered in ranges]


def _joined(roots: Sequence[bytes]) -> bytes:
    """The hash over subtrees side by side, the largest first."""
    return reduce(lambda right, left: node_hash(left, right), reversed(roots))


def proves_inclusion(
    leaf: bytes, number: int, size: int, proof: Sequence[bytes], root: bytes
) -> bool:
    """Whether a proof shows a leaf's hash at a number (from 0) of the tree with this root.

    RFC 9162, section 2.1.3.2. False for whatever has a wrong length or lies out of range.
    """
    if not 0 <= number < size or not _are_hashes([leaf, root, *proof]):
        return False
    at, last, reached = number, size - 1, leaf
    for sibling in proof:
        if last == 0:
            return False
        if at & 1 or at == last:
            reached = node_hash(sibling, reached)
            while not at & 1 and at != 0:
                at >>= 1
                last >>= 1
        else:
            reached = node_hash(reached, sibling)
        at >>= 1
        last >>= 1
    return last == 0 and reached == root


def proves_consistency(
    old: int, new: int, old_root: bytes, new_root: bytes, proof: Sequence[bytes]
) -> bool:
    """Whether a proof shows that the tree of `new` leaves begins with the tree of `old`.

    RFC 9162, section 2.1.4.2. False for whatever has a wrong length or lies out of range, and for
    an empty old tree.
    """
    if not 0 < old <= new or not _are_hashes([old_root, new_root, *proof]):
        return False
    if old == new:
        return not proof and old_root == new_root
    if not proof:
        return False
    path = list(proof) if old & (old - 1) else [old_root, *proof]
    at, last = old - 1, new - 1
    while at & 1:
        at >>= 1
        last >>= 1
    before = after = path[0]
    for sibling in path[1:]:
        if last == 0:
            return False
        if at & 1 or at == last:
            before = node_hash(sibling, before)
            after = node_hash(sibling, after)
            while not at & 1 and at != 0:
                at >>= 1
                last >>= 1
        else:
            after = node_hash(after, sibling)
        at >>= 1
        last >>= 1
    return last == 0 and before == old_root and after == new_root


def _are_hashes(values: Sequence[bytes]) -> bool:
    return all(len(value) == HASH_BYTES for value in values)
