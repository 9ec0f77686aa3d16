"""Taking erased text out of the file: repeatable, and it never says done while something is left. An edge."""

from __future__ import annotations

import datetime
import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, delete, select, text

from pathway.registry import stored_due, stored_plans
from pathway.registry.address import drafts_in
from pathway.registry.db import due_tables, tables
from pathway.registry.db.failures import translating_db_errors
from pathway.registry.problem import RegistryProblem
from pathway.registry.store import Registry

WAIT_SECONDS = 10.0
"""How long a sweep waits for others who read before it says that they are in the way."""


@dataclass(frozen=True, slots=True)
class Swept:
    """What a sweep did: `removed` drafts of killed programs, and in sentences what is `left`, () where nothing is."""

    removed: tuple[str, ...]
    left: tuple[str, ...]

    @property
    def done(self) -> bool:
        """Return whether no erased text is left in the registry's own files."""
        return not self.left


def sweep(
    registry: Registry,
    folders: Sequence[Path] = (),
    *,
    who: str,
    when: datetime.datetime,
    wait_seconds: float = WAIT_SECONDS,
) -> Swept:
    """Take what was deleted out of the file and its log, and remove drafts that killed programs left behind.

    It may be repeated at any time, and is written down once nothing is left. `folders` are searched for drafts beside
    the registry's own.
    """
    removed, left = _drafts_removed([*_own_folder(registry), *folders])
    if registry.read_only:
        return Swept(removed, (*left, registry.read_only))
    try:
        with registry.writing(when) as connection:
            _drop_left_over(connection, registry)
        with translating_db_errors(registry.place.name), registry.engine.connect() as connection:
            if registry.place.server is None:
                left += _swept_file(connection, registry.place.file or Path(), wait_seconds)
            else:
                left += _swept_server(connection, registry.place.name, wait_seconds)
        if not left and any(line.erased for line in registry.children()):
            registry.act("sweep", {"left": []}, who=who, when=when)
    except RegistryProblem as error:
        left += tuple(
            f"Erased text may still lie in {registry.place.name}: {problem.sentence}" for problem in error.problems
        )
    return Swept(removed, left)


def _own_folder(registry: Registry) -> list[Path]:
    return [] if registry.place.file is None else [registry.place.file.absolute().parent]


def _drafts_removed(folders: Sequence[Path]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    removed, left = [], []
    for draft in (draft for folder in dict.fromkeys(folders) for draft in drafts_in(folder)):
        try:
            draft.unlink()
            removed.append(str(draft))
        except OSError as error:
            left.append(f"The draft {draft} could not be removed ({error.strerror}): remove it.")
    return tuple(removed), tuple(left)


def _drop_left_over(connection: Connection, registry: Registry) -> None:
    """Delete what came back after an erasure: payloads before it, and a stored plan with what it asks for."""
    entry, payload = tables.entry, tables.payload
    for child, last in connection.execute(select(entry.c.child, entry.c.sequence).where(entry.c.kind == "erasure")):
        connection.execute(delete(payload).where(payload.c.child == child, payload.c.sequence < last))
        if connection.execute(select(tables.stored_plan.c.child).where(tables.stored_plan.c.child == child)).first():
            stored_plans.drop(connection, registry.station, child)
        stored_due.forget(connection, [child])
    stored_due.forget(connection, stored_due.strays(connection))


def _swept_file(connection: Connection, file: Path, wait_seconds: float) -> tuple[str, ...]:
    driver = connection.connection.driver_connection
    assert driver is not None
    driver.execute(f"PRAGMA busy_timeout = {int(wait_seconds * 1000)}")
    driver.execute("VACUUM")
    mode = driver.execute("PRAGMA journal_mode").fetchone()[0]
    busy = mode == "wal" and driver.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    log = file.with_name(file.name + "-wal")
    if not busy and not (log.exists() and log.stat().st_size):
        return ()
    others = _others(file)
    who = f": {', '.join(others)}" if others else ""
    return (
        f"Erased text may still lie in {file} and {log}, because another program reads the registry{who}. "
        "Close it and run `registry sweep` again.",
    )


def _others(file: Path) -> list[str]:
    """Return the other programs of this machine that hold a file, as far as the system tells."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        if process.name == str(os.getpid()):
            continue
        with suppress(OSError):
            held = {str(link.readlink()) for link in (process / "fd").iterdir()}
            if held & {str(file.resolve()), f"{file.resolve()}-wal"}:
                found.append(f"{(process / 'comm').read_text().strip()} (process {process.name})")
    return sorted(found)


def _swept_server(connection: Connection, name: str, wait_seconds: float) -> tuple[str, ...]:
    plain = connection.execution_options(isolation_level="AUTOCOMMIT")
    plain.execute(text(f"SET lock_timeout = {int(wait_seconds * 1000)}"))
    try:
        for table in ("payload", "stored_plan", *(due_tables.DUE_TABLES.tables if due_tables.are_there(plain) else ())):
            plain.execute(text(f"VACUUM FULL {table}"))
        others = plain.execute(
            text(
                "SELECT pid, usename, application_name FROM pg_stat_activity "
                "WHERE datname = current_database() AND pid <> pg_backend_pid() AND backend_xmin IS NOT NULL"
            )
        ).all()
    finally:
        plain.execute(text("RESET lock_timeout"))
    if not others:
        return ()
    who = ", ".join(f"{one.usename} (process {one.pid} of the server)" for one in others)
    return (f"Erased text may still lie in {name}, because others read it: {who}. Run `registry sweep` again later.",)
