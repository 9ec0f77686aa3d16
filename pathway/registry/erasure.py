"""Erasing a child on request: its payloads go, its chain stays and still verifies. An edge."""

from __future__ import annotations

import datetime
import secrets

from sqlalchemy import delete, text

from pathway.registry.db import due_tables, rows, tables
from pathway.registry.db.failures import translating_db_errors
from pathway.registry.journal.chain import head_of, linked
from pathway.registry.journal.entry import Entry
from pathway.registry.journal.payloads import PAYLOAD_VERSION, UnreadablePayload, check_new, erasure_entry
from pathway.registry.problem import problem
from pathway.registry.store import Registry


def erase(registry: Registry, child: str, *, reason: str, who: str, when: datetime.datetime) -> Entry:
    """Delete every payload and plan of a child and return the entry that says so; id, times and hashes stay.

    The bytes are overwritten in the file as well. Backups made before still hold the payloads: erase there too.
    Raises `RegistryProblem` for a child that is unknown or erased already.
    """
    new, name = erasure_entry(reason, who), registry.place.name
    try:
        check_new(new)
    except UnreadablePayload as error:
        raise problem(name, str(error), "a reason and a name", "give both", key=child) from error
    with registry.writing() as connection:
        before = rows.entries_of(connection, child)
        if not before or any(entry.kind == "erasure" for entry in before):
            found = f"that {child} was erased already" if before else f"no child {child}"
            do = "list them with `limb-pathway registry list`"
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
        payload, plan = tables.payload.c, tables.stored_plan.c
        connection.execute(delete(tables.payload).where(payload.child == child, payload.sequence < made.sequence))
        connection.execute(delete(tables.stored_plan).where(plan.child == child))
        due_tables.forget(connection, child)
    _swept(registry)
    return made


def _swept(registry: Registry) -> None:
    """Take what was deleted out of the file: pages that are free, and the log of changes."""
    with translating_db_errors(registry.place.name), registry.engine.connect() as connection:
        if registry.place.server is not None:
            plain = connection.execution_options(isolation_level="AUTOCOMMIT")
            plain.execute(text("VACUUM FULL payload"))
            plain.execute(text("VACUUM FULL stored_plan"))
            for table in due_tables.DUE_TABLES.tables if due_tables.are_there(plain) else ():
                plain.execute(text(f"VACUUM FULL {table}"))
            return
        driver = connection.connection.driver_connection
        assert driver is not None
        driver.execute("VACUUM")
        driver.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
