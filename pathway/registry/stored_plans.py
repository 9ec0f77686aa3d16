"""The plans kept for lists: stored with what they ask for by when, read back, and found where they were altered.

An edge, on a connection that is open; what lists make of it is in `due_list`.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import zlib
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Row, RowMapping, delete, insert, select

from pathway.questions.due import needed
from pathway.registry.db import due_tables
from pathway.registry.db.due_tables import due_item, planned
from pathway.registry.db.tables import stored_plan
from pathway.registry.journal.entry import Head, StoredPlan

BATCH = 1000
Values = Mapping[str, Any] | RowMapping
"""A row of `stored_plan` by the names of its columns."""
UNREADABLE = (KeyError, TypeError, ValueError, AttributeError, zlib.error)
"""What reading a damaged plan raises; `json` raises a ValueError."""
_HASHED = ("child", "head_count", "head_sha256", "protocol_version", "protocol_digest", "on_day", "summary")


def put(connection: Connection, plans: Sequence[StoredPlan]) -> None:
    """Keep plans, each in place of the one before it, and what each asks for by when."""
    if not plans:
        return
    index(connection)
    values = [_row_of(plan) for plan in plans]
    children = [plan.child for plan in plans]
    connection.execute(delete(stored_plan).where(stored_plan.c.child.in_(children)))
    connection.execute(insert(stored_plan), values)
    put_due(connection, children, values)


def index(connection: Connection) -> None:
    """Make the index where it is missing, and fill it from the plans that were stored without it."""
    if due_tables.are_there(connection):
        return
    due_tables.make_where_missing(connection)
    columns = [column for column in stored_plan.c if column.name != "plan"]
    last = ""
    while True:
        query = select(*columns).where(stored_plan.c.child > last).order_by(stored_plan.c.child).limit(BATCH)
        values = connection.execute(query).mappings().all()
        if not values:
            return
        last = values[-1]["child"]
        put_due(connection, [value["child"] for value in values], values)


def put_due(connection: Connection, children: Collection[str], values: Sequence[Values]) -> None:
    """Keep what stored plans, given as rows, ask for by when; the tables are there."""
    marks, items = [], []
    for value in values:
        found = due_rows(value)
        changes_on = None if found is None else changes_on_of(json.loads(value["summary"]))
        rows = found or []
        marks.append(
            {
                "child": value["child"],
                "row_sha256": row_digest(value),
                "changes_on": None if changes_on is None else str(changes_on),
                "item_count": len(rows),
                "day_sum": sum(row["by_day"] for row in rows),
            }
        )
        items += rows
    for table in (due_item, planned):
        connection.execute(delete(table).where(table.c.child.in_(children)))
    connection.execute(insert(planned), marks)
    if items:
        connection.execute(insert(due_item), items)


def due_rows(value: Values) -> list[dict[str, Any]] | None:
    """Return what a stored plan, given as a row, asks for, by day; None where that cannot be read from it."""
    try:
        on = datetime.date.fromisoformat(value["on_day"])
        found = sorted(needed(json.loads(value["summary"]), on), key=lambda one: (one.by, one.what))
    except UNREADABLE:
        return None
    return [
        {"child": value["child"], "number": number, "by_day": one.by.toordinal(), "kind": one.kind, "what": one.what}
        for number, one in enumerate(found, 1)
    ]


def row_digest(value: Values) -> str:
    """Return the digest of a stored plan, given as a row, without the plan itself: it has a check of its own."""
    return hashlib.sha256("\n".join(str(value[name]) for name in _HASHED).encode(errors="replace")).hexdigest()


def days_of(row: Row[Any], *, indexed: bool) -> tuple[datetime.date, datetime.date | None] | None:
    """Return from when to when a stored plan is true, as the index or else its summary says; None if unreadable."""
    if not indexed:
        plan = read(row)
        return None if plan is None else (plan.on, changes_on_of(plan.summary))
    try:
        until = None if row.true_until is None else datetime.date.fromisoformat(row.true_until)
        return datetime.date.fromisoformat(row.on_day), until
    except UNREADABLE:
        return None


def changes_on_of(summary: Mapping[str, Any]) -> datetime.date | None:
    """Return the day from which a plan is no longer true, None where its summary does not say it."""
    try:
        return datetime.date.fromisoformat(summary["changes_on"])
    except UNREADABLE:
        return None


def every(connection: Connection, *, whole: bool = False) -> tuple[StoredPlan, ...]:
    """Return the plans by child, without the plans themselves unless `whole`; those that cannot be read are left out.

    Who has to know of these asks `due_list.standings`, which tells of each child what is wrong.
    """
    columns = [column for column in stored_plan.c if whole or column.name != "plan"]
    found = connection.execute(select(*columns).order_by(stored_plan.c.child))
    return tuple(plan for row in found if (plan := read(row)) is not None)


def one(connection: Connection, child: str) -> StoredPlan | None:
    """Return the plan kept for a child, whole where it was kept whole; None where there is none or it is damaged."""
    row = connection.execute(select(stored_plan).where(stored_plan.c.child == child)).first()
    return None if row is None else read(row)


def drop(connection: Connection) -> None:
    """Delete every stored plan and what it asks for."""
    connection.execute(delete(stored_plan))
    if due_tables.are_there(connection):
        connection.execute(delete(due_item))
        connection.execute(delete(planned))


def read(row: Row[Any]) -> StoredPlan | None:
    """Return the plan of a row of `stored_plan`, None where it cannot be read."""
    packed = row._mapping.get("plan")
    try:
        summary = json.loads(row.summary)
        if not isinstance(summary, dict):
            return None
        return StoredPlan(
            child=row.child,
            head=Head(row.head_count, row.head_sha256),
            protocol_version=row.protocol_version,
            protocol_digest=row.protocol_digest,
            on=datetime.date.fromisoformat(row.on_day),
            summary=summary,
            plan_json=None if packed is None else zlib.decompress(packed).decode(),
        )
    except UNREADABLE:
        return None


def _row_of(plan: StoredPlan) -> dict[str, Any]:
    return {
        "child": plan.child,
        "head_count": plan.head.count,
        "head_sha256": plan.head.sha256,
        "protocol_version": plan.protocol_version,
        "protocol_digest": plan.protocol_digest,
        "on_day": plan.on.isoformat(),
        "summary": json.dumps(dict(plan.summary), ensure_ascii=True),
        "plan": None if plan.plan_json is None else zlib.compress(plan.plan_json.encode()),
    }
