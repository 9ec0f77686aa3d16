"""Opening the database of a registry: durable settings, one transaction for each step, a key where it is encrypted."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, Engine, create_engine, event, insert, inspect, select, text
from sqlalchemy.exc import OperationalError
from sqlalchemy.pool import QueuePool

from pathway.registry.address import Place, is_plain, new_file
from pathway.registry.db import tables
from pathway.registry.problem import RegistryProblem, problem

WAIT_SECONDS = 30
"""How long a step waits for another program before it gives up."""
_MAKING = 4_021_967_011


@dataclass(frozen=True, slots=True)
class OpenEngine:
    """An engine with the layout of its tables; `read_only` says in a sentence why it can only be read, "" if not."""

    engine: Engine
    layout: int
    read_only: str = ""


def open_engine(place: Place, key: str | None, *, create: bool) -> OpenEngine:
    """Return the engine of a registry; where there is none yet, make an empty one if `create`.

    A file on a disk that is full or can only be read is opened for reading as it lies there.

    Raises `RegistryProblem` when there is none, it is of a newer layout, or key and file do not go together;
    what the database raises is for `failures.told`.
    """
    if place.file is not None:
        return _open_file(place.file, key, create=create)
    assert place.server is not None
    if key is not None:
        raise problem(place.name, "a key for a server", "a key for a file only", "let the server's disk be encrypted")
    return _checked(_server(place), place.name, create=create)


def file_engine(file: Path, key: str | None, *, as_it_lies: bool = False) -> Engine:
    """Return an engine on a file of SQLite, encrypted where there is a key; nothing is checked.

    `as_it_lies`: nothing is made beside the file, which only works for reading, and its log is not read.
    """
    module = _encrypting() if key is not None else sqlite3
    name = f"file:{quote(str(file.absolute()))}?mode=ro&immutable=1" if as_it_lies else str(file)
    engine = create_engine(
        "sqlite://", module=module, creator=_opener(module, name, key, uri=as_it_lies), poolclass=QueuePool
    )
    event.listen(engine, "connect", _durable)
    event.listen(engine, "begin", _begin)
    return engine


def make_tables(engine: Engine, *, at_work: bool) -> None:
    """Make the tables of an empty registry in a file.

    One `at_work` keeps its changes in a log beside it, so that nobody who reads waits for one who writes; that stays
    with the file. Without, the file can be read from a medium that cannot be written.
    """
    if at_work:
        with engine.connect() as connection:
            driver = connection.connection.driver_connection
            assert driver is not None
            driver.execute("PRAGMA journal_mode = WAL")
    with engine.begin() as connection:
        tables.TABLES.create_all(connection)
        connection.execute(insert(tables.layout).values(version=tables.LAYOUT))


def _open_file(file: Path, key: str | None, *, create: bool) -> OpenEngine:
    if key is not None:
        _encrypting()
    if not file.exists():
        if not create:
            raise no_registry(str(file))
        with suppress(FileExistsError):  # somebody else was quicker: theirs is as good
            new_file(file, lambda draft: _filled(draft, key))
    _check_file(file, key)
    try:
        return _checked(file_engine(file, key), str(file), create=False)
    except OperationalError as error:
        if not any(words in str(error.orig).lower() for words in _CANNOT_WRITE):
            raise
        found = _checked(file_engine(file, key, as_it_lies=True), str(file), create=False)
        return replace(found, read_only=_only_read(file))


_CANNOT_WRITE = ("unable to open database file", "readonly", "read-only", "disk i/o error", "disk is full")


def _only_read(file: Path) -> str:
    log = file.with_name(file.name + "-wal")
    what = "its disk is full or can only be read: it is shown as it lies there, and nothing can be saved"
    if log.exists() and log.stat().st_size:
        what += f"; saved last and not shown is what lies in {log.name}"
    return f"{file}: {what}."


def _checked(engine: Engine, name: str, *, create: bool) -> OpenEngine:
    try:
        return OpenEngine(engine, _check_layout(engine, name, create=create))
    except BaseException:
        engine.dispose()
        raise


def layout_in(connection: Connection) -> int:
    """Return the layout of the tables."""
    return int(connection.scalar(select(tables.layout.c.version)) or 0)


def _filled(draft: Path, key: str | None) -> None:
    engine = file_engine(draft, key)
    try:
        make_tables(engine, at_work=True)
    finally:
        engine.dispose()


def _check_file(file: Path, key: str | None) -> None:
    if not file.is_file():
        raise problem(str(file), "no file", "the file of a registry", "name a file with --registry")
    if file.stat().st_size == 0:
        raise problem(str(file), "an empty file", "a registry", "remove it, or name another with --registry")
    if is_plain(file) and key is not None:
        raise problem(str(file), "a registry that is not encrypted", "no key", "omit the key")
    if not is_plain(file) and key is None:
        found, expected = "a file that is encrypted or no registry", "a registry that opens without a key"
        raise problem(str(file), found, expected, "give its key (--key-file or --ask-key), or check the path")


def _server(place: Place) -> Engine:
    try:
        import psycopg  # noqa: F401, PLC0415  (an extra: only who uses a server needs it)
    except ImportError:
        do = "install it with `pip install 'limb-pathway[postgres]'`"
        raise problem(place.name, "no library for PostgreSQL", "psycopg 3", do) from None
    assert place.server is not None
    return create_engine(place.server, connect_args={"connect_timeout": WAIT_SECONDS})


def _check_layout(engine: Engine, name: str, *, create: bool) -> int:
    with engine.connect() as connection:
        connection = connection.execution_options(writes=False)
        found = inspect(connection).has_table("layout") and connection.scalar(select(tables.layout.c.version))
        empty = not found and not inspect(connection).get_table_names()
    if not found:
        if not create:
            raise no_registry(name) if empty else _not_ours(name)
        if not empty:
            raise _not_ours(name)
        _make_on_server(engine)
        return tables.LAYOUT
    if found > tables.LAYOUT:
        expected = f"a layout up to {tables.LAYOUT}"
        raise problem(name, f"a registry of layout {found}", expected, "use a newer version of this program")
    return int(found)


def _make_on_server(engine: Engine) -> None:
    with engine.begin() as connection:
        connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _MAKING})
        if not inspect(connection).has_table("layout"):
            tables.TABLES.create_all(connection)
            connection.execute(insert(tables.layout).values(version=tables.LAYOUT))


def no_registry(name: str) -> RegistryProblem:
    """Return what to say where there is no registry yet."""
    do = "create it with `limb-pathway registry import CASE`, or correct --registry"
    return problem(name, "no registry there", "one", do)


def _not_ours(name: str) -> RegistryProblem:
    return problem(name, "a database of something else", "a registry", "name another with --registry")


def _encrypting() -> Any:
    try:
        from sqlcipher3 import dbapi2  # noqa: PLC0415  (an extra: only who encrypts needs it)
    except ImportError:
        do = "install it with `pip install 'limb-pathway[encrypted]'`"
        raise problem("key", "no library for encrypted registries", "sqlcipher3", do) from None
    return dbapi2


def _opener(module: Any, name: str, key: str | None, *, uri: bool) -> Callable[[], Any]:
    def opened() -> Any:
        connection = module.connect(name, timeout=WAIT_SECONDS, check_same_thread=False, uri=uri)
        if key is None:
            return connection
        quoted = key.replace("'", "''")
        connection.execute(f"PRAGMA key = '{quoted}'")
        connection.execute("PRAGMA cipher_log_level = NONE")
        return connection

    return opened


def _durable(connection: Any, _record: object) -> None:
    """Set what makes a saved entry stay: written through to the disk before it is reported."""
    connection.isolation_level = None
    for pragma in ("synchronous = FULL", "foreign_keys = ON", "secure_delete = ON"):
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", True)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
