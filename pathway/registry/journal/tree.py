"""The tree of hashes over everything that a registry keeps, as RFC 9162 hashes it (SHA-256). Pure.

Only its peaks are needed to add a leaf and to tell the root: the roots of the full subtrees, the largest first.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

_LEAF, _NODE = b"\x00", b"\x01"


@dataclass(frozen=True, slots=True)
class Tree:
    """A tree of `size` leaves by its peaks: as many as the size has ones in binary."""

    size: int = 0
    peaks: tuple[bytes, ...] = ()

    @property
    def whole(self) -> bool:
        """Return whether size and peaks go together."""
        return len(self.peaks) == self.size.bit_count() and all(len(peak) == 32 for peak in self.peaks)

    @property
    def root(self) -> str:
        """Return the root hash in hex; that of no leaf is the hash of nothing."""
        if not self.peaks:
            return hashlib.sha256().hexdigest()
        *others, root = self.peaks
        for left in reversed(others):
            root = node_hash(left, root)
        return root.hex()

    def with_leaves(self, leaves: Iterable[bytes]) -> Tree:
        """Return the tree after more leaves, given by their hashes; what is there is not hashed again."""
        size, peaks = self.size, list(self.peaks)
        for leaf in leaves:
            node, full = leaf, size
            while full & 1:
                node = node_hash(peaks.pop(), node)
                full >>= 1
            peaks.append(node)
            size += 1
        return Tree(size, tuple(peaks))


def leaf_hash(data: bytes) -> bytes:
    """Return the hash of a leaf."""
    return hashlib.sha256(_LEAF + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of an inner node over its two halves."""
    return hashlib.sha256(_NODE + left + right).digest()


def read_hash(text: str) -> bytes:
    """Return the hash that was written in hex; of damaged text the hash of that text, which fits nothing."""
    try:
        read = bytes.fromhex(text)
    except (ValueError, TypeError):
        read = b""
    return read if len(read) == 32 else hashlib.sha256(str(text).encode()).digest()
