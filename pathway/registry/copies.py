"""Backups and restoring: every entry copied into one file, or from it, whole or not at all. An edge.

A backup is a registry in a file of its own, whatever the registry lies in, with the heads of all chains beside.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from sqlalchemy import Connection, Table, func, insert, select

from pathway.registry.address import new_file, place_of
from pathway.registry.covering import cover_all
from pathway.registry.db import rows, tables, tree_rows
from pathway.registry.db.engine import file_engine, make_tables
from pathway.registry.db.failures import translating_db_errors
from pathway.registry.journal.audit import Audit
from pathway.registry.journal.entry import Head
from pathway.registry.opened import SIGNED_FROM
from pathway.registry.problem import RegistryProblem, problem
from pathway.registry.store import Registry, open_registry
from pathway.registry.verifying import take_as_seen, verify
from pathway.registry.workstation import Workstation


def heads(registry: Registry) -> dict[str, Head]:
    """Return where every chain ends."""
    with registry.reading() as connection:
        return dict(rows.heads_in(connection))


def kept_heads(registry: Registry) -> dict[str, Head]:
    """Return the heads that a backup was made with, {} for a registry at work."""
    with registry.reading() as connection:
        return rows.kept_heads(connection)


def back_up(registry: Registry, file: Path, *, who: str = "", when: datetime.datetime | None = None) -> Audit:
    """Copy the whole registry, as it stands at one moment, into a new file, and return what verifying the copy finds.

    The copy has mode 0600, is encrypted with the registry's key where that has one, and is there whole or not at
    all. Where `when` is given, the registry writes down that it was made, if it can be written. Raises
    `RegistryProblem`, also when the file exists.
    """

    if when is not None and registry.layout < SIGNED_FROM and not registry.read_only:
        with registry.writing(when):
            pass  # brought to this layout first, so that copy and registry have one history

    def fill(draft: Path) -> None:
        with registry.reading() as source:
            _fill(source, draft, registry, registry.key, with_heads=True)

    _make(file, fill)
    with open_registry(str(file), registry.key, station=registry.station) as copy:
        found = verify(copy)
        if not found.faults:
            take_as_seen(copy)
    if when is not None and found.head is not None and not registry.read_only:
        body = {"file": file.name, "size": found.head.size, "root": found.head.root, "sound": not found.faults}
        try:
            registry.act("backup", body, who=who, when=when)
        except RegistryProblem as error:  # the copy is there and sound: that it is not written down is beside it
            return replace(found, remarks=(*found.remarks, *error.problems))
    return found


def restore(backup: Registry, address: str | None, key: str | None, *, aside: bool = False) -> Audit:
    """Copy a backup to where there is no registry, or one without entries; return what verifying it finds.

    From then on this machine takes it for the registry there, unless it is only put `aside`. Raises
    `RegistryProblem` for a backup with faults and a registry that holds entries; neither is changed.
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
                _fill(source, draft, backup, key, with_heads=False)

        with translating_db_errors(place.name):
            _make(place.file, fill)
    else:
        with (
            open_registry(address, key, create=True, station=backup.station) as target,
            backup.reading() as source,
            target.writing() as into,
        ):
            held = into.scalar(select(func.count()).select_from(tables.entry)) or 0
            if held or tree_rows.leaf_count(into):
                do = "move that registry aside, or restore to another place with --registry"
                raise problem(place.name, f"a registry with {held} entries", "none, or one without entries", do)
            _copy(source, into, backup, target.station)
    with open_registry(address, key, station=backup.station) as target:
        restored = verify(target, found.heads)
        if not aside:
            take_as_seen(target)
        return restored


def _make(file: Path, fill: Callable[[Path], None]) -> None:
    with translating_db_errors(str(file)):
        try:
            new_file(file, fill)
        except FileExistsError:
            raise problem(str(file), "an existing file", "a new name", "name another file") from None


def _fill(source: Connection, draft: Path, of: Registry, key: str | None, *, with_heads: bool) -> None:
    engine = file_engine(draft, key)
    try:
        make_tables(engine, at_work=not with_heads)
        with engine.begin() as into:
            _copy(source, into, of, of.station)
            if with_heads:
                _put_heads(into)
    finally:
        engine.dispose()


def _copy(source: Connection, into: Connection, of: Registry, station: Workstation) -> None:
    """Copy what is never changed; what comes from a layout without signed heads gets its first one in the copy."""
    signed = of.layout >= SIGNED_FROM
    later = (tables.leaf, tables.act, tables.signed_head, tables.peak) if signed else ()
    for table in (tables.entry, tables.payload, *later):
        _copy_table(source, into, table)
    latest = into.scalar(select(func.max(tables.entry.c.at)))
    if not signed and latest is not None:
        cover_all(into, station, str(latest), "")


def _copy_table(source: Connection, into: Connection, table: Table) -> None:
    found = source.execution_options(yield_per=rows.BATCH).execute(select(table).order_by(*table.primary_key))
    for batch in found.partitions():
        into.execute(insert(table), [dict(row._mapping) for row in batch])


def _put_heads(into: Connection) -> None:
    each = [{"child": child, "count": head.count, "sha256": head.sha256} for child, head in rows.heads_in(into)]
    if each:
        into.execute(insert(tables.kept_head), each)
