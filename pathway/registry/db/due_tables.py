"""The tables beside the stored plans: what each plan asks for by when, indexed by day, and how the plan was stored.

They are made when the first plan is stored and may be dropped at any time: they are filled again from the plans.
"""

from __future__ import annotations

from sqlalchemy import Column, Connection, Index, Integer, MetaData, Table, Text, inspect, text

DUE_TABLES = MetaData()
"""Apart from the journal's tables: they belong to no layout, and a registry without them is sound."""
_NAME = Text().with_variant(Text(collation="C"), "postgresql")
_MAKING = 4_021_967_012

planned = Table(
    "planned",
    DUE_TABLES,
    Column("child", _NAME, primary_key=True),
    Column("row_sha256", Text, nullable=False),
)
"""Of each stored plan: the digest of what is signed of its row, so that one that was changed or lost is known."""

due_item = Table(
    "due_item",
    DUE_TABLES,
    Column("child", _NAME, primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("by_day", Integer, nullable=False),
    Column("kind", Text, nullable=False),
    Column("what", Text, nullable=False),
)
"""What a child needs; `by_day` counts days from 0001-01-01 as 1."""

Index("due_item_by_day", due_item.c.by_day, due_item.c.child, due_item.c.number)


def are_there(connection: Connection) -> bool:
    """Return whether the tables were made."""
    found = inspect(connection)
    return found.has_table(planned.name) and found.has_table(due_item.name)


def make_where_missing(connection: Connection) -> None:
    """Make the tables in this transaction where they are missing; two programs at a time make them once."""
    if are_there(connection):
        return
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _MAKING})
    DUE_TABLES.create_all(connection)
