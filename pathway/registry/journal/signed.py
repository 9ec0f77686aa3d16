"""What a workstation signs (Ed25519, RFC 8032): heads of the tree, other workstations' heads, stored plans. Pure."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from pathway.registry.journal.tree import Tree

SHOWN = 16
"""How many digits of a hash are printed where a person may have to compare them by eye."""
_WRITTEN = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=True)


@dataclass(frozen=True, slots=True)
class SignedHead:
    """Where the whole registry stood: `size` leaves with this `root`, at a moment, signed by a workstation.

    `since` is the number of the first leaf that the workstation added itself: it answers for no leaf before it.
    """

    size: int
    root: str
    since: int
    at: str
    public_key: str
    signature: str

    @property
    def short(self) -> str:
        """Return it in one short line for paper."""
        return f"{self.size} · {self.root[:SHOWN]}…"

    @property
    def genuine(self) -> bool:
        """Return whether the key it names signed it."""
        said = _head_statement(self.size, self.root, self.since, self.at, self.public_key)
        return is_signed(said, self.public_key, self.signature)


@dataclass(frozen=True, slots=True)
class KnownHead:
    """A head of the registry that was kept elsewhere: a root of 16 digits or more, and where it was kept."""

    size: int
    root: str
    kept: str


def sign_head(key: Ed25519PrivateKey, tree: Tree, since: int, at: str) -> SignedHead:
    """Return the head of a tree, signed."""
    public = public_hex(key)
    said = _head_statement(tree.size, tree.root, since, at, public)
    return SignedHead(tree.size, tree.root, since, at, public, key.sign(said).hex())


def public_hex(key: Ed25519PrivateKey) -> str:
    """Return the public half of a key in hex."""
    return key.public_key().public_bytes_raw().hex()


def shown_key(public: str) -> str:
    """Return how a workstation is named: by the first digits of its public key."""
    return f"workstation {public[:SHOWN]}"


def is_signed(statement: bytes, public: str, signature: str) -> bool:
    """Return whether a statement was signed by the key; False too for what is no key and no signature."""
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(public)).verify(bytes.fromhex(signature), statement)
    except (InvalidSignature, ValueError, TypeError):
        return False
    return True


def countersigned(size: int, root: str) -> bytes:
    """Return what a second workstation signs once it has verified the registry up to a head."""
    return _statement("countersigned head", size, root)


def plan_statement(fields: Mapping[str, object]) -> bytes:
    """Return what is signed of a stored plan: every field of its row, large ones by their digest."""
    return _statement("stored plan", dict(fields))


def roll_statement(plans: Iterable[tuple[str, bytes]]) -> tuple[int, bytes]:
    """Return how many stored plans there are, and what is signed of all: by child, the digest of what each says."""
    digest, count = hashlib.sha256(), 0
    for child, said in plans:
        digest.update(hashlib.sha256(child.encode(errors="replace")).digest() + said)
        count += 1
    return count, _statement("stored plans", count, digest.hexdigest())


def _head_statement(size: int, root: str, since: int, at: str, public: str) -> bytes:
    return _statement("registry head", size, root, since, at, public)


def _statement(*said: object) -> bytes:
    return _WRITTEN.encode(said).encode()
