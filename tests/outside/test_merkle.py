"""Roots against the published ones of eight leaves, and against an independent implementation.

Source of the leaves and of the roots of sizes 0 to 8: the eight-leaf test tree of Certificate
Transparency (RFC 6962), as published with its reference implementation and repeated since in
the tests of other implementations (where it was first published is from memory).
"""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pymerkle import InmemoryTree

from service.proofs.paths import (
    Subtree,
    consistency,
    hashes,
    inclusion,
    proves_consistency,
    proves_inclusion,
)
from service.proofs.tree import Frontier, append, leaf_hash, root, unpack
from tests.properties import tried

LEAVES_HEX = [
    "",
    "00",
    "10",
    "2021",
    "3031",
    "40414243",
    "5051525354555657",
    "606162636465666768696a6b6c6d6e6f",
]
ROOTS_HEX = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]


def frontier_of(bodies: list[bytes]) -> Frontier:
    frontier: Frontier = ()
    for size, body in enumerate(bodies):
        _, frontier = append(frontier, size, leaf_hash(body))
    return frontier


@pytest.mark.parametrize("size", range(9))
def test_the_published_roots(size: int) -> None:
    bodies = [bytes.fromhex(leaf) for leaf in LEAVES_HEX[:size]]
    assert root(frontier_of(bodies)).hex() == ROOTS_HEX[size]


@tried(30)
@given(st.lists(st.binary(max_size=40), min_size=1, max_size=140))
def test_an_independent_tree_has_the_same_roots(bodies: list[bytes]) -> None:
    tree = InmemoryTree.init_from_entries(bodies)
    assert root(frontier_of(bodies)) == tree.get_root()


LEAVES_MAX = 10_000


def test_an_independent_tree_gives_the_same_proofs_up_to_ten_thousand_leaves() -> None:
    """Its inclusion proofs are ours, hash by hash; its roots are what ours lead to."""
    random = Random(6962)
    bodies = [random.randbytes(random.randrange(40)) for _ in range(LEAVES_MAX)]
    tree = InmemoryTree.init_from_entries(bodies)
    stored: dict[Subtree, bytes] = {}
    frontier: Frontier = ()
    for index, body in enumerate(bodies):
        nodes, frontier = append(frontier, index, leaf_hash(body))
        stored |= {Subtree(level, index >> level): done for level, done in enumerate(unpack(nodes))}
    for _ in range(200):
        size = random.randint(1, LEAVES_MAX)
        leaf, old = random.randrange(size), random.randint(1, size)
        proof = hashes(inclusion(leaf, size), stored)
        assert proof == tree.prove_inclusion(leaf + 1, size).path[1:]
        assert proves_inclusion(leaf_hash(bodies[leaf]), leaf, size, proof, tree.get_root(size))
        proof = hashes(consistency(old, size), stored)
        assert proves_consistency(old, size, tree.get_root(old), tree.get_root(size), proof)
