"""The frontier, the completed subtrees, and what is refused."""

from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.proofs.tree import (
    HASH_BYTES,
    Frontier,
    append,
    leaf_hash,
    node_hash,
    pack,
    root,
    unpack,
)


def tree_hash(leaves: list[bytes]) -> bytes:
    """The recursive definition of RFC 6962, section 2.1, over leaf hashes."""
    if not leaves:
        return sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    half = 1 << (len(leaves) - 1).bit_length() - 1
    return node_hash(tree_hash(leaves[:half]), tree_hash(leaves[half:]))


@given(st.integers(0, 200))
def test_the_root_is_the_recursive_definition(size: int) -> None:
    leaves = [leaf_hash(str(index).encode()) for index in range(size)]
    frontier: Frontier = ()
    for index, leaf in enumerate(leaves):
        _, frontier = append(frontier, index, leaf)
    assert root(frontier) == tree_hash(leaves)


def test_nodes_are_the_subtrees_that_the_leaf_completes() -> None:
    leaves = [leaf_hash(bytes([index])) for index in range(16)]
    frontier: Frontier = ()
    for index, leaf in enumerate(leaves):
        nodes, frontier = append(frontier, index, leaf)
        levels = (~index & (index + 1)).bit_length()  # trailing ones of the index, plus one
        assert unpack(nodes) == tuple(
            tree_hash(leaves[index + 1 - 2**level : index + 1]) for level in range(levels)
        )
        assert len(frontier) == (index + 1).bit_count()


def test_a_leaf_and_a_node_of_the_same_bytes_differ() -> None:
    left, right = leaf_hash(b"a"), leaf_hash(b"b")
    assert leaf_hash(left + right) != node_hash(left, right)


def test_a_body_in_place_of_its_hash_is_refused() -> None:
    with pytest.raises(ValueError, match="32 bytes, not 4: hash the body"):
        append((), 0, b"body")


def test_a_frontier_of_another_size_is_refused() -> None:
    with pytest.raises(ValueError, match="not that of 2 leaves"):
        append((leaf_hash(b"a"), leaf_hash(b"b")), 2, leaf_hash(b"c"))


@given(st.lists(st.binary(min_size=HASH_BYTES, max_size=HASH_BYTES)).map(tuple))
def test_pack_and_unpack_are_inverse(frontier: Frontier) -> None:
    assert unpack(pack(frontier)) == frontier


def test_a_cut_frontier_is_refused() -> None:
    with pytest.raises(ValueError, match="33 bytes"):
        unpack(bytes(33))
