"""The hashes that tie the entries of a child together. Pure: text in, text out."""

from __future__ import annotations

import datetime
import hashlib
import json

from pathway.registry.journal.entry import NO_ENTRIES, Entry, Head, Kind, Payload


def payload_text(payload: Payload) -> str:
    """Return the one way to write a payload: sorted keys, no spaces, ASCII. Raises ValueError for infinity or NaN."""
    return json.dumps(payload, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)


def payload_digest(salt: str, text: str) -> str:
    """Return the SHA-256 of a payload with its salt, so that an erased payload cannot be guessed from it."""
    return hashlib.sha256(f"{salt}:{text}".encode()).hexdigest()


def when_text(when: datetime.datetime) -> str:
    """Return a moment as it is kept and hashed: UTC to the microsecond. Raises ValueError without a time zone."""
    if when.tzinfo is None:
        raise ValueError("the moment of an entry needs its time zone")
    return when.astimezone(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def moment(text: str) -> datetime.datetime:
    """Return the moment that `when_text` wrote; raises ValueError for any other text."""
    if len(text) != len("2026-11-25T09:30:00.000000Z") or text[-1] != "Z":
        raise ValueError(f"{text!r} is no moment of an entry")
    return datetime.datetime.fromisoformat(text)


def link_digest(
    *,
    previous_sha256: str,
    child: str,
    sequence: int,
    who: str,
    when: str,
    kind: str,
    schema_version: int,
    supersedes: int | None,
    payload_sha256: str,
) -> str:
    """Return the hash of an entry: over the hash before it, all that is said of it, and its payload's digest."""
    said = [previous_sha256, child, sequence, who, when, kind, schema_version, supersedes, payload_sha256]
    return hashlib.sha256(json.dumps(said, separators=(",", ":"), ensure_ascii=True).encode()).hexdigest()


def linked(
    head: Head,
    child: str,
    kind: Kind,
    payload: Payload,
    *,
    who: str,
    when: datetime.datetime,
    schema_version: int,
    supersedes: int | None,
    salt: str,
) -> Entry:
    """Return the entry that follows `head`. Raises ValueError for what is no JSON or has no time zone."""
    digest = payload_digest(salt, payload_text(payload))
    sequence = head.count + 1
    own = link_digest(
        previous_sha256=head.sha256,
        child=child,
        sequence=sequence,
        who=who,
        when=when_text(when),
        kind=kind,
        schema_version=schema_version,
        supersedes=supersedes,
        payload_sha256=digest,
    )
    return Entry(
        child=child,
        sequence=sequence,
        who=who,
        when=when.astimezone(datetime.UTC),
        kind=kind,
        schema_version=schema_version,
        supersedes=supersedes,
        payload_sha256=digest,
        previous_sha256=head.sha256,
        sha256=own,
        payload=payload,
        salt=salt,
    )


def head_of(entries: tuple[Entry, ...]) -> Head:
    """Return where a chain ends, given its entries in order."""
    return Head(entries[-1].sequence, entries[-1].sha256) if entries else NO_ENTRIES
