"""Whether what is kept is what was saved: every hash computed again, and kept heads compared. Pure."""

from __future__ import annotations

import datetime
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby, pairwise

from pathway.problems import Problem
from pathway.registry.journal.chain import link_digest, moment, payload_digest
from pathway.registry.journal.entry import KINDS, START, Entry, Head
from pathway.registry.journal.fold import Unfoldable, accepted_plans, record_of
from pathway.registry.journal.payloads import UnreadablePayload
from pathway.registry.journal.signed import SignedHead

_RESTORE = "compare with the last backup, and restore it where the entry is wrong"


@dataclass(frozen=True, slots=True)
class StoredEntry:
    """One entry exactly as the tables hold it, with its payload's text (None where there is none)."""

    child: str
    sequence: int
    who: str
    at: str
    kind: str
    schema_version: int
    supersedes: int | None
    payload_sha256: str
    previous_sha256: str
    sha256: str
    salt: str | None
    body: str | None

    @property
    def place(self) -> str:
        """Return where it stands, as faults name it."""
        return f"{self.child}, entry {self.sequence}"


@dataclass(frozen=True, slots=True)
class Erasure:
    """A child that was erased: when, by whom and why."""

    child: str
    when: datetime.datetime
    who: str
    reason: str


@dataclass(frozen=True, slots=True)
class Audit:
    """What was found: how much there is, which children were erased when, and every fault.

    `remarks` are no faults of the registry, but a person should look at them; `head` is the one signed last, and
    `skipped` says what could not be checked here, and why.
    """

    heads: Mapping[str, Head]
    entries: int
    erased: Mapping[str, datetime.datetime]
    faults: tuple[Problem, ...]
    erasures: tuple[Erasure, ...] = ()
    remarks: tuple[Problem, ...] = ()
    head: SignedHead | None = None
    skipped: tuple[str, ...] = ()


def audit(kept: Iterable[StoredEntry], name: str, known: Iterable[Mapping[str, Head]] = ()) -> Audit:
    """Return what the entries of a registry, by child and sequence, say about themselves.

    `known` are heads kept elsewhere: a chain that is shorter, or other at that place, is a fault. `name` is the
    registry's name in faults. It knows the chains alone: what the tree and its signed heads say, `audit_tree` finds.
    """
    wanted = tuple(known)
    erasures: list[Erasure] = []
    remarks: list[Problem] = []
    heads: dict[str, Head] = {}
    erased: dict[str, datetime.datetime] = {}
    faults: list[Problem] = []
    count = 0
    for child, group in groupby(kept, key=lambda one: one.child):
        chain = list(group)
        count += len(chain)
        heads[child] = Head(chain[-1].sequence, chain[-1].sha256)
        faults += _chain_faults(chain, name) or _record_faults(chain, name, erased)
        erasures += _erasures(chain)
        remarks += _running_back(chain, name)
        for known_heads in wanted:
            faults += _head_faults(chain, name, known_heads.get(child))
    for child in sorted({child for known_heads in wanted for child in known_heads} - set(heads)):
        found = "no entry of a child that the kept heads name"
        faults.append(_fault(name, child, found, "its chain", "restore the last backup: entries were removed"))
    return Audit(heads, count, erased, tuple(dict.fromkeys(faults)), tuple(erasures), tuple(remarks))


def entry_of(kept: StoredEntry) -> Entry:
    """Return a kept entry as a value. Raises ValueError for a moment or payload that cannot be read."""
    return Entry(
        child=kept.child,
        sequence=kept.sequence,
        who=kept.who,
        when=moment(kept.at),
        kind=kept.kind,  # type: ignore[arg-type]
        schema_version=kept.schema_version,
        supersedes=kept.supersedes,
        payload_sha256=kept.payload_sha256,
        previous_sha256=kept.previous_sha256,
        sha256=kept.sha256,
        payload=None if kept.body is None else json.loads(kept.body),
        salt=kept.salt,
    )


