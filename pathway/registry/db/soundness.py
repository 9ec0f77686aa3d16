"""Whether a database is what this program made: its own check of itself, and nothing in it that is not ours."""

from __future__ import annotations

import warnings
from collections.abc import Iterator

from sqlalchemy import Connection, Inspector, create_engine, inspect, text
from sqlalchemy.exc import SAWarning

from pathway.problems import Problem
from pathway.registry.db import tables
from pathway.registry.db.due_tables import DUE_TABLES

_NOT_OURS = "find out who made it, and remove it: this program makes no such thing"
_GONE = "restore the last backup, which makes it again"
_AMCHECK = """
SELECT c.relname AS name FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid JOIN pg_am a ON a.oid = c.relam
JOIN pg_namespace n ON n.oid = c.relnamespace WHERE a.amname = 'btree' AND n.nspname = current_schema()
"""


def layout_faults(connection: Connection, name: str, layout: int) -> Iterator[Problem]:
    """Yield whatever a database holds beside the tables and guards of this layout, and what of them is missing.

    The tables of what is due belong to it as soon as one of them was made.
    """
    if layout < tables.LAYOUT:
        if inspect(connection).has_table(tables.signed_head.name):
            found = f"the layout {layout} and tables of layout {tables.LAYOUT}"
            do = "restore the last backup: the number of the layout was altered"
            yield Problem(name, "layout", None, found, "tables of the layout that is named", do)
        return
    indexed = any(inspect(connection).has_table(table) for table in DUE_TABLES.tables)
    made = create_engine("sqlite://")
    try:
        with made.begin() as ours:
            tables.TABLES.create_all(ours)
            if indexed:
                DUE_TABLES.create_all(ours)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", SAWarning)  # of indexes that it cannot tell: `_indexes` tells them
                wanted, there = _tables(inspect(ours)), _tables(inspect(connection))
            yield from _differences(name, "table", wanted, there)
    finally:
        made.dispose()
    yield from _differences(name, "index", _own_indexes() if indexed else set(), _indexes(connection))
    yield from _differences(name, "view", set(), _views(connection))
    yield from _differences(name, "trigger", _guards(connection), _triggers(connection))


def self_check(connection: Connection, name: str) -> tuple[list[Problem], str]:
    """Return what the database finds wrong with itself, and a sentence where it could not be asked."""
    do = "set the file aside and restore the last backup with `registry restore`"
    if connection.dialect.name == "sqlite":
        said = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check(20)")]
        wrong = [line for line in said if line != "ok"]
    elif not connection.scalar(text("SELECT count(*) FROM pg_extension WHERE extname = 'amcheck'")):
        return [], f"{name}: the indexes were not checked, for the server's database has no extension amcheck."
    else:
        wrong = []
        for row in connection.execute(text(_AMCHECK)).all():
            try:
                with connection.begin_nested():
                    connection.execute(text("SELECT bt_index_check(CAST(:name AS regclass))"), {"name": row.name})
            except Exception as error:  # whatever the server says of an index is a finding, not a failure of ours
                wrong.append(str(getattr(error, "orig", error)).splitlines()[0])
    return [Problem(name, "", None, f"damage ({line[:200]})", "a sound database", do) for line in wrong], ""


def _differences(name: str, what: str, ours: set[str], there: set[str]) -> Iterator[Problem]:
    for one in sorted(there - ours):
        yield Problem(name, _shown(one), None, f"a {what} that is not ours, or was altered", "none", _NOT_OURS)
    for one in sorted(ours - there):
        yield Problem(name, _shown(one), None, f"no such {what}, or another", f"the {what} as it was made", _GONE)


def _shown(words: str) -> str:
    return words.split(": ")[0]


def _tables(found: Inspector) -> set[str]:
    """Return every table, column and key in words."""
    words = set()
    for table in found.get_table_names():
        words.add(f"table {table}")
        key = set(found.get_pk_constraint(table)["constrained_columns"])
        for column in found.get_columns(table):
            words.add(f"column {table}.{column['name']}")
            if not column["nullable"] and column["name"] not in key:
                words.add(f"column {table}.{column['name']} that is never empty")
        words |= {f"key of {table}: {', '.join(sorted(key))}"} if key else set()
        uniques = {one["name"] for one in found.get_unique_constraints(table)}
        words |= {f"one of each {one} in {table}" for one in uniques}
    return words


def _indexes(connection: Connection) -> set[str]:
    """Return every index that no key makes; of those the library tells only some."""
    if connection.dialect.name == "sqlite":
        query = "SELECT name FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL"
    else:
        query = """
        SELECT c.relname FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid
        JOIN pg_class t ON t.oid = i.indrelid JOIN pg_namespace n ON n.oid = t.relnamespace
        WHERE n.nspname = current_schema() AND t.relkind <> 't'
        AND NOT EXISTS (SELECT 1 FROM pg_constraint k WHERE k.conindid = i.indexrelid)
        """
    return {f"index {row[0]}" for row in connection.execute(text(query))}


def _own_indexes() -> set[str]:
    return {f"index {one.name}" for table in DUE_TABLES.tables.values() for one in table.indexes}


def _views(connection: Connection) -> set[str]:
    found = inspect(connection)
    names = set(found.get_view_names())
    if connection.dialect.name != "sqlite":
        names |= set(found.get_materialized_view_names())
        rules = "SELECT rulename FROM pg_rules WHERE schemaname = current_schema()"
        names |= {str(row[0]) for row in connection.execute(text(rules))}
    return {f"view {one}" for one in names}


def _guards(connection: Connection) -> set[str]:
    if connection.dialect.name == "sqlite":
        return {
            f"trigger {tables.guard_name(*guard)}: {' '.join(tables.guard_text(*guard, 'sqlite').split())}"
            for guard in tables.GUARDS
        }
    ours = {f"trigger {tables.guard_name(*guard)} on {guard[0]} (O, {guard[1]})" for guard in tables.GUARDS}
    return ours | {f"function kept_for_ever: {' '.join(tables.REFUSAL.split())}"}


def _triggers(connection: Connection) -> set[str]:
    if connection.dialect.name == "sqlite":
        found = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        return {f"trigger {row[0]}: {' '.join(str(row[1]).split())}" for row in found}
    triggers = """
    SELECT t.tgname, c.relname, t.tgenabled, CASE t.tgtype & 28 WHEN 16 THEN 'UPDATE' WHEN 8 THEN 'DELETE'
    ELSE 'OTHER' END AS what FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid
    JOIN pg_namespace n ON n.oid = c.relnamespace WHERE NOT t.tgisinternal AND n.nspname = current_schema()
    """
    rows = connection.execute(text(triggers))
    words = {f"trigger {row.tgname} on {row.relname} ({_letter(row.tgenabled)}, {row.what})" for row in rows}
    functions = """
    SELECT p.proname, p.prosrc FROM pg_proc p JOIN pg_namespace n ON n.oid = p.pronamespace
    WHERE n.nspname = current_schema() AND NOT EXISTS
    (SELECT 1 FROM pg_depend d WHERE d.objid = p.oid AND d.deptype = 'e')
    """
    rows = connection.execute(text(functions))
    return words | {f"function {row.proname}: {' '.join(row.prosrc.split())}" for row in rows}


def _letter(value: object) -> str:
    return value.decode() if isinstance(value, bytes) else str(value)
