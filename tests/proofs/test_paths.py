"""Proofs: what they cover by the recursive definitions, and what the verifiers refuse."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.proofs.paths import (
    Subtree,
    consistency,
    hashes,
    inclusion,
    proves_consistency,
    proves_inclusion,
    subtrees,
    wanted,
)
from service.proofs.tree import HASH_BYTES, Frontier, append, leaf_hash, root, unpack
from tests.properties import tried

SIZE = 300


def grown(size: int) -> tuple[dict[Subtree, bytes], list[bytes], list[bytes]]:
    """The hashes a log of so many events keeps, its leaves, and its root at every size."""
    stored: dict[Subtree, bytes] = {}
    frontier: Frontier = ()
    leaves, roots = [], [root(())]
    for index in range(size):
        leaves.append(leaf_hash(str(index).encode()))
        nodes, frontier = append(frontier, index, leaves[-1])
        for level, found in enumerate(unpack(nodes)):
            subtree = Subtree(level, index >> level)
            assert (subtree.position, subtree.offset) == (index + 1, level * HASH_BYTES)
            stored[subtree] = found
        roots.append(root(frontier))
    return stored, leaves, roots


STORED, LEAVES, ROOTS = grown(SIZE)


def path(leaf: int, start: int, end: int) -> list[tuple[int, int]]:
    """PATH of RFC 6962, section 2.1.1, as ranges of leaves."""
    if end - start == 1:
        return []
    middle = start + (1 << (end - start - 1).bit_length() - 1)
    if leaf < middle:
        return [*path(leaf, start, middle), (middle, end)]
    return [*path(leaf, middle, end), (start, middle)]


def subproof(old: int, start: int, end: int, whole: bool) -> list[tuple[int, int]]:
    """SUBPROOF of RFC 6962, section 2.1.2, as ranges of leaves; `old` counts from the first one."""
    if old == end:
        return [] if whole else [(start, end)]
    middle = start + (1 << (end - start - 1).bit_length() - 1)
    if old <= middle:
        return [*subproof(old, start, middle, whole), (middle, end)]
    return [*subproof(old, middle, end, False), (start, middle)]


def test_what_an_inclusion_proof_covers() -> None:
    for size in range(1, 70):
        for leaf in range(size):
            assert list(inclusion(leaf, size)) == path(leaf, 0, size)


def test_what_a_consistency_proof_covers() -> None:
    for new in range(1, 70):
        for old in range(1, new + 1):
            assert list(consistency(old, new)) == subproof(old, 0, new, True)


@pytest.mark.parametrize(("leaf", "size"), [(0, 0), (1, 1), (-1, 3), (7, 7), (8, 7)])
def test_a_leaf_that_a_tree_does_not_have(leaf: int, size: int) -> None:
    with pytest.raises(ValueError, match="no leaf"):
        inclusion(leaf, size)


@pytest.mark.parametrize(("old", "new"), [(0, 0), (0, 5), (-1, 5), (6, 5)])
def test_a_tree_that_does_not_go_on_from_another(old: int, new: int) -> None:
    with pytest.raises(ValueError, match="does not go on"):
        consistency(old, new)


def test_a_proof_reads_few_rows() -> None:
    """At most one subtree by level on the way, and twenty more at the right edge."""
    for leaf in (0, 1, 524_287, 999_999):
        assert len(wanted(inclusion(leaf, 1_000_000))) <= 40
    assert len(wanted(consistency(333_333, 1_000_000))) <= 40


@given(st.integers(0, 10**6), st.integers(0, 10**6))
def test_subtrees_cover_their_leaves_in_order(start: int, length: int) -> None:
    # proofs ask for ranges that begin where a subtree of their size does
    begin = (start >> length.bit_length()) << length.bit_length()
    at = begin
    for subtree in subtrees(begin, begin + length):
        assert subtree.number << subtree.level == at
        at += 1 << subtree.level
    assert at == begin + length


sizes = st.integers(1, SIZE)


@tried(150)
@given(sizes, st.data())
def test_every_leaf_is_proved_and_nothing_else(size: int, data: st.DataObject) -> None:
    leaf = data.draw(st.integers(0, size - 1))
    proof = hashes(inclusion(leaf, size), STORED)
    assert proves_inclusion(LEAVES[leaf], leaf, size, proof, ROOTS[size])
    other = data.draw(st.integers(0, SIZE - 1).filter(lambda number: number != leaf))
    assert not proves_inclusion(LEAVES[other], leaf, size, proof, ROOTS[size])
    assert not proves_inclusion(LEAVES[leaf], other, size, proof, ROOTS[size])
    if size > 1:
        assert not proves_inclusion(LEAVES[leaf], leaf, size, changed(proof, data), ROOTS[size])


@tried(150)
@given(sizes, st.data())
def test_every_older_tree_is_proved_and_no_other(new: int, data: st.DataObject) -> None:
    old = data.draw(st.integers(1, new))
    proof = hashes(consistency(old, new), STORED)
    assert proves_consistency(old, new, ROOTS[old], ROOTS[new], proof)
    wrong = data.draw(st.binary(min_size=HASH_BYTES, max_size=HASH_BYTES))
    assert not proves_consistency(old, new, wrong, ROOTS[new], proof)
    assert not proves_consistency(old, new, ROOTS[old], wrong, proof)
    assert not proves_consistency(old, new, ROOTS[old], ROOTS[new], changed(proof, data))


def changed(proof: list[bytes], data: st.DataObject) -> list[bytes]:
    """A proof with one hash more, less, changed or in another place."""
    extra = data.draw(st.binary(min_size=HASH_BYTES, max_size=HASH_BYTES))
    if not proof:
        return [extra]
    place = data.draw(st.integers(0, len(proof) - 1))
    how = data.draw(st.sampled_from(["more", "less", "other", "short", "turned"]))
    if how == "more":
        return [*proof[:place], extra, *proof[place:]]
    if how == "less":
        return [*proof[:place], *proof[place + 1 :]]
    if how == "short":
        return [*proof[:place], proof[place][:-1], *proof[place + 1 :]]
    if how == "turned" and len(proof) > 1:
        return proof[::-1]
    return [*proof[:place], extra, *proof[place + 1 :]]


@pytest.mark.parametrize(
    ("number", "size", "proof"),
    [(0, 0, []), (1, 1, []), (-1, 1, []), (0, 1, [bytes(HASH_BYTES)]), (0, 2, []), (3, 3, [])],
)
def test_degenerate_inclusion_proofs_are_refused(
    number: int, size: int, proof: list[bytes]
) -> None:
    assert not proves_inclusion(LEAVES[0], number, size, proof, ROOTS[max(size, 1)])


def test_degenerate_consistency_proofs_are_refused() -> None:
    assert not proves_consistency(0, 0, ROOTS[0], ROOTS[0], [])
    assert not proves_consistency(0, 5, ROOTS[0], ROOTS[5], [])
    assert not proves_consistency(5, 4, ROOTS[5], ROOTS[4], [])
    assert not proves_consistency(4, 5, ROOTS[4], ROOTS[5], [])
    assert not proves_consistency(5, 5, ROOTS[5], ROOTS[5], [ROOTS[5]])
    assert not proves_consistency(5, 5, ROOTS[5], ROOTS[4], [])
    assert proves_consistency(5, 5, ROOTS[5], ROOTS[5], [])


def test_the_alone_leaf_needs_no_proof() -> None:
    assert proves_inclusion(LEAVES[0], 0, 1, [], ROOTS[1])
    assert not proves_inclusion(LEAVES[0], 0, 1, [], ROOTS[2])


def test_random_bytes_prove_nothing() -> None:
    random = Random(1)
    for _ in range(200):
        proof = [random.randbytes(HASH_BYTES) for _ in range(random.randrange(10))]
        size = random.randint(2, SIZE)
        assert not proves_inclusion(LEAVES[0], 0, size, proof, ROOTS[size])
        assert not proves_consistency(size - 1, size, ROOTS[size - 1], ROOTS[size], proof)