def _chain_faults(chain: list[StoredEntry], name: str) -> list[Problem]:
    faults: list[Problem] = []
    before, last = START, 0
    erased = max((one.sequence for one in chain if one.kind == "erasure"), default=0)
    for one in chain:
        if one.sequence != last + 1:
            found = f"entry {one.sequence} after entry {last}" if last else f"entry {one.sequence} as the first"
            faults.append(_fault(name, one.place, found, f"entry {last + 1}", f"{_RESTORE}: entries were removed"))
        elif one.previous_sha256 != before:
            found = f"another hash of the entry before than entry {last} has" if last else "a hash before the first"
            do = f"{_RESTORE}: entry {last or 1} was altered, removed or moved"
            faults.append(_fault(name, one.place, found, "the same hash", do))
        faults += _entry_faults(one, name, erased)
        before, last = one.sha256, one.sequence
    return faults


def _entry_faults(one: StoredEntry, name: str, erased: int) -> Iterator[Problem]:
    own = link_digest(
        previous_sha256=one.previous_sha256,
        child=one.child,
        sequence=one.sequence,
        who=one.who,
        when=one.at,
        kind=one.kind,
        schema_version=one.schema_version,
        supersedes=one.supersedes,
        payload_sha256=one.payload_sha256,
    )
    if own != one.sha256:
        yield _fault(name, one.place, "an entry that does not match its hash", "the entry as it was saved", _RESTORE)
    if one.body is None or one.salt is None:
        if one.sequence >= erased:
            yield _fault(name, one.place, "no payload", "its payload, or an erasure after it", _RESTORE)
    elif payload_digest(one.salt, one.body) != one.payload_sha256:
        yield _fault(name, one.place, "a payload that does not match its hash", "the payload as saved", _RESTORE)
    elif one.sequence < erased:
        do = "erase the child again: `limb-pathway registry erase`"
        yield _fault(name, one.place, "a payload of an erased child", "none", do)


def _record_faults(chain: list[StoredEntry], name: str, erased: dict[str, datetime.datetime]) -> list[Problem]:
    child = chain[0].child
    try:
        entries = [entry_of(one) for one in chain]
        gone = [entry.when for entry in entries if entry.kind == "erasure"]
        if gone:
            erased[child] = gone[-1]
            return []
        if unknown := [entry for entry in entries if entry.kind not in KINDS]:
            raise UnreadablePayload(f"entry {unknown[0].sequence} is of the unknown kind {unknown[0].kind}")
        for entry in entries:
            named = (entry.payload or {}).get("record", {}).get("child", {}).get("id", child)
            if named != child:
                raise UnreadablePayload(f"entry {entry.sequence} holds the record of another child ({named})")
        record_of(entries)
        accepted_plans(entries)
    except (Unfoldable, UnreadablePayload, ValueError, AttributeError, TypeError, RecursionError) as error:
        return [_fault(name, child, str(error), "entries that make up a record", "use the program that wrote them")]
    return []


def _erasures(chain: list[StoredEntry]) -> Iterator[Erasure]:
    for one in chain:
        if one.kind == "erasure":
            try:
                reason = str(json.loads(one.body or "{}").get("reason", ""))
                yield Erasure(one.child, moment(one.at), one.who, reason)
            except (ValueError, AttributeError, RecursionError):
                continue  # its hash is wrong then, and that is told


def _running_back(chain: list[StoredEntry], name: str) -> Iterator[Problem]:
    """Yield the entries whose moment lies before that of the entry before."""
    for before, one in pairwise(chain):
        if one.at < before.at:
            found = f"{one.at}, which is before entry {before.sequence} ({before.at})"
            do = "set the clocks of the workstations right, and ask who saved it"
            yield _fault(name, one.place, found, "moments that do not run back", do)


def _head_faults(chain: list[StoredEntry], name: str, head: Head | None) -> Iterator[Problem]:
    if head is None:
        return
    last = chain[-1]
    if last.sequence < head.count:
        found = f"{last.sequence} entries where the kept heads say {head.count}"
        do = "restore the last backup: entries were removed, or this is an older copy"
        yield _fault(name, last.child, found, "at least as many", do)
        return
    there = [one for one in chain if one.sequence == head.count]
    if head.count and (not there or there[0].sha256 != head.sha256):
        place = f"{last.child}, entry {head.count}"
        found = "another hash than the kept heads have"
        yield _fault(name, place, found, "the same", f"{_RESTORE}: this entry or one before it was altered")


def _fault(name: str, place: str, found: str, expected: str, remedy: str) -> Problem:
    return Problem(name, place, None, found, expected, remedy)
