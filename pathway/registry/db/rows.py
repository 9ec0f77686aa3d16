"""Between rows of the tables and entries of the journal."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, Row, Select, insert, select

from pathway.registry.db.tables import entry as entries
from pathway.registry.db.tables import kept_head
from pathway.registry.db.tables import payload as payloads
from pathway.registry.journal.chain import moment, payload_text, when_text
from pathway.registry.journal.entry import NO_ENTRIES, Entry, Head

BATCH = 500
ROWS_AT_A_TIME = 50
"""How many rows with their plans lie in memory: one is about half a megabyte."""
_ON = (entries.c.child == payloads.c.child) & (entries.c.sequence == payloads.c.sequence)


def with_payloads(*, plans: bool = True) -> Select[Any]:
    """Return the query for all entries with their payloads (null where erased), by child and sequence.

    Without `plans`, the payloads of accepted plans, which are large, are null too.
    """
    joined = entries.outerjoin(payloads, _ON if plans else _ON & (entries.c.kind != "revision"))
    query = select(entries, payloads.c.salt, payloads.c.body).select_from(joined)
    return query.order_by(entries.c.child, entries.c.sequence)


def entry_of(row: Row[Any], *, read: bool = True) -> Entry:
    """Return the entry of a row of `with_payloads`, without its payload unless it is to be `read`.

    Raises ValueError for a payload or moment that cannot be read.
    """
    if not (isinstance(row.sequence, int) and isinstance(row.schema_version, int)):
        raise ValueError(f"{row.sequence!r} and {row.schema_version!r} for its number and version")
    return Entry(
        child=row.child,
        sequence=row.sequence,
        who=row.who,
        when=moment(row.at),
        kind=row.kind,
        schema_version=row.schema_version,
        supersedes=row.supersedes,
        payload_sha256=row.payload_sha256,
        previous_sha256=row.previous_sha256,
        sha256=row.sha256,
        payload=None if row.body is None or not read else json.loads(row.body),
        salt=row.salt,
    )


def entries_of(connection: Connection, child: str, *, plans: bool = True) -> tuple[Entry, ...]:
    """Return the entries of a child in order; without `plans`, those of accepted plans come without payload."""
    query = with_payloads(plans=plans).where(entries.c.child == child)
    return tuple(entry_of(row) for row in connection.execute(query))


@dataclass(frozen=True, slots=True)
class RawEntry:
    """An entry whose kept plan is still text (`plan_text`; None for what is no plan, and for an erased one)."""

    entry: Entry
    plan_text: str | None


def rows_by_child(connection: Connection) -> Iterator[tuple[str, tuple[Row[Any], ...]]]:
    """Yield each child with its rows of `with_payloads`, as they come from the database."""
    found = connection.execute(with_payloads().execution_options(yield_per=ROWS_AT_A_TIME))
    for child, some in groupby(found, key=lambda row: str(row.child)):
        yield child, tuple(some)


def raw_of(row: Row[Any]) -> RawEntry:
    """Return the entry of a row, a kept plan as its text. Raises ValueError as `entry_of` does."""
    plan = row.kind == "revision"
    return RawEntry(entry_of(row, read=not plan), row.body if plan else None)


def head_in(connection: Connection, child: str) -> Head:
    """Return where the chain of a child ends."""
    query = select(entries.c.sequence, entries.c.sha256).where(entries.c.child == child)
    row = connection.execute(query.order_by(entries.c.sequence.desc()).limit(1)).first()
    return NO_ENTRIES if row is None else Head(row.sequence, row.sha256)


def add(connection: Connection, made: Iterable[Entry]) -> None:
    """Add entries with their payloads; the database refuses one whose child and sequence are there already."""
    links, bodies = [], []
    for one in made:
        row = {column.name: getattr(one, column.name) for column in entries.c if column.name != "at"}
        links.append({**row, "at": when_text(one.when)})
        if one.payload is not None:
            body = payload_text(one.payload)
            bodies.append({"child": one.child, "sequence": one.sequence, "salt": one.salt, "body": body})
    if links:
        connection.execute(insert(entries), links)
    if bodies:
        connection.execute(insert(payloads), bodies)


def heads_in(connection: Connection) -> Iterator[tuple[str, Head]]:
    """Yield every child with the head of its chain, by name of the child."""
    child, last = "", NO_ENTRIES
    query = select(entries.c.child, entries.c.sequence, entries.c.sha256)
    for row in connection.execute(query.order_by(entries.c.child, entries.c.sequence)):
        if row.child != child and child:
            yield child, last
        child, last = row.child, Head(row.sequence, row.sha256)
    if child:
        yield child, last


def kept_heads(connection: Connection) -> dict[str, Head]:
    """Return the heads that a backup was made with, {} in a registry at work."""
    return {row.child: Head(row._mapping["count"], row.sha256) for row in connection.execute(select(kept_head))}
