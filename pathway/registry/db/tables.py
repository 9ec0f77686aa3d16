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
    event,
)

LAYOUT = 1
"""The layout of the tables; raised when they change."""

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
)
"""Plans kept for quick lists; no part of the journal."""

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
_FUNCTION = """
CREATE OR REPLACE FUNCTION kept_for_ever() RETURNS trigger LANGUAGE plpgsql AS
$$ BEGIN RAISE EXCEPTION 'what was kept is never changed'; END $$
"""
GUARDS = (("entry", "UPDATE"), ("entry", "DELETE"), ("payload", "UPDATE"))
"""What the database itself refuses; a payload may be deleted, which is how a child is erased."""


def _after_making(dialect: str, statement: str) -> None:
    made: Any = DDL(statement.replace("%", "%%"))  # type: ignore[no-untyped-call]
    event.listen(TABLES, "after_create", made.execute_if(dialect=dialect))


_after_making("postgresql", _FUNCTION)
for _table, _what in GUARDS:
    for _dialect, _text in (("sqlite", _SQLITE), ("postgresql", _POSTGRESQL)):
        _after_making(_dialect, _text.format(name=f"no_{_what.lower()}_of_{_table}", what=_what, table=_table))
