"""Whether the tree of a registry covers what is kept, and its signed heads follow from one another. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from pathway.problems import Problem
from pathway.registry.journal.acts import Act, entry_leaf
from pathway.registry.journal.chain import moment
from pathway.registry.journal.signed import KnownHead, SignedHead, countersigned, is_signed, shown_key
from pathway.registry.journal.tree import Tree, read_hash
from pathway.registry.problem import RegistryProblem, problem

_RESTORE = "compare with the last backup, and restore it where this is wrong"
_PUT_IN = "ask who put it in; where nobody did, restore the last backup"

Leaf = tuple[int, str | None, int | None, str]
"""A leaf as the tables hold it: number, child and sequence (None for an act), hash."""


@dataclass(frozen=True, slots=True)
class TreeKept:
    """All that the tables hold of the tree, each in its order; `entries` are the hashes of entries by place."""

    leaves: Iterable[Leaf]
    entries: Mapping[tuple[str, int], str]
    acts: Mapping[int, Act]
    heads: Sequence[SignedHead]
    peaks: Tree | None


@dataclass(slots=True)
class _Walk:
    """One walk along the leaves: the tree so far, and its root wherever a head says something about it."""

    tree: Tree = field(default_factory=Tree)
    roots: dict[int, str] = field(default_factory=dict)
    placed: dict[tuple[str, int], int] = field(default_factory=dict)
    faults: list[Problem] = field(default_factory=list)


def audit_tree(kept: TreeKept, name: str, known: Iterable[KnownHead] = ()) -> tuple[list[Problem], list[Problem]]:
    """Return every fault of the tree, and what is no fault but should be looked at.

    A head in `known` that the registry does not pass through is a fault: it has gone back, or is another history.
    """
    wanted = tuple(known)
    walk = _walked(kept, name, {head.size for head in kept.heads} | {head.size for head in wanted})
    faults = [*walk.faults, *_unplaced(kept, name, walk)]
    of_heads, remarks = _head_faults(kept, name, walk)
    faults += of_heads
    faults += _act_faults(kept, name, walk)
    if kept.peaks != walk.tree and walk.tree.size:
        found = "peaks of the tree that its leaves do not make up"
        faults.append(_fault(name, "", found, "those of the last save", "the next save mends it: " + _RESTORE))
    for head in wanted:
        faults += known_faults(name, walk.tree.size, walk.roots.get(head.size), head)
    return faults, remarks


def known_faults(name: str, size: int, root: str | None, known: KnownHead) -> Iterator[Problem]:
    """Yield what is wrong with a registry of `size` leaves, with that root at the known size, for who knows better."""
    if size < known.size:
        yield gone_back(name, f"gone back to number {size}", known).problems[0]
    elif root is None or not root.startswith(known.root):
        yield gone_back(name, "another history", known).problems[0]


def gone_back(name: str, how: str, known: KnownHead) -> RegistryProblem:
    """Return what to say of a registry that does not pass through a head that was kept elsewhere."""
    do = "ask whether an older copy was put back; where nobody did, restore the newest backup"
    expected = f"one that goes on from number {known.size} ({known.root[:16]}…), {known.kept}"
    return problem(name, f"a registry that has {how}" if "gone" in how else how, expected, do)


def unsigned(name: str) -> Problem:
    """Return what to say of a registry of a layout before there was a tree."""
    found = "a registry of an earlier layout, whose entries nobody signed"
    return _fault(name, "", found, "signed heads", "the next save brings it to this layout and signs it")


def registered(acts: Mapping[int, Act]) -> dict[str, int]:
    """Return the keys of the workstations that save here, each with the number where it was written down."""
    found: dict[str, int] = {}
    for number, one in acts.items():
        if one.kind == "key":
            found.setdefault(str(one.said.get("public_key")), number)
    return found


def _walked(kept: TreeKept, name: str, sizes: set[int]) -> _Walk:
    walk = _Walk()
    if 0 in sizes:
        walk.roots[0] = walk.tree.root
    for number, child, sequence, sha256 in kept.leaves:
        if number != walk.tree.size:
            found = f"number {number} after number {walk.tree.size - 1}" if number else "a number that is not there"
            walk.faults.append(_fault(name, f"number {number}", found, f"number {walk.tree.size}", _RESTORE))
        walk.faults += _leaf_faults(kept, name, walk, number, child, sequence, sha256)
        walk.tree = walk.tree.with_leaves((read_hash(sha256),))
        if walk.tree.size in sizes:
            walk.roots[walk.tree.size] = walk.tree.root
    return walk


def _leaf_faults(
    kept: TreeKept, name: str, walk: _Walk, number: int, child: str | None, sequence: int | None, sha256: str
) -> Iterator[Problem]:
    place = f"number {number}"
    if child is None or sequence is None:
        one = kept.acts.get(number)
        if one is None:
            yield _fault(name, place, "nothing where the registry wrote something of itself", "it", _RESTORE)
        elif one.leaf.hex() != sha256:
            yield _fault(name, place, f"a {one.kind} that does not match its hash", "it as it was written", _RESTORE)
        return
    place = f"{child}, entry {sequence}"
    own = kept.entries.get((child, sequence))
    if own is None:
        yield _fault(name, place, f"number {number} of the registry, and no entry", "the entry", _RESTORE)
    elif entry_leaf(child, sequence, own).hex() != sha256:
        found = f"another hash than number {number} of the registry has"
        yield _fault(name, place, found, "the same", f"{_RESTORE}: this entry was altered and hashed anew")
    walk.placed[child, sequence] = number
    before = walk.placed.get((child, sequence - 1))
    if sequence > 1 and (before is None or before > number):
        found = f"number {number} of the registry before that of entry {sequence - 1}"
        yield _fault(name, place, found, "a later one", _RESTORE)


def _unplaced(kept: TreeKept, name: str, walk: _Walk) -> Iterator[Problem]:
    for child, sequence in kept.entries:
        if (child, sequence) not in walk.placed:
            found = "an entry that no workstation signed"
            yield _fault(name, f"{child}, entry {sequence}", found, "one that was saved by the program", _PUT_IN)


def _head_faults(kept: TreeKept, name: str, walk: _Walk) -> tuple[list[Problem], list[Problem]]:
    faults: list[Problem] = []
    remarks: list[Problem] = []
    keys, before, latest = registered(kept.acts), 0, ""
    places = {number: place for place, number in walk.placed.items()}
    for head in kept.heads:
        place = f"signed head {head.size}"
        if not head.genuine:
            faults.append(_fault(name, place, "a signature that does not fit", "that of the workstation", _RESTORE))
        number = keys.get(head.public_key)
        if number is None or number >= head.size:
            found = f"the signature of an unknown {shown_key(head.public_key)}"
            faults.append(_fault(name, place, found, "that of a workstation written down here", _PUT_IN))
        if walk.roots.get(head.size) != head.root:
            found = "another tree than was signed"
            faults.append(_fault(name, place, found, "the same", f"{_RESTORE}: what it covers was altered or removed"))
        faults += _between(name, places, before, head.since)
        if head.since < before or head.size <= head.since:
            found = f"one that begins at number {head.since}"
            faults.append(_fault(name, place, found, f"one that goes on from number {before}", _RESTORE))
        try:
            if moment(head.at) and head.at < latest:
                found = f"{head.at}, which is before {latest}"
                do = "set the clocks of the workstations right"
                remarks.append(_fault(name, place, found, "moments that do not run back", do))
        except ValueError:
            faults.append(_fault(name, place, "no moment", "when it was signed", _RESTORE))
        before, latest = max(before, head.size), max(latest, head.at)
    faults += _between(name, places, before, walk.tree.size)
    return faults, remarks


def _between(name: str, places: Mapping[int, tuple[str, int]], first: int, end: int) -> Iterator[Problem]:
    for number in range(first, end):
        there = places.get(number)
        place = f"number {number}" if there is None else f"{there[0]}, entry {there[1]}"
        found = f"number {number} of the registry, which no workstation signed for"
        yield _fault(name, place, found, "what was saved by the program", _PUT_IN)


def _act_faults(kept: TreeKept, name: str, walk: _Walk) -> Iterator[Problem]:
    acts_placed = set(range(walk.tree.size)) - set(walk.placed.values())
    for number, one in kept.acts.items():
        if number not in acts_placed:
            yield _fault(name, f"number {number}", f"a {one.kind} that no workstation signed", "none", _PUT_IN)
        if one.kind == "countersign":
            said = one.said
            size, root = said.get("size"), said.get("root")
            public, signature = str(said.get("public_key")), str(said.get("signature"))
            head = next((head for head in kept.heads if (head.size, head.root) == (size, root)), None)
            if head is None or not is_signed(countersigned(head.size, head.root), public, signature):
                found = "a countersignature that fits no signed head"
                yield _fault(name, f"number {number}", found, "that of a second workstation", _RESTORE)


def _fault(name: str, place: str, found: str, expected: str, remedy: str) -> Problem:
    return Problem(name, place, None, found, expected, remedy)
