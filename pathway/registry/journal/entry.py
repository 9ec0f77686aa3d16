"""Entries of the journal as frozen values: what is to be kept, what is kept, and where a chain stands."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

Kind = Literal["case", "visit", "operation", "decision", "calendar", "correction", "revision", "erasure"]
KINDS: tuple[str, ...] = get_args(Kind)
Payload = Mapping[str, Any]
"""Plain JSON data; what each kind holds is said in `payloads`."""

START = "0" * 64
"""The hash before the first entry of every chain."""


@dataclass(frozen=True, slots=True)
class NewEntry:
    """What a person wants kept: made by the functions of `payloads`, which check it.

    `supersedes` is the sequence number of the entry that a correction replaces, None for every other kind.
    """

    kind: Kind
    payload: Payload
    who: str
    supersedes: int | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry as it is kept. `sequence` counts from 1 within the child; `when` is UTC.

    `payload` is None once the child was erased. `payload_sha256` is the salted digest of the payload and stays.
    """

    child: str
    sequence: int
    who: str
    when: datetime.datetime
    kind: Kind
    schema_version: int
    supersedes: int | None
    payload_sha256: str
    previous_sha256: str
    sha256: str
    payload: Payload | None
    salt: str | None


@dataclass(frozen=True, slots=True)
class Head:
    """Where a chain ends: how many entries it has and the hash of the last (`START` where there is none)."""

    count: int
    sha256: str


NO_ENTRIES = Head(0, START)
"""The head of a child that is not in the registry yet."""


@dataclass(frozen=True, slots=True)
class Saved:
    """The entries were kept, and `head` is where the chain ends now."""

    entries: tuple[Entry, ...]
    head: Head


@dataclass(frozen=True, slots=True)
class StaleHead:
    """Nothing was kept: somebody else saved `since` after what the caller had seen. `head` is where it ends now."""

    since: tuple[Entry, ...]
    head: Head


@dataclass(frozen=True, slots=True)
class ChildLine:
    """One child of the registry: its head, when its first and last entry were made, and when it was erased."""

    child: str
    head: Head
    first: datetime.datetime
    last: datetime.datetime
    last_by: str
    erased: datetime.datetime | None


@dataclass(frozen=True, slots=True)
class StoredPlan:
    """A plan kept for quick lists; never part of the journal, may be dropped and made again at any time.

    It belongs to the chain as it stood at `head` and to the rules named by `protocol_version` and
    `protocol_digest`, on the day `on`. `summary` is small plain data for lists; `plan_json` the whole plan, or
    None where only the summary was kept or asked for.
    """

    child: str
    head: Head
    protocol_version: str
    protocol_digest: str
    on: datetime.date
    summary: Mapping[str, Any]
    plan_json: str | None = None
