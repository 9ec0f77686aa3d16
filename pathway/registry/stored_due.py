"""What stored plans ask for by when, kept beside them, with a mark of each plan as it was stored. An edge.

Nothing here is relied on by itself: the marks are signed all together, and what a plan asks for is read off it again.
"""

from __future__ import annotations

import datetime
import json
import zlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from operator import attrgetter
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from pathway.questions.due import Kind, needed
from pathway.registry.db import due_tables
from pathway.registry.db.due_tables import due_item, planned
from pathway.registry.journal.entry import Head, StoredPlan

Asked = tuple[int, int, Kind, str]
"""One thing that a plan asks for: its number, the day counted from 0001-01-01 as 1, its kind, and what."""
_BY_DAY = attrgetter("by", "what")
UNREADABLE = (KeyError, TypeError, ValueError, AttributeError, OverflowError, RecursionError, zlib.error)
"""What reading a damaged plan raises; `json` raises a ValueError."""


def read(row: Mapping[Any, Any]) -> StoredPlan | None:
    """Return the plan of a row of `stored_plan`, by the names of its columns; None where it cannot be read."""
    packed = row.get("plan")
    try:
        summary = json.loads(row["summary"])
        if not isinstance(summary, dict):
            return None
        return StoredPlan(
            child=row["child"],
            head=Head(row["head_count"], row["head_sha256"]),
            protocol_version=row["protocol_version"],
            protocol_digest=row["protocol_digest"],
            on=datetime.date.fromisoformat(row["on_day"]),
            summary=summary,
            plan_json=None if packed is None else zlib.decompress(packed).decode(),
        )
    except UNREADABLE:
        return None


def asked_of(plan: StoredPlan) -> list[Asked]:
    """Return what a plan asks for, by day; nothing where its summary is of another form."""
    try:
        found = sorted(needed(plan.summary, plan.on), key=_BY_DAY)
    except UNREADABLE:
        return []
    return [(number, one.by.toordinal(), one.kind, one.what) for number, one in enumerate(found, 1)]


def changes_on(plan: StoredPlan) -> datetime.date | None:
    """Return the day from which a plan is no longer true, None where its summary does not say it."""
    try:
        return datetime.date.fromisoformat(plan.summary["changes_on"])
    except UNREADABLE:
        return None


def put(connection: Connection, plans: Iterable[tuple[str, str, StoredPlan | None]]) -> None:
    """Keep marks by child and digest, and what the plan of each asks for, in place of those before."""
    marks: list[dict[str, Any]] = []
    items: list[dict[str, Any]] = []
    for child, digest, plan in plans:
        marks.append({"child": child, "row_sha256": digest})
        for number, by_day, kind, what in () if plan is None else asked_of(plan):
            items.append({"child": child, "number": number, "by_day": by_day, "kind": kind, "what": what})
    forget(connection, [mark["child"] for mark in marks])
    if marks:
        connection.execute(insert(planned), marks)
    if items:
        connection.execute(insert(due_item), items)


def forget(connection: Connection, children: Sequence[str] | None = None) -> None:
    """Delete what is kept of children, or of all; nothing where the tables were never made."""
    if due_tables.are_there(connection):
        for table in (due_item, planned):
            every = delete(table)
            connection.execute(every if children is None else every.where(table.c.child.in_(children)))


def marks(connection: Connection) -> dict[str, str]:
    """Return the digest of each plan as it was stored; the tables are there."""
    return {str(row.child): str(row.row_sha256) for row in connection.execute(select(planned)).all()}


def kept(connection: Connection, first: str, last: str) -> dict[str, list[Asked]]:
    """Return what is kept as asked for by the children from one to another; the tables are there."""
    found: defaultdict[str, list[Asked]] = defaultdict(list)
    query = select(due_item).where(due_item.c.child >= first, due_item.c.child <= last)
    query = query.order_by(due_item.c.child, due_item.c.number)
    for child, number, by_day, kind, what in connection.execute(query).all():
        found[child].append((number, by_day, kind, what))
    return found


def strays(connection: Connection) -> list[str]:
    """Return the children of whom something is kept as asked for, and no mark of a plan."""
    if not due_tables.are_there(connection):
        return []
    query = select(due_item.c.child).where(due_item.c.child.not_in(select(planned.c.child))).distinct()
    return [str(row.child) for row in connection.execute(query.order_by(due_item.c.child))]
