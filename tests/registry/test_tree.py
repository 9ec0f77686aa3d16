"""The tree is hashed as RFC 9162 says, and grows without hashing again what is there."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pathway.registry.journal.tree import Tree, leaf_hash, node_hash, read_hash

LEAVES = [
    bytes.fromhex(one)
    for one in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")
]
ROOTS = {
    0: "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    1: "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    2: "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    3: "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    4: "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    5: "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    6: "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    7: "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    8: "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
}
"""Roots of the first so many leaves, as published with the standard."""


def root_of(leaves: list[bytes]) -> bytes:
    """Return the root as the standard defines it: split at the largest power of two below the number of leaves."""
    if not leaves:
        return hashlib.sha256().digest()
    if len(leaves) == 1:
        return leaf_hash(leaves[0])
    split = 1 << ((len(leaves) - 1).bit_length() - 1)
    return node_hash(root_of(leaves[:split]), root_of(leaves[split:]))


@pytest.mark.parametrize("size", ROOTS)
def test_the_roots_are_those_that_are_published(size) -> None:
    assert Tree().with_leaves(map(leaf_hash, LEAVES[:size])).root == ROOTS[size]


@given(st.lists(st.binary(max_size=3), max_size=70), st.integers(0, 70))
def test_a_tree_that_grew_in_two_steps_is_that_of_all_leaves(leaves, first) -> None:
    hashes = [leaf_hash(one) for one in leaves]
    grown = Tree().with_leaves(hashes[:first]).with_leaves(hashes[first:])
    assert grown.root == root_of(leaves).hex()
    assert grown.size == len(leaves)
    assert grown.whole


def test_peaks_of_another_size_are_not_taken_for_a_tree() -> None:
    peaks = Tree().with_leaves(map(leaf_hash, LEAVES[:3])).peaks
    assert not Tree(4, peaks).whole
    assert not Tree(3, (peaks[0], b"short")).whole


def test_what_is_no_hash_is_read_to_one_that_fits_nothing() -> None:
    assert read_hash("00" * 32) == bytes(32)
    assert read_hash("none") != read_hash("nothing")
    assert len(read_hash("none")) == 32
