"""Bringing a registry of an older layout to the one of this program, in the transaction of the first save. An edge."""

from __future__ import annotations

import datetime
import json
import zlib

from sqlalchemy import Connection, MetaData, Table, delete, insert, inspect, select, text

from pathway.registry import stored_plans
from pathway.registry.covering import cover_all
from pathway.registry.db import due_tables, tables
from pathway.registry.db.engine import layout_in
from pathway.registry.journal.entry import Head, StoredPlan
from pathway.registry.workstation import Workstation


def migrate(connection: Connection, station: Workstation, at: str) -> None:
    """Make the tables that are new, put every entry under a first signed head, and sign the stored plans.

    Entries and their hashes stay as they are. What was altered before is hashed in as it is found.
    """
    if layout_in(connection) >= tables.LAYOUT:
        return
    plans = _plans(connection)
    connection.execute(text("DROP TABLE stored_plan"))
    due_tables.DUE_TABLES.drop_all(connection)  # of another form; made again with the plans
    tables.TABLES.create_all(connection)
    cover_all(connection, station, at, "")
    stored_plans.store(connection, station, plans)
    connection.execute(delete(tables.layout))
    connection.execute(insert(tables.layout).values(version=tables.LAYOUT))


def _plans(connection: Connection) -> list[StoredPlan]:
    """Return the stored plans of the first layout that can be read; the others are made again by `replan`."""
    if not inspect(connection).has_table("stored_plan"):
        return []
    old = Table("stored_plan", MetaData(), autoload_with=connection)
    found = []
    for row in connection.execute(select(old).order_by(old.c.child)):
        try:
            found.append(
                StoredPlan(
                    child=row.child,
                    head=Head(row.head_count, row.head_sha256),
                    protocol_version=row.protocol_version,
                    protocol_digest=row.protocol_digest,
                    on=datetime.date.fromisoformat(row.on_day),
                    summary=dict(json.loads(row.summary)),
                    plan_json=None if row.plan is None else zlib.decompress(row.plan).decode(),
                )
            )
        except (ValueError, TypeError, zlib.error):
            continue
    return found
