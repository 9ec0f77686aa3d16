"""The tables of a registry, the same in SQLite and PostgreSQL, with guards against changing what was kept."""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    DDL,
    Column,
    ForeignKeyConstraint,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
    event,
)

LAYOUT = 2
"""The layout of the tables; raised when they change, with a step in `migrate`."""

TABLES = MetaData()
_NAME = Text().with_variant(Text(collation="C"), "postgresql")

layout = Table("layout", TABLES, Column("version", Integer, primary_key=True, autoincrement=False))

entry = Table(
    "entry",
    TABLES,
    Column("child", _NAME, primary_key=True),
    Column("sequence", Integer, primary_key=True, autoincrement=False),
    Column("who", Text, nullable=False),
    Column("at", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("schema_version", Integer, nullable=False),
    Column("supersedes", Integer),
    Column("payload_sha256", Text, nullable=False),
    Column("previous_sha256", Text, nullable=False),
    Column("sha256", Text, nullable=False),
)
"""One row for each entry; `at` is the moment as it is hashed. Child and sequence are unique: nobody overwrites."""

payload = Table(
    "payload",
    TABLES,
    Column("child", _NAME, primary_key=True),
    Column("sequence", Integer, primary_key=True, autoincrement=False),
    Column("salt", Text, nullable=False),
    Column("body", Text, nullable=False),
    ForeignKeyConstraint(["child", "sequence"], ["entry.child", "entry.sequence"]),
)
"""What the entries say, apart from them, so that a child's payloads can be erased and its chain still verifies."""

stored_plan = Table(
    "stored_plan",
    TABLES,
    Column("child", _NAME, primary_key=True),
    Column("head_count", Integer, nullable=False),
    Column("head_sha256", Text, nullable=False),
    Column("protocol_version", Text, nullable=False),
    Column("protocol_digest", Text, nullable=False),
    Column("on_day", Text, nullable=False),
    Column("summary", Text, nullable=False),
    Column("plan", LargeBinary),
    Column("plan_sha256", Text),
    Column("public_key", Text, nullable=False),
    Column("signature", Text, nullable=False),
)
"""Plans kept for quick lists; no part of the journal. Each is signed by the workstation that made it."""

plan_roll = Table(
    "plan_roll",
    TABLES,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("count", Integer, nullable=False),
    Column("public_key", Text, nullable=False),
    Column("signature", Text, nullable=False),
)
"""One row: how many plans are stored, signed together with all of them, so that none is taken away unseen."""

leaf = Table(
    "leaf",
    TABLES,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("child", _NAME),
    Column("sequence", Integer),
    Column("sha256", Text, nullable=False),
    UniqueConstraint("child", "sequence", name="one_leaf_an_entry"),
)
"""The order of the whole registry, from 0 without a gap: an entry, or where no child is named an act."""

act = Table(
    "act",
    TABLES,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("kind", Text, nullable=False),
    Column("at", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("body", Text, nullable=False),
)
"""What was done to the registry itself, by the number of its leaf."""

signed_head = Table(
    "signed_head",
    TABLES,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("size", Integer, nullable=False),
    Column("root", Text, nullable=False),
    Column("since", Integer, nullable=False),
    Column("at", Text, nullable=False),
    Column("public_key", Text, nullable=False),
    Column("signature", Text, nullable=False),
)
"""The head of the tree after every save, signed."""

peak = Table(
    "peak",
    TABLES,
    Column("place", Integer, primary_key=True, autoincrement=False),
    Column("sha256", Text, nullable=False),
)
"""The peaks of the tree as it stands: worked out from the leaves, kept so that a save need not."""

kept_head = Table(
    "kept_head",
    TABLES,
    Column("child", _NAME, primary_key=True),
    Column("count", Integer, nullable=False),
    Column("sha256", Text, nullable=False),
)
"""In a backup: where every chain ended when it was made. Empty in a registry at work."""

_SQLITE = """
CREATE TRIGGER {name} BEFORE {what} ON {table} BEGIN SELECT RAISE(ABORT, 'what was kept is never changed'); END
"""
_POSTGRESQL = "CREATE TRIGGER {name} BEFORE {what} ON {table} FOR EACH ROW EXECUTE FUNCTION kept_for_ever()"
REFUSAL = "BEGIN RAISE EXCEPTION 'what was kept is never changed'; END"
_FUNCTION = f"CREATE OR REPLACE FUNCTION kept_for_ever() RETURNS trigger LANGUAGE plpgsql AS $$ {REFUSAL} $$"
GUARDS = (
    ("entry", "UPDATE"),
    ("entry", "DELETE"),
    ("payload", "UPDATE"),
    *((name, what) for name in ("leaf", "act", "signed_head") for what in ("UPDATE", "DELETE")),
)
"""What the database itself refuses; a payload may be deleted, which is how a child is erased."""


def guard_name(table: str, what: str) -> str:
    """Return the name of the trigger that refuses."""
    return f"no_{what.lower()}_of_{table}"


def guard_text(table: str, what: str, dialect: str) -> str:
    """Return the statement that makes the trigger."""
    text = _SQLITE if dialect == "sqlite" else _POSTGRESQL
    return text.format(name=guard_name(table, what), what=what, table=table)


def _when_made(target: MetaData | Table, moment: str, dialect: str, statement: str) -> None:
    made: Any = DDL(statement.replace("%", "%%"))  # type: ignore[no-untyped-call]
    event.listen(target, moment, made.execute_if(dialect=dialect))


_when_made(TABLES, "before_create", "postgresql", _FUNCTION)
for _table, _what in GUARDS:
    for _dialect in ("sqlite", "postgresql"):
        _when_made(TABLES.tables[_table], "after_create", _dialect, guard_text(_table, _what, _dialect))
