"""Backups and restoring: every entry copied into one file, or from it, whole or not at all. An edge.

A backup is a registry in a file of its own, whatever the registry lies in, with the heads of all chains beside.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Select, Table, func, insert, select

from pathway.registry.address import new_file, place_of
from pathway.registry.db import rows, tables
from pathway.registry.db.engine import file_engine, make_tables
from pathway.registry.db.failures import translating_db_errors
from pathway.registry.journal.audit import Audit, StoredEntry, audit
from pathway.registry.journal.entry import Head
from pathway.registry.problem import problem
from pathway.registry.store import Registry, open_registry


def verify(registry: Registry, known: Mapping[str, Head] | None = None) -> Audit:
    """Return what every hash of the registry says, against the heads in `known` and, for a backup, its own."""
    with registry.reading() as connection:
        own = _kept_heads(connection)
        streamed = connection.execution_options(yield_per=rows.BATCH)
        kept = (StoredEntry(**row._mapping) for row in streamed.execute(rows.with_payloads()))
        found = audit(kept, registry.place.name, (own, known or {}))
        lost = connection.execute(_without_entry()).first()
    if lost is None:
        return found
    words = problem(
        registry.place.name,
        "a payload without its entry",
        "the entry as it was saved",
        "compare with the last backup: entries were removed",
        key=f"{lost.child}, entry {lost.sequence}",
    )
    return Audit(found.heads, found.entries, found.erased, (*found.faults, *words.problems))


def heads(registry: Registry) -> dict[str, Head]:
    """Return where every chain ends."""
    with registry.reading() as connection:
        return dict(rows.heads_in(connection))


def kept_heads(registry: Registry) -> dict[str, Head]:
    """Return the heads that a backup was made with, {} for a registry at work."""
    with registry.reading() as connection:
        return _kept_heads(connection)


def back_up(registry: Registry, file: Path) -> Audit:
    """Copy the whole registry, as it stands at one moment, into a new file, and return what verifying the copy finds.

    The copy has mode 0600, is encrypted with the registry's key where that has one, and is there whole or not at
    all. Raises `RegistryProblem`, also when the file exists.
    """

    def fill(draft: Path) -> None:
        with registry.reading() as source:
            _fill(source, draft, registry.key, with_heads=True)

    _make(file, fill)
    with open_registry(str(file), registry.key) as copy:
        return verify(copy)


def restore(backup: Registry, address: str | None, key: str | None) -> Audit:
    """Copy a backup to where there is no registry, or one without entries; return what verifying it finds.

    Raises `RegistryProblem` for a backup with faults and a registry that holds entries; neither is changed.
    """
    found = verify(backup)
    if found.faults:
        first = found.faults[0].sentence.removesuffix(".")
        do = "restore another backup"
        raise problem(backup.place.name, f"a backup with {len(found.faults)} faults ({first})", "a sound backup", do)
    place = place_of(address)
    if place.file is not None and not place.file.exists():

        def fill(draft: Path) -> None:
            with backup.reading() as source:
                _fill(source, draft, key, with_heads=False)

        with translating_db_errors(place.name):
            _make(place.file, fill)
    else:
        with open_registry(address, key, create=True) as target, backup.reading() as source, target.writing() as into:
            held = into.scalar(select(func.count()).select_from(tables.entry)) or 0
            if held:
                do = "move that registry aside, or restore to another place with --registry"
                raise problem(place.name, f"a registry with {held} entries", "none, or one without entries", do)
            _copy(source, into)
    with open_registry(address, key) as target:
        return verify(target, found.heads)


def _make(file: Path, fill: Callable[[Path], None]) -> None:
    with translating_db_errors(str(file)):
        try:
            new_file(file, fill)
        except FileExistsError:
            raise problem(str(file), "an existing file", "a new name", "name another file") from None


def _fill(source: Connection, draft: Path, key: str | None, *, with_heads: bool) -> None:
    engine = file_engine(draft, key)
    try:
        make_tables(engine, at_work=not with_heads)
        with engine.begin() as into:
            _copy(source, into)
            if with_heads:
                _put_heads(into)
    finally:
        engine.dispose()


def _copy(source: Connection, into: Connection) -> None:
    for table in (tables.entry, tables.payload):
        _copy_table(source, into, table)


def _copy_table(source: Connection, into: Connection, table: Table) -> None:
    found = source.execution_options(yield_per=rows.BATCH).execute(select(table).order_by(*table.primary_key))
    for batch in found.partitions():
        into.execute(insert(table), [dict(row._mapping) for row in batch])


def _put_heads(into: Connection) -> None:
    each = [{"child": child, "count": head.count, "sha256": head.sha256} for child, head in rows.heads_in(into)]
    if each:
        into.execute(insert(tables.kept_head), each)


def _kept_heads(connection: Connection) -> dict[str, Head]:
    found = connection.execute(select(tables.kept_head))
    return {row.child: Head(row._mapping["count"], row.sha256) for row in found}


def _without_entry() -> Select[Any]:
    entry, payload = tables.entry, tables.payload
    same = (entry.c.child == payload.c.child) & (entry.c.sequence == payload.c.sequence)
    query = select(payload.c.child, payload.c.sequence).select_from(payload.outerjoin(entry, same))
    return query.where(entry.c.child.is_(None)).order_by(payload.c.child, payload.c.sequence).limit(1)
