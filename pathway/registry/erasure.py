"""Erasing a child on request: its payloads go, its chain stays and still verifies. An edge."""

from __future__ import annotations

import datetime
import secrets
from dataclasses import dataclass

from sqlalchemy import delete

from pathway.registry import stored_plans
from pathway.registry.db import rows, tables
from pathway.registry.journal.chain import head_of, linked
from pathway.registry.journal.entry import Entry
from pathway.registry.journal.payloads import PAYLOAD_VERSION, UnreadablePayload, check_new, erasure_entry
from pathway.registry.problem import problem
from pathway.registry.store import Registry
from pathway.registry.sweeping import WAIT_SECONDS, Swept, sweep


@dataclass(frozen=True, slots=True)
class Erased:
    """The entry that says that a child was erased, and whether its text is out of the file as well."""

    entry: Entry
    swept: Swept


def erase(
    registry: Registry,
    child: str,
    *,
    reason: str,
    who: str,
    when: datetime.datetime,
    wait_seconds: float = WAIT_SECONDS,
) -> Erased:
    """Delete every payload and plan of a child and return what says so; id, times and hashes stay.

    What was deleted is taken out of the file by `sweep`. Backups made before still hold it: erase there too. Raises
    `RegistryProblem` for a child that is unknown or erased already.
    """
    new, name = erasure_entry(reason, who), registry.place.name
    try:
        check_new(new)
    except UnreadablePayload as error:
        raise problem(name, str(error), "a reason and a name", "give both", key=child) from error
    with registry.writing(when) as connection:
        before = rows.entries_of(connection, child)
        if not before or any(entry.kind == "erasure" for entry in before):
            found = f"that {child} was erased already" if before else f"no child {child}"
            do = "take the rest out of the file with `registry sweep`" if before else "list them with `registry list`"
            raise problem(name, found, "the id of a child in the registry", do)
        made = linked(
            head_of(before),
            child,
            new.kind,
            new.payload,
            who=who,
            when=when,
            schema_version=PAYLOAD_VERSION,
            supersedes=None,
            salt=secrets.token_hex(32),
        )
        rows.add(connection, (made,))
        registry.cover(connection, (made,), when)
        payload = tables.payload.c
        connection.execute(delete(tables.payload).where(payload.child == child, payload.sequence < made.sequence))
        stored_plans.drop(connection, registry.station, child)
    return Erased(made, sweep(registry, who=who, when=when, wait_seconds=wait_seconds))
